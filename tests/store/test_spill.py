"""Many rows taken in at once: put aside in files by bucket, they become the same compacted files as held in memory."""

from pathlib import Path

import pytest
from store_rows import START, readings, table

from monitor import store as stores
from monitor.store import Store, compaction, generations, spill
from monitor.store.spill import Spill


def filled(path: Path) -> Store:
    store = stores.create(path, company={}, created_at=START)
    for first in range(0, 200, 25):
        store.add("readings", readings(*range(first, first + 25)))
    walls = [{"house": f"DH-{number:02}", "wall": wall} for number in range(7) for wall in "NES"]
    store.add("walls", table("walls", *walls))
    return store


def compacted(store: Store, *, rows_per_bucket: int) -> set[str]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compaction, "ROWS_PER_BUCKET", rows_per_bucket)
        store.compact()
    return {part.file for part in generations.pointer(store.path).parts}


def test_rows_put_aside_in_files_become_the_same_compacted_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    in_memory = compacted(filled(tmp_path / "memory"), rows_per_bucket=30)
    monkeypatch.setattr(spill, "GROUP_ROWS", 40)
    monkeypatch.setattr(spill, "TOGETHER", 2)
    store = filled(tmp_path / "files")
    written: list[Path] = []
    monkeypatch.setattr(
        spill, "_write", lambda path, *more, real=spill._write: written.append(path) or real(path, *more)
    )
    assert compacted(store, rows_per_bucket=30) == in_memory
    assert len(written) > 4
    assert not any(path.exists() for path in written)
    assert store.facts("readings").equals(stores.open(tmp_path / "memory").facts("readings"))
    store.add("readings", readings(*range(200, 290)))  # into files that are there, and twice as many buckets
    other = stores.open(tmp_path / "memory")
    other.add("readings", readings(*range(200, 290)))
    assert compacted(store, rows_per_bucket=15) == compacted(other, rows_per_bucket=15) != in_memory


@pytest.mark.parametrize("turn", [(), (0, 4, 1, 5, 2, 6, 3, 7)])
def test_every_row_put_aside_comes_back_once_whatever_the_turn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, turn: tuple[int, ...]
) -> None:
    monkeypatch.setattr(spill, "GROUP_ROWS", 16)
    monkeypatch.setattr(spill, "TOGETHER", 2)
    aside = Spill("readings", 8, tmp_path, turn)
    for first in (0, 30, 60):
        aside.put(readings(*range(first, first + 30)))
    found = {bucket: aside.of(bucket) for bucket in (5, *range(8))}
    for bucket, rows in found.items():
        assert set(generations.bucket_numbers(rows, 8).tolist()) <= {bucket}
    ids = [row for rows in found.values() for row in rows["reading_id"].to_pylist()]
    assert sorted(ids) == [f"{number:016x}" for number in range(90)]
    assert Spill("receipts", 8, tmp_path).of(0).num_rows == 0


def test_buckets_asked_for_in_their_turn_open_each_file_once_for_some_of_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Were it once for each bucket, the openings would grow with the square of the rows."""
    monkeypatch.setattr(spill, "GROUP_ROWS", 16)
    monkeypatch.setattr(spill, "TOGETHER", 4)
    opened: list[int] = []
    read = spill._Group.of
    monkeypatch.setattr(spill._Group, "of", lambda group, drawer: opened.append(drawer) or read(group, drawer))
    turn = (0, 4, 1, 5, 2, 6, 3, 7)
    aside = Spill("readings", 8, tmp_path, turn)
    for first in (0, 30, 60):
        aside.put(readings(*range(first, first + 30)))
    for bucket in turn:
        aside.of(bucket)
    files = len(list(tmp_path.iterdir()))
    assert files > 4
    assert opened == [0] * files + [1] * files
