"""The store: facts in Parquet files that are only ever added to, office records in SQLite, and the proof of both."""

from monitor.store.store import Store, create, open

__all__ = ["Store", "create", "open"]
