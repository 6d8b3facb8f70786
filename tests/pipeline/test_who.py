"""Who may do what: by role where people are registered, and by the role that somebody signs in by."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor import store as stores
from monitor.pipeline import erasing, intake, legal_holds, links, photo_intake, who
from monitor.pipeline.who import RulingError
from monitor.store import Store
from monitor.terms import DESK, STAFF, AccountState, HoldAct, LinkTo, Role
from monitor.web import accounts, doors

T0 = datetime(2026, 3, 2, 9, tzinfo=UTC)
REGISTER = {
    "houses": b"house\nH1\n",
    "walls": b"house,wall,length_mm,clear_height_mm\nH1,N,9000,2400\n",
    "people": b"person,role,house\nP1,owner,H1\nO2,contact,H1\nO1,office,\nE1,engineer,\nT1,technician,\n",
}


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = stores.create(tmp_path / "store", company={"name": "the demo firm"}, created_at=T0)
    for name, data in REGISTER.items():
        intake.take_register(store, f"{name}.csv", data, received_at=T0, sender="O1")
    return store


def test_whoever_decides_by_command_is_whoever_may_by_browser() -> None:
    acts = [door for name, door in doors.DOORS.items() if name.startswith("POST /review/walls/{wall}/")]
    assert {door.roles for door in acts} == {frozenset(DESK)}


@pytest.mark.parametrize("name", ["P1", "O2", "E1", "t1"])
def test_of_a_few_roles_others_are_refused_and_told_who_could(name: str, store: Store) -> None:
    with pytest.raises(RulingError, match="Only people in the role office may do this") as refused:
        who.person(store, name, DESK)
    role = {"P1": "owner", "O2": "contact", "E1": "engineer", "t1": "technician"}[name]
    assert refused.value.got == f"{name.upper()}, registered as {role}"
    assert refused.value.expected == "O1"
    assert refused.value.mend == "Give the id of one of them, or register one first."
    assert who.person(store, name) == name.upper()


def test_a_misspelt_id_is_answered_with_those_who_may(store: Store) -> None:
    with pytest.raises(RulingError) as refused:
        who.person(store, "O3", STAFF)
    assert sorted(refused.value.expected.replace(" or ", ", ").split(", ")) == ["E1", "O1", "T1"]
    with pytest.raises(RulingError) as refused:
        who.person(store, "P2")
    assert "P1" in refused.value.expected


def test_a_technician_who_signs_in_as_office_may_what_the_office_may_until_the_account_is_closed(store: Store) -> None:
    accounts.add(store, "T1", Role.OFFICE, password=None, at=T0)
    assert who.person(store, "T1", DESK) == "T1"
    closed = accounts.close(store, "T1", at=T0 + timedelta(hours=1))
    assert closed.state is AccountState.CLOSED
    with pytest.raises(RulingError):
        who.person(store, "T1", DESK)


@pytest.mark.parametrize(
    "act",
    [
        lambda store, name: erasing.erase(store, "P1", who=name, why="asked", made_at=T0),
        lambda store, name: legal_holds.rule(store, "H1", HoldAct.PLACE, who=name, why="claim", made_at=T0),
        lambda store, name: links.make(
            store, "H1-N", LinkTo.HOMEOWNER, who=name, why="asked", made_at=T0, today=T0.date()
        ),
        lambda store, name: photo_intake.tie(store, [], photo_intake.Shown(), who=name, made_at=T0),
        lambda store, name: accounts.add(store, name, Role.OFFICE, password=None, at=T0),
    ],
    ids=["erase", "hold", "link", "photos", "account"],
)
def test_what_a_homeowner_cannot_have_done_is_not_put_on_record_as_theirs(
    act: Callable[[Store, str], object], store: Store
) -> None:
    with pytest.raises(RulingError, match="in the role technician, office or engineer may do this"):
        act(store, "P1")
    act(store, "O1")


def test_where_nobody_is_registered_any_word_is_taken(tmp_path: Path) -> None:
    store = stores.create(tmp_path / "new", company={"name": "the demo firm"}, created_at=T0)
    assert who.person(store, " anybody ", DESK) == "anybody"
