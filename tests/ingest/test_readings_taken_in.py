"""Readings taken in: sums, messages, defaults, what is seen, and what is in already. Golden texts of messages only."""

from datetime import date
from typing import Any

import pytest
from intake_files import (
    TITLES,
    USED,
    USUAL,
    column,
    make_tables,
    one,
    outcomes,
    seen_before,
    table,
    take,
    wall,
    write_csv,
)  # fmt: skip

from monitor import schema
from monitor.errors import IntakeError
from monitor.records import replace


def test_the_day_of_work_asks_whether_the_reading_was_before_or_after() -> None:
    work = {"house": "DH-01", "wall": "N", "event_date": date(2025, 3, 10), "kind": "reinforcement"}
    tables = make_tables(events=table("events", work))
    reason = (
        "D2 is blank on 2025-03-10, the day of reinforcement: before or after expected."
        " Read before or after that day's work?"
    )
    assert outcomes(take(write_csv({}), tables)) == [("held", "part-missing", reason)]
    intake = take(write_csv({"part": "Before"}, {"part": "after work"}), tables)
    assert (outcomes(intake), column(intake, "part")) == ([USED, USED], ["before", "after"])


def test_received_is_the_sum_of_the_states_and_every_row_not_used_has_a_message() -> None:
    rows = [{}, {"mark": "M4", "value": "1 3/15"}, {"mark": "M5", "value": "covered"}, {"mark": "M2", "unit": ""}]
    intake = take(write_csv(*rows))
    assert (intake.received, intake.used, intake.held, intake.rejected, intake.could_not_read) == (4, 1, 1, 1, 1)
    assert len(intake.messages) == 3
    assert intake.table.schema.equals(schema.READINGS)


def test_an_intake_whose_states_do_not_add_up_cannot_be() -> None:
    done = take(write_csv({}))
    with pytest.raises(AssertionError, match="do not add up"):
        replace(done, received=done.received + 1)


def test_a_row_with_several_faults_names_them_all() -> None:
    state, code, reason = one(mark="M9", value="1 3/15", visit_date="soon")
    assert (state, code) == ("rejected", "unknown-mark")
    assert [place in reason for place in ("J2 'M9'", "K2 '1 3/15'", "C2 'soon'")] == [True] * 3


def test_what_was_seen_is_never_lost_whatever_its_spelling() -> None:
    intake = take(write_csv({"seen": "Lip; crushed blok / bulge"}))
    assert column(intake, "seen") == ["lip; crushed block"]
    assert column(intake, "note") == ["seen: bulge"]
    assert intake.notes == ["visit.csv, O2 'crushed blok' is taken as 'crushed block'."]


def test_a_crack_width_that_cannot_be_read_stays_in_the_note() -> None:
    intake = take(write_csv({"crack width": "3 mm"}, {"mark": "M4", "crack width": "wide"}))
    assert outcomes(intake) == [USED, USED]
    assert (column(intake, "crack_width_mm"), column(intake, "note")) == ([3.0, None], ["", "crack width: wide"])


def test_blank_method_and_kind_are_the_instruments_and_the_walls_or_are_asked_for() -> None:
    intake = take(write_csv({"method": "", "kind": ""}))
    assert (column(intake, "method"), column(intake, "kind")) == (["string"], ["gap"])
    walls = table("walls", wall("DH-01", "N", method="", kind=""))
    results = outcomes(take(write_csv({"method": "", "instrument": ""}), make_tables(walls=walls)))
    assert results == [("held", "method-missing", "F2 is blank: a method expected. String, plumb, laser or meter?")]


def test_the_values_heading_can_say_unit_and_kind() -> None:
    titles = ("house", "wall", "date", "mark", "gap (mm)", "method", "stand-off (mm)")
    row: dict[str, Any] = USUAL | {"date": "2025-03-10", "gap (mm)": "30.2", "stand-off (mm)": "76.2"}
    intake = take(write_csv(row, titles=titles))
    assert outcomes(intake) == [USED]
    assert (column(intake, "kind"), column(intake, "deflection_mm")) == (["gap"], [pytest.approx(46.0)])


