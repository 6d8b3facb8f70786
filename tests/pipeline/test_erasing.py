"""A person erased on request: no byte of them left in the store, every measurement kept, and a dispute stops it."""

import io
from datetime import UTC, datetime, timedelta
from pathlib import Path

import openpyxl
import pytest

from monitor import ingest
from monitor import store as stores
from monitor.errors import NotFoundError
from monitor.pipeline import erasing, intake, legal_holds, who
from monitor.pipeline.who import RulingError
from monitor.store import Store
from monitor.store.verify import verify
from monitor.terms import AccountState, HoldAct, Role

T0 = datetime(2026, 3, 2, 9, tzinfo=UTC)
HOUSES = b"house,note\nH1,\nH2,asked by Ann Example\n"
PEOPLE = (
    b"person,role,house,name,phone,email,note,born\n"
    b"P1,owner,H1,Ann Example,555-0101,ann@example.invalid,by the creek,1950\n"
    b"P2,owner,H2,Bob Example,555-0102,bob@example.invalid,,1960\n"
    b"O1,office,,Cy Example,555-0103,cy@example.invalid,,\n"
)
SECRETS = (b"Ann Example", b"555-0101", b"ann@example.invalid", b"by the creek", b"1950")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = stores.create(tmp_path / "store", company={"name": "the demo firm"}, created_at=T0)
    for name, data in (("houses.csv", HOUSES), ("people.csv", PEOPLE)):
        intake.take_register(store, name, data, received_at=T0, sender="O1")
    return store


def erase(store: Store, person: str = "P1", *, days: int = 1) -> erasing.Erased:
    return erasing.erase(store, person, who="O1", why="asked by letter", made_at=T0 + timedelta(days=days))


def bytes_of(store: Store, but: str = "inbox/houses") -> bytes:
    """All bytes of the store; those of the houses' table, whose note speaks of a person, left out."""
    return b"".join(path.read_bytes() for path in store.path.rglob("*") if path.is_file() and but not in str(path))


def test_no_byte_of_an_erased_person_is_left_and_all_else_stands(store: Store) -> None:
    kept = {path.name for path in (store.path / "files").iterdir()}
    assert all(secret in bytes_of(store) for secret in SECRETS)
    facts = store.facts_sha256()
    done = erase(store)
    found = bytes_of(store)
    assert [secret for secret in SECRETS if secret in found] == [b"Ann Example"], "in the file of houses, as written"
    assert b"Bob Example" in found, "others' rows stay"
    assert b"1960" in found, "with every column"
    assert done.row["columns"] == "house name phone email note"
    assert done.row["who"] == "O1"
    assert done.row["why"] == "asked by letter"
    assert store.facts_sha256() == facts
    (person,) = (row for row in store.office.people().to_pylist() if row["person"] == "P1")
    assert (person["role"], person["name"], person["house"]) == (Role.ERASED, "", "")
    assert verify(store).whole, verify(store).damages
    assert len(kept - {path.name for path in (store.path / "files").iterdir()}) == 1
    assert "P1" not in who.people(store)


def test_what_others_wrote_of_the_person_is_told_and_not_altered(store: Store) -> None:
    before = erasing.about(store, "p1")
    assert before.row["name"] == "Ann Example"
    assert before.written == ["houses, column note: 1 text", before.written[1]]
    assert before.written[1].startswith("the received file houses.csv, kept as files/")
    assert erasing.about(store, "O1").acted == {("receipts", "sender"): 2}
    assert erase(store).written == before.written


