"""Setting up and opening a store, what the disk may refuse, settings, and stores of earlier versions."""

import errno
import os
import shutil
from datetime import date, datetime
from pathlib import Path

import pytest
from store_rows import START, at, readings, table

from monitor import store as stores
from monitor.config import Rules, Settings, Telling
from monitor.documents import RefusedError
from monitor.errors import StoreError
from monitor.store import Store
from monitor.store.verify import verify

DATA = Path(__file__).parent / "data"


def test_a_store_is_opened_where_it_was_set_up(store: Store) -> None:
    again = stores.open(str(store.path))
    assert again.office.company() == {"name": "the demo firm"}
    assert again.settings() == Settings()


def test_a_store_is_only_set_up_in_a_new_or_empty_folder(store: Store, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    assert stores.create(other, company={}, created_at=START).facts("walls").num_rows == 0
    file = tmp_path / "file"
    file.write_text("mine")
    for path in (store.path, file, tmp_path):
        with pytest.raises(StoreError, match=r"new or empty folder.*Mend"):
            stores.create(path, company={}, created_at=START)
    assert file.read_text() == "mine"
    with pytest.raises(StoreError, match="time zone"):
        stores.create(tmp_path / "x", company={}, created_at=datetime(2026, 1, 1))  # noqa: DTZ001
    assert not (tmp_path / "x").exists()


def test_what_is_not_a_store_is_not_opened(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"nowhere: There is no store here.*Mend"):
        stores.open(tmp_path / "nowhere")
    with pytest.raises(StoreError, match=r"This is not a store.*store\.json.*Mend"):
        stores.open(tmp_path)
    (tmp_path / "store.json").write_text("{")
    with pytest.raises(StoreError, match=r"store\.json.*damaged.*Mend"):
        stores.open(tmp_path)


def test_a_store_of_an_unknown_version_is_refused_and_both_versions_are_named(store: Store) -> None:
    card = store.path / "store.json"
    card.write_text(card.read_text().replace('"schema_version": 3', '"schema_version": 4'))
    with pytest.raises(StoreError, match=r"store\.json.*Found: version 4. Expected: version 3.*Mend"):
        stores.open(store.path)


@pytest.mark.parametrize(
    ("number", "mend"), [(errno.ENOSPC, "Free space"), (errno.EDQUOT, "Free space"), (errno.EROFS, "writable")]
)
def test_what_the_disk_refuses_is_an_error_with_the_file_and_the_mend_and_leaves_nothing_half(
    store: Store, monkeypatch: pytest.MonkeyPatch, number: int, mend: str
) -> None:
    store.add("walls", table("walls", {"house": "DH-01", "wall": "N"}))
    files = sorted(store.path.rglob("*"))

    def refuse(handle: int) -> None:
        raise OSError(number, os.strerror(number))

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", refuse)
        for write in (
            lambda: store.add("readings", readings(1)),
            lambda: store.keep_file(b"data", "visit.csv"),
            lambda: store.save_settings(Settings()),
            store.compact,
        ):
            with pytest.raises(StoreError, match=rf"{store.path}.*{mend}"):
                write()
    assert sorted(path for path in store.path.rglob("*") if path.name != "compact.lock") == files
    assert verify(store).whole
    assert store.add("readings", readings(1))


def test_a_folder_that_cannot_be_made_is_an_error_with_the_mend(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="Mend"):
        stores.create(tmp_path / "file" / "store", company={}, created_at=START)


def test_settings_that_are_saved_come_back_and_the_defaults_hold_for_the_rest(store: Store) -> None:
    ours = Settings(rules=Rules(alpha=0.01))
    store.save_settings(ours)
    assert stores.open(store.path).settings() == ours
    (store.path / "settings.json").write_text('{"rules": {"jump_mm": 8}}')
    assert store.settings() == Settings(rules=Rules(jump_mm=8))
    (store.path / "settings.json").unlink()
    assert store.settings() == Settings()


def test_a_settings_file_that_cannot_be_used_names_the_entry(store: Store) -> None:
    for text, words in (('{"rules": {"allpha": 0.1}}', r"rules\.allpha"), ("alpha = 1", "settings.json")):
        (store.path / "settings.json").write_text(text)
        with pytest.raises(StoreError, match=rf"{words}.*Mend"):
            store.settings()


def test_settings_that_cannot_be_are_not_saved(store: Store) -> None:
    kept = (store.path / "settings.json").read_bytes()
    with pytest.raises(RefusedError, match=r"rules\.before_mm_per_year: it should be greater than 0"):
        store.save_settings(Settings(rules=Rules(before_mm_per_year=-1.0)))
    assert (store.path / "settings.json").read_bytes() == kept
    with pytest.raises(RefusedError, match=r"timeout_seconds: it should be at most 300"):
        store.save_telling(Telling(timeout_seconds=301.0))
    assert not (store.path / "telling.json").exists()


def test_the_thresholds_valid_on_a_day_take_the_place_of_the_settings(store: Store) -> None:
    store.save_settings(Settings(rules=Rules(alpha=0.01)))
    first = {"valid_from": date(2025, 1, 1), "before_mm_per_year": 3.0, "take_up_days": 60, "signed_by": "P9"}
    second = {"valid_from": date(2026, 1, 1), "before_mm_per_year": 2.0, "known_at": at(10)}
    store.add("thresholds", table("thresholds", second, first))
    assert store.rules_on(date(2024, 12, 31)) == Rules(alpha=0.01)
    assert store.rules_on(date(2025, 1, 1)) == Rules(alpha=0.01, before_mm_per_year=3.0, take_up_days=60)
    assert store.rules_on(date(2026, 1, 1)) == Rules(alpha=0.01, before_mm_per_year=2.0)
    assert store.rules_on(date(2026, 1, 1), known_on=at(9)).before_mm_per_year == 3.0


def test_thresholds_that_cannot_hold_name_the_row_that_set_them(store: Store) -> None:
    row = {"valid_from": date(2025, 1, 1), "after_mm_per_year": -1.0, "source_name": "limits.csv", "source_row": 4}
    store.add("thresholds", table("thresholds", row))
    with pytest.raises(StoreError, match=r"limits\.csv, row 4.*greater than 0.*Mend"):
        store.rules_on(date(2026, 1, 1))


def test_a_store_of_schema_version_1_stays_readable_and_can_be_added_to(tmp_path: Path) -> None:
    path = tmp_path / "store"
    shutil.copytree(DATA / "store-version-1", path)
    store = stores.open(path)
    assert verify(store).damages == ()
    assert {name: store.facts(name).num_rows for name in ("readings", "walls", "marks", "receipts", "rulings")} == {
        "readings": 8, "walls": 2, "marks": 4, "receipts": 2, "rulings": 1,
    }  # fmt: skip
    assert store.readings()["state"].to_pylist().count("used") == 3
    assert store.office.people()["person"].to_pylist() == ["P1"]
    assert store.office.decisions()["decision_id"].to_pylist() == ["d1"]
    assessment = store.assessment()
    assert assessment is not None
    assert assessment.wall_results["verdict"].to_pylist() == ["holding"]
    assert assessment.facts_sha256 == store.facts_sha256()
    assert store.add("readings", readings(99, state="held"))
    assert not store.add("walls", store.facts("walls").slice(0, 1))
    assert store.compact()
    assert store.facts("readings").num_rows == 9
