"""The ledger of assessments, editions and pages in the office records: only ever added to, also in older stores."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from store_rows import at, row

from monitor import store as stores
from monitor.errors import StoreError
from monitor.store import Store

DATA = Path(__file__).parent / "data"
ADDED_LATER = ("runs", "settings_kept", "editions", "pages")


def page(number: int, **values: object) -> dict[str, object]:
    return row("pages", report_number=f"n{number}", page="index.html", sha256="s", known_at=at(number), **values)


def test_rows_come_back_in_the_order_they_became_known_and_twice_is_once(store: Store) -> None:
    assert store.office.add({"pages": [page(2), page(1)]}) == 2
    assert store.office.add({"pages": [page(1, supersedes="other"), page(3)]}) == 1
    assert store.office.rows("pages") == [page(1), page(2), page(3)]


def test_of_rows_put_in_together_all_or_none_go_in(store: Store) -> None:
    with pytest.raises(StoreError):
        store.office.add({"pages": [page(1)], "editions": [row("editions", edition_id="", known_at=at(1))]})
    assert store.office.rows("pages") == []


@pytest.mark.parametrize("statement", ["UPDATE pages SET sha256 = 'other'", "DELETE FROM pages"])
def test_a_published_page_cannot_be_changed_or_deleted_even_by_hand(store: Store, statement: str) -> None:
    store.office.add({"pages": [page(1)]})
    with closing(sqlite3.connect(store.office.path)) as connection, pytest.raises(sqlite3.IntegrityError):
        connection.execute(statement)


def test_a_store_set_up_before_there_was_a_ledger_reads_as_empty_and_takes_one(tmp_path: Path) -> None:
    path = tmp_path / "store"
    shutil.copytree(DATA / "store-version-1", path)
    store = stores.open(path)
    assert [store.office.rows(table) for table in ADDED_LATER] == [[], [], [], []]
    assert store.office.add({"pages": [page(1)]}) == 1
    assert stores.open(path).office.rows("pages") == [page(1)]
    with closing(sqlite3.connect(store.office.path)) as connection, pytest.raises(sqlite3.IntegrityError):
        connection.execute("DELETE FROM pages")
    assert store.office.problems() == []
