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


def test_every_row_put_aside_comes_back_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spill, "GROUP_ROWS", 16)
    aside = Spill("readings", 4, tmp_path)
    for first in (0, 30, 60):
        aside.put(readings(*range(first, first + 30)))
    found = [aside.of(bucket) for bucket in range(4)]
    for bucket, rows in enumerate(found):
        assert set(generations.bucket_numbers(rows, 4).tolist()) <= {bucket}
    ids = [row for rows in found for row in rows["reading_id"].to_pylist()]
    assert sorted(ids) == [f"{number:016x}" for number in range(90)]
    assert Spill("receipts", 4, tmp_path).of(0).num_rows == 0
