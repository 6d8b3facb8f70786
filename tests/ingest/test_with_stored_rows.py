"""Rows sent later are judged with the stored rows of their set-up, and suggestions with what was expected."""

import csv
import io

import pyarrow as pa
import pytest
from intake_files import column, expect, make_tables, mark, outcomes, table, take, write_csv

from monitor.lengths import MistypedLengthError, parse
from monitor.results import Intake

# The blocks stand off 3 in (76.2 mm): a gap of 2 3/16 in is 20.6 mm inward.
GAPS = {"M1": "2 13/16", "M2": "2 7/16", "M3": "2 3/16", "M4": "2 7/16", "M5": "2 13/16"}
MEANS = (4.76, 14.29, 20.64, 14.29, 4.76)
EXPECTED = expect("N", MEANS)
FOUR = [{"mark": name, "value": gap} for name, gap in GAPS.items() if name != "M3"]


def sheet_of(intake: Intake) -> list[dict[str, str]]:
    assert intake.mend_sheet is not None
    return list(csv.DictReader(io.StringIO(intake.mend_sheet.decode("utf-8-sig"))))


def test_a_late_reading_that_contradicts_its_stored_set_up_is_held_as_it_would_be_in_one_file() -> None:
    slip = {"mark": "M3", "value": "1 3/16"}
    together = take(write_csv(*FOUR, slip), expected=EXPECTED)
    first = take(write_csv(*FOUR), expected=EXPECTED)
    assert first.used == 4, first.messages
    late = take(write_csv(slip), earlier=first.table, name="late.csv", expected=EXPECTED)
    (apart,) = outcomes(late)
    assert apart[:2] == ("held", "slip")
    assert apart[2].replace("K2", "K6") == outcomes(together)[-1][2]


def test_a_late_reading_that_agrees_with_its_stored_set_up_is_used_and_they_are_not_judged_again() -> None:
    first = take(write_csv(*FOUR), expected=EXPECTED)
    late = take(write_csv({"mark": "M3", "value": GAPS["M3"]}), earlier=first.table, name="late.csv", expected=EXPECTED)
    assert outcomes(late) == [("used", "", "")]
    assert late.received == 1


def test_stored_rows_of_another_set_up_do_not_count_as_this_one() -> None:
    first = take(write_csv(*({"set-up": "2"} | row for row in FOUR)), expected=EXPECTED)
    late = take(write_csv({"mark": "M3", "value": "1 3/16"}), earlier=first.table, name="late.csv", expected=EXPECTED)
    assert outcomes(late) == [("used", "", "")]


def test_a_doubt_about_a_whole_set_up_is_said_of_the_late_row_alone_by_its_own_cell() -> None:
    shifted = {"M1": "2 5/16", "M2": "1 15/16", "M3": "1 11/16", "M4": "1 15/16", "M5": "2 5/16"}
    rows = [{"mark": name, "value": gap, "method": "meter", "kind": "deflection"} for name, gap in shifted.items()]
    expected = expect("N", [2.25 * 25.4, 1.9 * 25.4, 1.65 * 25.4, 1.9 * 25.4, 1.3 * 25.4], method="meter")
    first = take(write_csv(*rows[:4]))
    assert first.used == 4, first.messages
    late = take(write_csv(rows[4]), earlier=first.table, name="late.csv", expected=expected)
    state, _, reason = outcomes(late)[0]
    assert state == "held"
    assert reason.startswith("K2")
    assert len(late.messages) == 1


def test_a_copied_visit_is_seen_though_its_last_rows_come_later() -> None:
    tables = make_tables(marks=table("marks", *(mark("DH-01", "N", n) for n in range(1, 13))))
    rows = [{"mark": f"M{n}", "value": f"1 {n}/16"} for n in range(1, 13)]
    zero = take(write_csv(*({"visit date": "2024-09-12"} | row for row in rows)), tables).table
    first = take(write_csv(*rows[:5]), tables, zero)
    assert first.used == 5, first.messages
    alone = take(write_csv(*rows[5:10]), tables, zero, name="late.csv")
    assert set(column(alone, "state")) == {"used"}
    late = take(write_csv(*rows[5:10]), tables, pa.concat_tables([zero, first.table]), name="late.csv")
    assert set(column(late, "reason_code")) == {"copied"}


def test_a_mistyped_fraction_far_from_what_was_expected_is_not_offered_as_meant() -> None:
    taken = take(write_csv({"value": "1 3/15"}), expected=EXPECTED)
    reason = outcomes(taken)[0][2]
    assert reason == "K2 '1 3/15': sixteenths expected. Read it again: 1 3/16 would be 1 in off what was expected."
    assert sheet_of(taken)[0]["mend"] == "Read it again: 1 3/16 would be 1 in off what was expected."


def test_a_mistyped_fraction_near_what_was_expected_is_offered() -> None:
    taken = take(write_csv({"value": "2 3/15"}), expected=EXPECTED)
    assert outcomes(taken)[0][2] == "K2 '2 3/15': sixteenths expected. Did you mean 2 3/16?"


def test_of_two_meanings_only_the_expected_one_is_offered() -> None:
    with pytest.raises(MistypedLengthError) as writing:
        parse("1 19/16", "in")
    assert writing.value.meant == ("2 3/16", "1 9/16")
    taken = take(write_csv({"value": "1 19/16"}), expected=EXPECTED)
    assert outcomes(taken)[0][2].endswith("Did you mean 2 3/16?")
    other = take(write_csv({"value": "1 19/16"}), expected=expect("N", (4.76, 14.29, 36.5, 14.29, 4.76)))
    assert outcomes(other)[0][2].endswith("Did you mean 1 9/16?")


def test_where_a_set_up_may_stand_anywhere_every_meaning_is_offered() -> None:
    taken = take(write_csv({"value": "1 19/16"}), expected=expect("N", MEANS, shared=None))
    assert outcomes(taken)[0][2].endswith("Did you mean 2 3/16 or 1 9/16?")


def test_a_fraction_that_lost_its_space_is_offered_with_it_where_that_fits() -> None:
    taken = take(write_csv({"value": "21/8"}), expected=EXPECTED)
    assert outcomes(taken)[0][2] == "K2 '21/8': less than 8 eighths expected. Did you mean 2 1/8?"
