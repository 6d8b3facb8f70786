"""The audit: who did what, when, from where, and what came of it. Rows only added to; no secret ever stands in one."""

import secrets
from datetime import datetime

from monitor.store import Store

_LONGEST = 300


def record(
    store: Store, *, at: datetime, who: str, act: str, result: str, address: str, what: str = "", wall: str = ""
) -> None:
    """Add one row (schema.AUDIT); on the disk when this returns."""
    row = {"who": who, "act": act, "what": what, "wall": wall, "address": address, "result": result}
    short = {name: " ".join(text.split())[:_LONGEST] for name, text in row.items()}
    store.office.add({"audit": [{"audit_id": secrets.token_hex(16), **short, "known_at": at}]})
