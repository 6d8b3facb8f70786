"""A simulated company whose facts lie in several buckets, however small it is."""

from collections.abc import Iterable
from datetime import UTC, date, datetime
from pathlib import Path

import pyarrow as pa
import pytest

from monitor import schema
from monitor import store as stores
from monitor.simulate.portfolio import portfolio
from monitor.store import Store, compaction
from monitor.store.verify import verify

DAY = date(2024, 6, 30)
KNOWN = datetime(2024, 6, 30, 22, tzinfo=UTC)
WALLS = 14
TABLES = ("walls", "marks", "events", "readings")


def company(path: Path, *, rows_per_bucket: int, leave_out: Iterable[str] = (), at: str = "") -> Store:
    """The company in a store of its own, compacted; without the readings of `leave_out` ids."""
    made = portfolio(WALLS, seed=3)
    began = datetime(2019, 1, 1, tzinfo=UTC)
    store = stores.create(path, company={"name": "a simulated company"}, created_at=began, parquet_at=at)
    out = pa.array(list(leave_out), pa.string())
    for name in TABLES:
        rows = getattr(made, name)
        if name == "readings":
            rows = rows.filter(pa.compute.invert(pa.compute.is_in(rows["reading_id"], value_set=out)))
        store.add(name, rows)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compaction, "ROWS_PER_BUCKET", rows_per_bucket)
        store.compact()
    return store


def whole(store: Store) -> bool:
    """Whether what was assessed is; nobody sent in the simulated readings, so that they have no receipts."""
    return [damage.place for damage in verify(store).damages] == ["readings, simulated"]


def content(store: Store) -> dict[str, bytes]:
    """The files of the day's assessment."""
    folder = store.path / "assessments" / DAY.isoformat()
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def tables_of(store: Store) -> dict[str, pa.Table]:
    found = store.assessment(DAY)
    assert found is not None
    return {name: getattr(found, name) for name in schema.RESULTS}