@pytest.mark.parametrize(
    ("state", "code", "fate"),
    [("held", "range", ", and held"), ("rejected", "ruled", ", and was rejected by a person")],
)
def test_a_reading_that_waits_for_a_ruling_or_has_had_one_is_not_let_in_by_another_file(
    state: str, code: str, fate: str
) -> None:
    (row,) = take(write_csv({}), name="first.csv").table.to_pylist()
    earlier = table("readings", row | {"state": state, "reason_code": code})
    merged = take(write_csv({"note": "merged"}), earlier=earlier)
    reason = f"K2: this reading is in already{fate}. Nothing to do."
    assert outcomes(merged) == [("rejected", "already-in", reason)]
    mended = take(write_csv({"mends": row["reading_id"]}), earlier=earlier)
    assert outcomes(mended) == [USED]


def test_a_row_that_was_rejected_when_it_came_in_does_not_keep_the_same_reading_out() -> None:
    (row,) = take(write_csv({}), name="first.csv").table.to_pylist()
    earlier = table("readings", row | {"state": "rejected", "reason_code": "unknown-mark"})
    assert outcomes(take(write_csv({"note": "again"}), earlier=earlier)) == [USED]


def test_a_unit_column_against_its_heading_is_asked_about() -> None:
    titles = tuple("value (mm)" if title == "value" else title for title in TITLES)
    intake = take(write_csv({"value (mm)": "30.2", "unit": "in"}, titles=titles))
    reason = "L2 says in, and the heading of the value says mm. Which unit was read?"
    assert outcomes(intake) == [("held", "unit-differs", reason)]


def test_of_two_columns_for_a_remark_the_first_is_read_and_that_is_said() -> None:
    intake = take(write_csv({"remark": "second"}, titles=(*TITLES, "note")))
    assert outcomes(intake) == [USED]
    assert intake.notes == ["visit.csv: of the columns note, note only the first is read."]


def test_control_signs_and_line_breaks_in_a_cell_do_not_reach_the_message() -> None:
    state, _, reason = one(mark="M\x1b[31m9\nx")
    assert (state, reason.split(": ")[0]) == ("rejected", "J2 'M[31m9 x'")


def test_a_very_long_cell_is_cut_in_the_message_and_kept_in_the_row() -> None:
    intake = take(write_csv({"value": "x" * 5000}))
    assert column(intake, "value_raw") == ["x" * 5000]
    assert len(outcomes(intake)[0][2]) < 200


def test_a_length_that_no_rule_reads_is_asked_about() -> None:
    reason = "K2 '999999': at most 1500.0 mm expected of a gap. Was it read so?"
    assert one(value="999999", unit="mm") == ("held", "too-far", reason)


def test_a_set_up_converted_twice_is_asked_about() -> None:
    earlier = seen_before({"value": "1 3/16"}, {"mark": "M4", "value": "1 1/4"})
    rows = [{"value": "3/64"}, {"mark": "M4", "value": "3/64"}]
    reason = "K2 and K3 are 25.4 x too small for in, as if converted twice. Which unit was read?"
    assert outcomes(take(write_csv(*rows), earlier=earlier)) == [("held", "unit-factor", reason)] * 2


def test_people_and_instruments_are_known_by_their_ids_whatever_the_dash_and_case() -> None:
    people = table("people", {"person": "T-1", "role": "technician"})
    intake = take(write_csv({"technician": "t‑1", "instrument": "b3"}), make_tables(people=people))
    assert (column(intake, "technician"), column(intake, "instrument"), intake.notes) == (["T-1"], ["B3"], [])
    stranger = take(write_csv({"technician": "T9"}), make_tables(people=people))
    assert stranger.notes == [
        "visit.csv, E2 'T9' is not among the people of the register; nearest: T-1. Register the person, or write the id"
        " as registered."
    ]


def test_a_cell_beyond_the_last_heading_is_told_of() -> None:
    head, row = write_csv({}).decode().splitlines()[:2]
    blank = "," * (head.count(",") - row.count(","))
    intake = take(f"{head}\n{row}{blank},left over\n".encode())
    assert intake.used == 1
    (note,) = intake.notes
    assert note.startswith("visit.csv, ")
    assert "2 'left over': beyond the last heading, so not read." in note


def test_zero_bytes_at_the_end_are_told_of_and_refused_in_the_middle_of_a_row() -> None:
    data = write_csv({}, {"mark": "M4"}).rstrip() + b"\n"
    intake = take(data + bytes(5))
    assert (intake.used, intake.notes) == (
        2,
        ["visit.csv: ends in 5 zero bytes, as after a copy that was cut off; look whether its last rows came."],
    )
    with pytest.raises(IntakeError, match=r"visit\.csv, row 3: .*zero bytes in the middle of a row.*Mend"):
        take(data.rstrip() + bytes(5))
