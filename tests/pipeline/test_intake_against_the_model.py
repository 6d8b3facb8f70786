"""Files judged against what the model expects of the walls they name, from the store and back into it."""

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor import store as stores
from monitor.errors import TrendError
from monitor.pipeline import assessing, intake, review
from monitor.pipeline.expecting import expected_at
from monitor.store import Store
from monitor.terms import Act, Outcome, Rule, Urgency
from monitor.trend import expected

DAYS = [date(2023, 4, 10), date(2023, 10, 10), date(2024, 4, 9), date(2024, 10, 8)]
ON = date(2025, 4, 8)
NORTH = ["2 15/16", "2 1/8", "1 13/16", "2 1/8", "2 15/16"]
SOUTH = ["3", "2 11/16", "2 9/16", "2 11/16", "3"]
READINGS = "house,wall,visit date,technician,instrument,mark,value,unit,kind,mends"


def moment(day: date) -> datetime:
    return datetime.combine(day, time(20), tzinfo=UTC)


def send(store: Store, day: date, *sheets: tuple[str, Iterable[str]], name: str = "") -> intake.Taken:
    lines = [
        f"DH-01,{wall},{day},T1,B3,M{n},{value},in,gap,"
        for wall, values in sheets
        for n, value in enumerate(values, start=1)
        if value
    ]
    data = "\n".join([READINGS, *lines, ""]).encode()
    return intake.take_readings(
        store, name or f"{day}.csv", data, received_at=moment(day), sender="T1", today=day + timedelta(days=1)
    )


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """House DH-01 with two walls, read four times by string from end to end."""
    made = stores.create(tmp_path / "store", company={"name": "the demo firm"}, created_at=moment(date(2023, 4, 1)))
    tables = {
        "houses": ["house", "DH-01"],
        "instruments": ["instrument,method,stand-off,step", "B3,string,3 in,1/16 in"],
        "walls": [
            "house,wall,length,clear height,thickness,method,kind,unit",
            *(f"DH-01,{wall},24 ft,8 ft,8 in,string,gap,in" for wall in "NS"),
        ],
        "marks": [
            "house,wall,mark,x,z,row,set on",
            *(f"DH-01,{wall},M{n},{6 * (n - 1)} ft,4 ft,M,2023-04-10" for wall in "NS" for n in range(1, 6)),
        ],
    }
    for name, lines in tables.items():
        for taken in intake.take_register(
            made, f"{name}.csv", "\n".join(lines).encode(), received_at=moment(date(2023, 4, 3)), sender="C1"
        ):
            assert taken.intake.messages == []
    for day in DAYS:
        assert send(made, day, ("N", NORTH), ("S", SOUTH)).intake.messages == []
    return made


def held_finding(store: Store, wall: str, on: date) -> dict[str, Any]:
    done = assessing.assess(store, judged_on=on, known_on=moment(on + timedelta(days=2)), save=False)
    [row] = [r for r in done.findings.to_pylist() if r["wall"] == wall and r["rule"] == Rule.HELD]
    return dict(row)


def with_mark_3(values: list[str], value: str) -> list[str]:
    return [*values[:2], value, *values[3:]]


def test_a_misread_fraction_far_inward_is_held_and_asks_for_a_call_the_same_day(store: Store) -> None:
    taken = send(store, ON, ("N", with_mark_3(NORTH, "1 3/16")), ("S", SOUTH))
    assert taken.intake.messages == [
        "2025-04-08.csv, G4 '1 3/16': M3 is 5/8 in off; 1 13/16 would fit. Re-read or confirm. If it is right, M3 is"
        " 1/2 in or more further in than expected. Same day: call the office, and have it read again."
    ]
    finding = held_finding(store, "N", ON)
    assert (finding["outcome"], finding["urgency"]) == (Outcome.YES, Urgency.SAME_DAY)
    assert finding["next_step"] == "Call the house today and have the mark read again."
    assert held_finding(store, "S", ON)["outcome"] == Outcome.NO


