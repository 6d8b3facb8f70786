"""The facts bucket by bucket are those of all of them at once: waiting or compacted, mended across walls, ruled on."""

from pathlib import Path

import pyarrow as pa
import pytest
from store_rows import START, at, by_id, readings, ruling, table

from monitor import store as stores
from monitor.store import Store, compaction, generations
from monitor.store.snapshot import REGISTER


def by_bucket(store: Store, days: float) -> dict[str, pa.Table]:
    with store.snapshot(at(days)) as facts:
        read = [one.read(store.place) for one in facts.buckets]
    return {name: pa.concat_tables([each[name] for each in read]) for name in ("readings", *REGISTER)}


def assert_the_same(store: Store, days: float) -> None:
    found = by_bucket(store, days)
    for name, rows in found.items():
        whole = store.readings(at(days)) if name == "readings" else store.current(name, at(days))
        order = [(column, "ascending") for column in whole.column_names]
        assert rows.sort_by(order).equals(whole.sort_by(order)), name
    assert found["readings"].num_rows > 60


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = stores.create(tmp_path / "store", company={}, created_at=START)
    walls = [{"house": f"DH-{number:02}", "wall": wall} for number in range(7) for wall in "NES"]
    store.add("walls", table("walls", *walls))
    store.add("walls", table("walls", walls[0] | {"nickname": "said again", "known_at": at(2)}))
    store.add("marks", table("marks", *(wall | {"mark": "M1"} for wall in walls)))
    store.add("events", table("events", {"event_id": "e1", "house": "DH-01", "wall": "E"}))
    store.add("readings", readings(*range(70)))
    return store


def test_as_all_at_once_whatever_waits_and_whatever_mends_what(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compaction, "ROWS_PER_BUCKET", 15)
    assert_the_same(store, 1)
    store.compact()
    assert generations.pointer(store.path).buckets == 8
    assert_the_same(store, 1)
    # 80 stands under another wall than 3, which it replaces, and is replaced itself by 81 of a third wall
    for number, mends in ((80, 3), (81, 80)):
        store.add("readings", readings(number, mends=f"{mends:016x}", known_at=at(number - 77.5)))
    store.add("rulings", table("rulings", ruling(2, 5, "reject"), ruling(4, 81, "reject")))
    for _ in range(2):
        states = []
        for days in (1, 3, 3.6, 5):
            assert_the_same(store, days)
            rows = by_id(by_bucket(store, days)["readings"])
            states.append([rows[number]["state"] if number in rows else "" for number in (3, 5, 80, 81)])
        assert states[0] == ["used", "used", "", ""]
        assert states[1] == ["rejected", "rejected", "used", ""]
        assert states[2] == ["rejected", "rejected", "rejected", "used"]
        assert states[3] == ["rejected", "rejected", "used", "rejected"]
        store.compact()


def test_facts_of_a_wall_that_nobody_registered_are_left_out(store: Store) -> None:
    store.add("readings", readings(90, house="DH-99", known_at=at(1)))
    assert store.readings(at(1)).num_rows == 71
    assert by_bucket(store, 1)["readings"].num_rows == 70