def test_a_workbook_of_several_tables_loses_only_the_persons_cells(store: Store) -> None:
    book = openpyxl.Workbook()
    people, houses = book.worksheets[0], book.create_sheet("houses")
    people.title = "people"
    for row in (["Register of March"], ["person", "role", "house", "name"], ["P3", "owner", "H3", "Dee Example"],
                ["P4", "owner", "H3", "=Eve"]):  # fmt: skip
        people.append(row)
    houses.append(["house", "soil"])
    houses.append(["H3", "clay till"])
    out = io.BytesIO()
    book.save(out)
    intake.take_register(store, "register.xlsx", out.getvalue(), received_at=T0 + timedelta(hours=1), sender="O1")
    done = erase(store, "P3")
    new = str(done.row["files"]).partition(">")[2]
    kept = store.received_file(new)
    assert kept is not None
    left = {
        page.title: [list(row) for row in page.iter_rows(values_only=True)]
        for page in openpyxl.load_workbook(io.BytesIO(kept))
    }
    assert left["people"][2] == ["P3", None, None, None]
    assert left["people"][3] == ["P4", "owner", "H3", "=Eve"]
    assert left["people"][0][0] == "Register of March"
    assert left["houses"] == [["house", "soil"], ["H3", "clay till"]]
    assert ingest.without_person("register.xlsx", kept, "P3") is None
    erase(store, "P4", days=2)
    assert verify(store).whole, "a bare copy of a bare copy"


def test_a_hold_stops_erasing_until_it_is_lifted(store: Store) -> None:
    def rule(house: str, act: HoldAct, days: int) -> None:
        at = T0 + timedelta(days=days)
        legal_holds.rule(store, house, act, who="O1", why="claim under the warranty", made_at=at)

    rule("h1", HoldAct.PLACE, 1)
    with pytest.raises(RulingError, match="claim under the warranty"):
        erase(store)
    with pytest.raises(RulingError, match="A hold"):
        erase(store, "O1")  # whoever is of no house may have worked at that one
    with pytest.raises(RulingError, match="stands already"):
        rule("H1", HoldAct.PLACE, 2)
    assert b"Ann Example" in bytes_of(store)
    erase(store, "P2")
    rule("H1", HoldAct.LIFT, 3)
    with pytest.raises(RulingError, match="no such hold"):
        rule("H1", HoldAct.LIFT, 4)
    rule(legal_holds.EVERYBODY, HoldAct.PLACE, 5)
    with pytest.raises(RulingError, match="A hold"):
        erase(store)
    rule(legal_holds.EVERYBODY, HoldAct.LIFT, 6)
    erase(store)
    assert [row["act"] for row in store.office.rows("legal_holds")] == ["place", "lift", "place", "lift"], "all logged"
    with pytest.raises(NotFoundError, match="No such house"):
        rule("H9", HoldAct.PLACE, 7)


def test_who_may_still_sign_in_is_not_erased(store: Store) -> None:
    account = {"account": "O1", "role": "office", "password_hash": "", "key_hash": ""}
    store.office.add({"accounts": [{**account, "state": AccountState.OPEN.value, "known_at": T0}]})
    with pytest.raises(RulingError, match="may still sign in"):
        erase(store, "O1")
    store.office.add(
        {"accounts": [{**account, "state": AccountState.CLOSED.value, "known_at": T0 + timedelta(hours=1)}]}
    )
    erase(store, "O1")


def test_an_erased_person_sent_again_does_not_come_back(store: Store) -> None:
    erase(store)
    again = PEOPLE + b"P5,erased,,,,,,\n"
    (taken,) = intake.take_register(store, "people again.csv", again, received_at=T0 + timedelta(days=2), sender="O1")
    assert (taken.intake.used, taken.intake.rejected) == (2, 2)
    first, second = taken.intake.messages
    assert "A2 'P1' was erased on 2026-03-03, on request." in first
    assert "erase-person" in first
    assert "B5 'erased' is said by erasing only." in second
    assert b"555-0101" in bytes_of(store), "in the file kept, as it came"
    erase(store, days=3)
    assert b"555-0101" not in bytes_of(store)


def test_an_erasure_that_was_broken_off_is_named_and_ended_by_another(store: Store) -> None:
    (full,) = (path for path in (store.path / "files").iterdir() if b"555-0101" in path.read_bytes())
    data = full.read_bytes()
    erase(store)
    full.write_bytes(data)  # as if it had been killed just before this
    (damage,) = verify(store).damages
    assert damage.place == f"files/{full.name}"
    assert "erased on request" in damage.what
    assert damage.mend == "Run `wallbow erase-person P1` again."
    erase(store, days=2)
    assert verify(store).whole
    assert not full.exists()