def test_a_smaller_one_asks_to_be_read_again_within_two_working_days(store: Store) -> None:
    taken = send(store, ON, ("N", with_mark_3(NORTH, "1 7/16")), ("S", SOUTH))
    [message] = taken.intake.messages
    assert message.endswith(
        "M3 is 3/8 in off; 1 7/8 would fit. Re-read or confirm. If it is right, M3 is 1/4 in or more"
        " further in than expected. Read it again within 2 working days."
    )
    finding = held_finding(store, "N", ON)
    assert (finding["outcome"], finding["urgency"]) == (Outcome.YES, Urgency.CONFIRM)
    assert finding["next_step"] == "Have the mark read again within 2 working days."


def test_a_slip_outward_is_held_without_haste(store: Store) -> None:
    [message] = send(store, ON, ("N", with_mark_3(NORTH, "2 13/16"))).intake.messages
    assert message.endswith("M3 is 1 in off; 1 13/16 would fit. Re-read or confirm.")
    assert held_finding(store, "N", ON)["next_step"].startswith("Release, reject or correct")


def test_a_reading_that_a_person_releases_is_used(store: Store) -> None:
    send(store, ON, ("N", with_mark_3(NORTH, "1 3/16")))
    [held] = [row for row in store.readings().to_pylist() if row["state"] == "held"]
    review.rule(store, held["reading_id"], Act.RELEASE, who="C1", why="read twice on site", made_at=moment(ON))
    assert {row["state"] for row in store.readings().to_pylist()} == {"used"}
    assert held_finding(store, "N", ON)["outcome"] == Outcome.NO


def test_exchanged_sheets_are_held_and_used_once_they_are_sent_under_the_right_walls(store: Store) -> None:
    taken = send(store, ON, ("N", SOUTH), ("S", NORTH), name="first.csv")
    assert taken.intake.held == 10
    assert "DH-01-N's readings fit DH-01-S and the reverse" in taken.intake.messages[0]
    again = send(store, ON, ("N", NORTH), ("S", SOUTH), name="again.csv")
    assert (again.intake.used, again.added) == (10, 10)


def test_nothing_is_foretold_of_a_house_without_a_reading_before_the_visit(store: Store) -> None:
    register = intake.current_register(store)
    readings = store.readings()
    assert expected_at(store, {("DH-02", ON)}, register, readings, moment(ON)) is None
    assert expected_at(store, {("DH-01", DAYS[0])}, register, readings, moment(ON)) is None


def test_a_visit_is_taken_in_though_the_model_cannot_say_anything(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> None:
        raise TrendError("A wall that the model cannot take")

    monkeypatch.setattr(expected, "table", fails)
    assert send(store, ON, ("N", with_mark_3(NORTH, "1 3/16"))).intake.used == 5


def test_what_is_foretold_of_a_day_is_of_the_days_before_it_alone(store: Store) -> None:
    register = intake.current_register(store)
    before = expected_at(store, {("DH-01", ON)}, register, store.readings(), moment(ON))
    send(store, ON, ("N", NORTH))
    after = expected_at(store, {("DH-01", ON)}, register, store.readings(), moment(ON))
    assert before is not None
    assert before.equals(after)
    assert set(zip(before["wall"].to_pylist(), before["mark"].to_pylist(), strict=True)) == {
        (wall, f"M{n}") for wall in "NS" for n in range(1, 6)
    }


def test_a_preview_judges_as_the_intake_does(store: Store) -> None:
    rows = "\n".join([READINGS, *(f"DH-01,N,{ON},T1,B3,M{n},{v},in,gap," for n, v in enumerate(SOUTH, start=1)), ""])
    seen = intake.preview_readings(
        store, "p.csv", rows.encode(), received_at=moment(ON), sender="T1", today=ON + timedelta(days=1)
    )
    assert seen.intake.table["reason_code"].to_pylist() == ["wrong-wall"] * 5
    assert store.readings().num_rows == 40
