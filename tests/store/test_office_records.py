import sqlite3
from contextlib import closing
from datetime import datetime

import pytest
from store_rows import at, row, table

from monitor import schema
from monitor import store as stores
from monitor.errors import StoreError
from monitor.store import Store


def decision(number: int, **values: object) -> dict[str, object]:
    given = {"decision_id": f"d{number}", "house": "DH-02", "wall": "E", "step": "visit sooner", "known_at": at(number)}
    return row("decisions", **given, **values)


def test_people_come_back_as_they_went_in_and_are_replaced_by_their_id(store: Store) -> None:
    people = table("people", {"person": "P2", "name": "Ann Ü."}, {"person": "P1", "role": "owner", "house": "DH-01"})
    assert store.office.put_people(people) == 2
    back = store.office.people()
    assert back.schema.equals(schema.PEOPLE, check_metadata=True)
    assert back.to_pylist() == people.to_pylist()[::-1]
    store.office.put_people([row("people", person="P2", name="Another name")])
    assert [each["name"] for each in store.office.people().to_pylist()] == ["", "Another name"]


def test_decisions_come_back_with_dates_and_moments_and_as_known_on_a_moment(store: Store) -> None:
    first = decision(1, due=at(30).date(), owner="P1", why="frost")
    assert store.office.decide(first)
    assert store.office.decide(table("decisions", decision(2)))
    assert store.office.decisions().to_pylist() == [first, decision(2)]
    assert store.office.decisions(known_on=at(1)).to_pylist() == [first]
    assert store.office.decisions(known_on=at(0)).num_rows == 0


def test_the_same_decision_twice_is_a_no_op_and_never_changes_the_first(store: Store) -> None:
    assert store.office.decide(decision(1, why="first"))
    assert not store.office.decide(decision(1, why="second"))
    assert store.office.decisions()["why"].to_pylist() == ["first"]


@pytest.mark.parametrize("statement", ["UPDATE decisions SET why = 'other'", "DELETE FROM decisions"])
def test_a_decision_cannot_be_changed_or_deleted_even_by_hand(store: Store, statement: str) -> None:
    store.office.decide(decision(1))
    with closing(sqlite3.connect(store.office.path)) as connection, pytest.raises(sqlite3.IntegrityError):
        connection.execute(statement)


def test_the_company_is_kept_and_replaced_whole(store: Store) -> None:
    assert store.office.company() == {"name": "the demo firm"}
    store.office.set_company({"name": "n", "phone": "p"})
    store.office.set_company({"phone": "q"})
    assert stores.open(store.path).office.company() == {"phone": "q"}


def test_rows_that_break_the_contract_are_refused(store: Store) -> None:
    good = decision(1)
    bad = [
        {name: value for name, value in good.items() if name != "why"},
        good | {"more": 1},
        good | {"decision_id": ""},
        good | {"known_at": None},
        good | {"known_at": datetime(2026, 1, 1)},  # noqa: DTZ001
        good | {"why": None},
    ]
    for each in bad:
        with pytest.raises(StoreError):
            store.office.decide(each)
    assert store.office.decisions().num_rows == 0


def test_of_people_put_in_together_all_or_none_go_in(store: Store) -> None:
    with pytest.raises(StoreError):
        store.office.put_people([row("people", person="P1"), row("people", person="P2") | {"name": None}])
    assert store.office.people().num_rows == 0


def test_office_records_that_are_missing_or_damaged_are_named_with_the_mend(store: Store) -> None:
    store.office.path.write_bytes(b"not a database" * 100)
    with pytest.raises(StoreError, match=r"office\.sqlite.*Mend"):
        store.office.people()
    store.office.path.unlink()
    with pytest.raises(StoreError, match=r"office\.sqlite.*missing.*Mend"):
        store.office.people()


def test_every_write_is_synced_in_full_and_into_the_one_file(store: Store) -> None:
    with store.office._open() as connection:
        assert connection.execute("PRAGMA synchronous").fetchone() == (3,)  # EXTRA: the folder, too
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    store.office.decide(decision(1))
    assert [path.name for path in store.path.glob("office*")] == ["office.sqlite"]


def test_calls_by_one_connection_are_what_they_are_by_one_each(store: Store) -> None:
    other = stores.open(store.path).office
    with store.office.held_open():
        assert store.office.decide(decision(1))
        assert other.decide(decision(2)), "what was said is there for all, and nothing is locked between"
        assert store.office.decisions().to_pylist() == [decision(1), decision(2)]
        with pytest.raises(StoreError):
            store.office.rows("decisions", house=2**70)  # type: ignore[arg-type]
        assert store.office.turns() == other.turns()
        with pytest.raises(StoreError):
            store.office.add({"decisions": [decision(3), decision(4) | {"step": None}]})
        assert other.decide(decision(5)), "what was taken back is locked for nobody"
    assert store.office.decisions().num_rows == 3


def test_a_fault_while_a_connection_is_held_is_none_of_the_records(store: Store) -> None:
    with pytest.raises(UnicodeDecodeError), store.office.held_open():
        b"\xff".decode()
    store.office.path.unlink()
    with pytest.raises(StoreError, match="missing"), store.office.held_open():
        pass


def test_decisions_of_one_wall_are_found_without_a_look_at_all_of_them(store: Store) -> None:
    assert store.office.decide(decision(1))
    with store.office._open() as connection:
        plan = connection.execute(
            "EXPLAIN QUERY PLAN SELECT * FROM decisions WHERE house = 'a' AND wall = 'b'"
        ).fetchall()
    assert "USING INDEX decisions_wall" in plan[0][3]
