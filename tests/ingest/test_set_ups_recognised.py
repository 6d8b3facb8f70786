"""Whole set-ups that cannot be what they say, and single slips: what is held, with which words, and what is not."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import pyarrow as pa
import pytest
from intake_files import USED, expect, make_tables, mark, outcomes, table, take, wall, write_csv

from monitor.lengths import parse

BLOCKS_MM = 76.2
NORTH, SOUTH = [1.0, 22.0, 31.0, 22.0, 1.0], [0.0, 8.5, 12.0, 8.5, 0.0]
CROOKED = [0.0, 24.0, 30.0, 14.0, 0.0]


def house(*walls: tuple[str, str]) -> dict[str, pa.Table]:
    """DH-01 with these walls (name, usual kind), each with M1 to M5 along one row from corner to corner."""
    rows = [wall("DH-01", name, kind=kind) for name, kind in walls]
    marks = [mark("DH-01", name, n, x_mm=7315.2 * (n - 1) / 4, row="M") for name, _ in walls for n in range(1, 6)]
    return make_tables(walls=table("walls", *rows), marks=table("marks", *marks))


HOUSE = house(("N", "gap"), ("S", "gap"), ("E", "deflection"))


def gap(deflection_mm: float) -> str:
    """To the nearest sixteenth of an inch, as a decimal that is one."""
    return f"{round((BLOCKS_MM - deflection_mm) / 25.4 * 16) / 16:.4f}"


def sheet(name: str, deflections: Sequence[float], **more: str) -> list[dict[str, str]]:
    return [{"wall": name, "mark": f"M{n}", "value": gap(d)} | more for n, d in enumerate(deflections, start=1)]


def judged(rows: list[dict[str, str]], *expected: pa.Table, tables: Any = HOUSE) -> list[tuple[str, str, str]]:
    return outcomes(take(write_csv(*rows), tables, expected=pa.concat_tables(expected)))


def test_row_14_two_walls_exchanged_hold_both_visits_and_name_each_other() -> None:
    rows = sheet("N", SOUTH) + sheet("S", NORTH)
    found = judged(rows, expect("N", NORTH), expect("S", SOUTH))
    assert {(state, code) for state, code, _ in found} == {("held", "swapped")}
    assert found[0][2] == (
        "K2:K6: DH-01-N's readings fit DH-01-S and the reverse; M3 is '2.5000', and 1 3/4 in was expected, 2 1/2 in of"
        " DH-01-S. Were the two walls exchanged? Send each under its own wall, or confirm."
    )
    assert found[7][2] == (
        "K7:K11: DH-01-S's readings fit DH-01-N and the reverse; M3 is '1.7500', and 2 1/2 in was expected, 1 3/4 in of"
        " DH-01-N. Were the two walls exchanged? Send each under its own wall, or confirm."
        " If it is right, M3 is 1/2 in or more further in than expected. Same day: call the office, and have it read"
        " again."
    )


def test_a_sheet_of_another_wall_is_held_alone() -> None:
    found = judged(sheet("S", CROOKED), expect("N", CROOKED), expect("S", SOUTH))
    assert {code for _, code, _ in found} == {"wrong-wall"}
    assert found[0][2].startswith(
        "K2:K6: DH-01-S's readings fit DH-01-N; M3 is '1.8125', and 2 1/2 in was expected, 1 13/16 in of DH-01-N."
        " Which wall was read? Send them under that wall, or confirm."
    )


def test_a_sheet_of_a_wall_further_out_is_held_for_walls_do_not_bow_out() -> None:
    found = judged(sheet("N", SOUTH), expect("N", NORTH), expect("S", SOUTH))
    assert {code for _, code, _ in found} == {"wrong-wall"}


def test_a_bow_inward_that_happens_to_match_another_wall_is_used_so_that_its_jump_is_called() -> None:
    assert judged(sheet("S", NORTH), expect("N", NORTH), expect("S", SOUTH)) == [USED] * 5


def test_walls_are_exchanged_though_only_one_was_read_on_a_day_of_work() -> None:
    found = judged(sheet("N", SOUTH, part="before") + sheet("S", NORTH), expect("N", NORTH), expect("S", SOUTH))
    assert {code for _, code, _ in found} == {"swapped"}


def test_a_new_mark_and_a_doubtful_one_do_not_hide_an_exchange_and_are_held_with_it() -> None:
    rows = sheet("N", SOUTH) + sheet("S", NORTH)
    rows[1]["value"] = "2 5/8-2 3/4"
    nothing_of_m5 = expect("S", SOUTH[:4])
    found = judged(rows, expect("N", NORTH), nothing_of_m5)
    assert [code for _, code, _ in found[5:]] == ["swapped"] * 5
    assert [code for _, code, _ in found[:5]] == ["swapped", "range", "swapped", "swapped", "swapped"]


def test_walls_too_much_alike_to_tell_are_used() -> None:
    alike = [d + 1 for d in NORTH]
    assert judged(sheet("N", alike) + sheet("S", NORTH), expect("N", NORTH), expect("S", alike)) == [USED] * 10


def test_row_15_columns_read_from_the_right_are_held() -> None:
    found = judged(sheet("N", CROOKED[::-1]), expect("N", CROOKED))
    assert {code for _, code, _ in found} == {"mirrored"}
    assert found[0][2] == (
        "K2:K6: the mirror image of what was expected fits better; M4 is '2.0625', and 2 7/16 in was expected,"
        " 2 1/16 in of M2. Were the columns read from the right? Send them in their order, or confirm."
    )
    assert found[3][2].endswith(
        "If it is right, M4 is 1/4 in or more further in than expected. Read it again within 2 working days."
    )


def test_the_columns_of_a_plumb_line_are_held_when_exchanged_though_each_is_a_set_up_of_its_own() -> None:
    names = [f"{row}{column}" for column in (1, 3) for row in "TMB"]
    marks = [
        mark("DH-01", "N", 0, mark=name, x_mm=2000.0 * int(name[1]), z_mm={"T": 2100, "M": 1200, "B": 200}[name[0]],
             row=name[0], column=name[1])
        for name in names
    ]  # fmt: skip
    tables = make_tables(walls=table("walls", wall("DH-01", "N", method="plumb")), marks=table("marks", *marks))
    means = [-80.0, -60.0, -90.0, -80.0, -74.0, -80.0]
    foretold = [
        {"mark": name, "expected_deflection_mm": mean, "sd_mm": None, "others": names, "spread_mm2": [0.0] * 6,
         "setup_mm2": [float(name == other) for other in names]}
        for name, mean in zip(names, means, strict=True)
    ]  # fmt: skip
    usual = expect("N", [0.0], method="plumb", shared=None).to_pylist()[0]
    expected = pa.Table.from_pylist([usual | row for row in foretold], schema=expect("N", [0.0]).schema)
    rows = [
        {"wall": "N", "method": "plumb", "instrument": "", "mark": name, "unit": "mm", "set-up": name[1],
         "value": f"{-mean:.0f}"}
        for name, mean in zip(names, means[3:] + means[:3], strict=True)
    ]  # fmt: skip
    assert {code for _, code, _ in judged(rows, expected, tables=tables)} == {"mirrored"}


def test_a_row_of_a_plumb_line_read_in_part_by_two_set_ups_is_mirrored_mark_by_mark() -> None:
    read = [("M2", "1"), ("M3", "2"), ("M2", "4"), ("M3", "4"), ("M4", "4")]
    rows = [
        {"wall": "N", "method": "plumb", "instrument": "", "mark": name, "set-up": number, "value": "2 1/2"}
        for name, number in read
    ]
    assert judged(rows, expect("N", [-63.5] * 5, method="plumb")) == [USED] * 5


def test_a_slip_of_a_fraction_under_millimetres_is_asked_about_though_something_is_expected() -> None:
    rows = [{"wall": "N", "mark": "M3", "value": "1.3/16", "unit": "mm"}]
    reason = "K2 '1.3/16': a fraction expected. Did you mean 1 3/16?"
    assert judged(rows, expect("N", NORTH)) == [("rejected", "length", reason)]


def test_what_good_readings_can_be_is_used_though_a_mirror_image_is_far_likelier() -> None:
    """Chance of being so far off: 0.003 (chi square 18 of 5); the mirror image is 8,000 times as likely."""
    assert (
        judged(sheet("N", [0.0, 20.64, 30.16, 23.81, 0.0]), expect("N", [0.0, 23.81, 30.16, 20.64, 0.0])) == [USED] * 5
    )


def test_a_wall_alike_on_both_sides_cannot_be_told_from_its_mirror_image_and_is_used() -> None:
    assert judged(sheet("N", NORTH[::-1]), expect("N", NORTH)) == [USED] * 5


def test_row_10_deflections_written_as_the_usual_gaps_are_held_with_both_meanings() -> None:
    rows = [
        row | {"value": f"{round(d / 25.4 * 16) / 16:.4f}"} for row, d in zip(sheet("N", NORTH), NORTH, strict=True)
    ]
    found = judged(rows, expect("N", NORTH))
    assert {code for _, code, _ in found} == {"kind-mistaken"}
    assert found[2][2].startswith(
        "K2:K6: these gaps fit as deflections; M1 is '0.0625', and a gap of 2 15/16 in or a deflection of 1/16 in was"
        " expected. Gap or deflection?"
    )


def test_inches_in_a_mm_column_are_told_from_the_expectation_alone() -> None:
    rows = [row | {"unit": "mm"} for row in sheet("N", NORTH)]
    found = judged(rows, expect("N", NORTH))
    assert found[0][:2] == ("held", "unit-factor")
    assert found[0][2].startswith("K2:K6 look like inches in a mm column (all 25.4 x too small). Which unit was read?")


def test_a_slip_at_one_mark_is_held_with_what_would_fit() -> None:
    rows = sheet("E", [0.0, 21.0, 30.0, 21.0, 0.0], kind="deflection", unit="mm")
    values = ["0.5", "21", "30", "31", "1"]
    rows = [row | {"value": value} for row, value in zip(rows, values, strict=True)]
    found = judged(rows, expect("E", [0.5, 21.0, 30.0, 21.0, 0.5]))
    assert found[3] == (
        "held",
        "slip",
        "K5 '31': M4 is 9.9 mm off; 21 would fit. Re-read or confirm."
        " If it is right, M4 is 6.0 mm or more further in than expected. Read it again within 2 working days.",
    )
    assert [state for state, _, _ in found] == ["used", "used", "used", "held", "used"]


def test_row_12_a_fraction_slip_is_named_as_a_fraction() -> None:
    rows = sheet("N", NORTH)
    rows[2]["value"] = "1 3/16"
    found = judged(rows, expect("N", [1.0, 22.0, 76.2 - parse("1 13/16", "in").mm, 22.0, 1.0]))
    assert found[2][2] == (
        "K4 '1 3/16': M3 is 5/8 in off; 1 13/16 would fit. Re-read or confirm."
        " If it is right, M3 is 1/2 in or more further in than expected. Same day: call the office, and have it read"
        " again."
    )


def test_a_nought_where_blank_was_meant_is_told_as_the_jump_it_would_be() -> None:
    rows = [
        {"wall": "E", "mark": f"M{n}", "value": value, "kind": "deflection"}
        for n, value in enumerate(["0", "1/4", "0", "1/4", "0"], start=1)
    ]
    found = judged(rows, expect("E", [0.0, 6.2, 5.9, 6.2, 0.0], own=0.6))
    assert [state for state, _, _ in found] == ["used", "used", "held", "used", "used"]
    assert found[2][1:] == ("zero", "K4 '0': 0 would be a 1/4 in jump. Leave the cell blank if it was not read.")


def test_deflections_taken_for_gaps_are_held_whole_though_the_ends_are_negative_so() -> None:
    rows = [
        {"wall": "N", "mark": f"M{n}", "value": value, "kind": "gap"}
        for n, value in enumerate(["-1/16", "7/8", "1 1/4", "7/8", "0"], start=1)
    ]
    assert {code for _, code, _ in judged(rows, expect("N", NORTH))} == {"kind-mistaken"}


def test_the_same_visit_with_different_numbers_is_told_what_was_expected() -> None:
    rows = [{"wall": "N", "mark": "M3", "value": value} for value in ("1 3/4", "1 3/16")]
    found = judged(rows, expect("N", NORTH))
    assert found[1][1:] == (
        "same-visit-differs",
        "K3 '1 3/16' for M3, but '1 3/4' is given in row 2 for the same visit and set-up; 1 3/4 in was expected. A"
        " second set-up? Give it its own number. A correction? Correct the earlier reading with who and why. If it is"
        " right, M3 is 1/2 in or more further in than expected. Same day: call the office, and have it read again.",
    )


def test_a_kind_other_than_the_walls_usual_one_is_shown_both_ways_against_what_is_expected() -> None:
    [found] = judged([{"wall": "N", "mark": "M3", "value": "1 1/4", "kind": "deflection"}], expect("N", NORTH))
    assert found[1:] == (
        "kind-differs",
        "K2 '1 1/4' is given as deflection in a set-up of DH-01-N, which is registered for gap: inward 1 3/4 in as gap"
        " and 1 1/4 in as deflection; 1 1/4 in is expected now. Gap or deflection?",
    )


def test_an_outlier_no_slip_explains_is_held_with_what_was_expected() -> None:
    rows = sheet("N", NORTH)
    rows[3]["value"] = "2 1/2"
    found = judged(rows, expect("N", NORTH))
    assert found[3][1:] == ("misfit", "K5 '2 1/2': M4 is 3/8 in off; about 2 1/8 in was expected. Re-read or confirm.")


def test_a_mark_that_two_set_ups_have_off_alike_is_used() -> None:
    off = [*NORTH[:3], 32.0, NORTH[4]]
    rows = sheet("N", off) + sheet("N", off, **{"set-up": "2"})
    assert judged(rows, expect("N", NORTH)) == [USED] * 10


@pytest.mark.parametrize("elsewhere_mm", [0.0, 30.0, -30.0])
def test_a_mark_that_two_set_ups_have_off_alike_is_used_wherever_the_second_stands(elsewhere_mm: float) -> None:
    off = [*NORTH[:3], 40.0, NORTH[4]]
    usual = {"method": "laser", "instrument": "", "standoff": ""}
    rows = sheet("N", off, **usual) + sheet("N", [d + elsewhere_mm for d in off], **usual, **{"set-up": "2"})
    expected = expect("N", NORTH, method="laser", shared=None)
    assert judged(rows, expected) == [USED] * 10
    rows[8] |= {"value": gap(NORTH[3] + elsewhere_mm)}
    assert [state for state, _, _ in judged(rows, expected)] == [*["used"] * 3, "held", *["used"] * 6]


def test_a_mark_read_again_as_it_was_held_before_is_used() -> None:
    off = sheet("N", [*NORTH[:3], 32.0, NORTH[4]])
    first = take(write_csv(*off), HOUSE, expected=expect("N", NORTH), name="first.csv")
    assert [state for state, _, _ in outcomes(first)] == ["used", "used", "used", "held", "used"]
    fresh = [row | {"set-up": "2"} for row in off]
    again = take(write_csv(*fresh), HOUSE, earlier=first.table, expected=expect("N", NORTH), name="again.csv")
    assert outcomes(again) == [USED] * 5
    later = [row | {"visit date": "2025-03-12"} for row in off]
    expected = expect("N", NORTH, day=date(2025, 3, 12))
    assert outcomes(take(write_csv(*later), HOUSE, earlier=first.table, expected=expected)) == [USED] * 5
    other = sheet("N", [*NORTH[:3], 12.0, NORTH[4]], **{"set-up": "3"})
    [*_, found, _] = outcomes(take(write_csv(*other), HOUSE, earlier=first.table, expected=expect("N", NORTH)))
    assert found[0] == "held"


@pytest.mark.parametrize("step_mm", [6.0, 12.0, 25.0])
def test_a_wall_that_has_really_bowed_further_is_used(step_mm: float) -> None:
    moved = [d + step_mm * shape for d, shape in zip(NORTH, [0, 0.707, 1, 0.707, 0], strict=True)]
    assert judged(sheet("N", moved), expect("N", NORTH)) == [USED] * 5


def test_a_bow_read_between_the_ends_alone_is_not_taken_for_a_shift() -> None:
    moved = [d + 14 * shape for d, shape in zip(NORTH, [0, 0.707, 1, 0.707, 0], strict=True)]
    assert judged(sheet("N", moved)[1:4], expect("N", NORTH)) == [USED] * 3


def test_row_13_a_set_up_shifted_by_a_constant_is_used_with_a_note_where_its_ends_take_it_off() -> None:
    intake = take(write_csv(*sheet("N", [d + 12.7 for d in NORTH])), HOUSE, expected=expect("N", NORTH))
    assert outcomes(intake) == [USED] * 5
    assert intake.notes == [
        "visit.csv, K2:K6: all 5 readings are 1/2 in further in than expected, the end marks too: other blocks? Used,"
        " for the ends take it off."
    ]


def test_row_13_a_set_up_shifted_by_a_constant_is_held_where_no_end_was_read() -> None:
    rows = sheet("N", [d + 12.7 for d in NORTH])[1:4]
    found = judged(rows, expect("N", NORTH))
    assert {code for _, code, _ in found} == {"shifted"}
    assert found[0][2].startswith(
        "K2:K4: all 3 readings are 1/2 in further in than expected, by the same amount. Were other blocks used? Read"
        " the end marks too, or confirm."
    )


def test_a_laser_plane_stands_anywhere_and_a_constant_says_nothing() -> None:
    rows = sheet("N", [d + 40 for d in NORTH], method="laser", instrument="", standoff="")
    assert judged(rows, expect("N", NORTH, method="laser", shared=None)) == [USED] * 5


def test_the_columns_of_a_laser_plane_that_stands_anywhere_are_held_when_mirrored() -> None:
    rows = sheet("N", [d + 40 for d in CROOKED[::-1]], method="laser", instrument="", standoff="")
    found = judged(rows, expect("N", CROOKED, method="laser", shared=None))
    assert {code for _, code, _ in found} == {"mirrored"}


def test_a_meter_set_on_its_other_edge_is_held() -> None:
    rows = [
        {
            "wall": "N",
            "mark": f"M{n}",
            "value": f"{6000 - d + 127:.0f}",
            "unit": "mm",
            "kind": "distance",
            "method": "meter",
        }
        for n, d in enumerate(NORTH, start=1)
    ]
    found = judged(rows, expect("N", [d - 6000 for d in NORTH], method="meter", shared=1.0))
    assert found[0] == (
        "held",
        "shifted",
        "K2:K6: all 5 readings are 127.0 mm further out than expected, by the same amount. Another base, or the meter's"
        " other edge? If not, the wall itself has moved: read it again.",
    )


def test_nothing_is_said_where_nothing_is_expected() -> None:
    rows = sheet("N", SOUTH) + sheet("S", NORTH)
    assert outcomes(take(write_csv(*rows), HOUSE)) == [USED] * 10
    assert judged(rows, expect("E", NORTH)) == [USED] * 10


def test_a_visit_after_the_work_of_its_day_is_not_held_against_what_was_before() -> None:
    assert judged(sheet("N", SOUTH, part="after"), expect("N", NORTH), expect("S", SOUTH)) == [USED] * 5


def test_a_wide_expectation_holds_nothing() -> None:
    rows = sheet("N", SOUTH) + sheet("S", NORTH)
    assert judged(rows, expect("N", NORTH, own=8, shared=9), expect("S", SOUTH, own=8, shared=9)) == [USED] * 10


@pytest.mark.parametrize(
    ("marks", "deflections", "held"),
    [
        ((1,), (46.0,), [1]),  # a held end does not come in by 1 3/4 in
        ((1,), (2.0,), []),
        ((1, 5), (46.0, 1.0), [1]),
        ((1, 3), (1.0, 51.0), []),  # a bow: used, so that its jump is called
        ((3,), (51.0,), []),
        ((2,), (42.0,), []),
    ],
)
def test_of_few_marks_one_at_an_end_is_doubted_by_itself_and_one_that_sees_a_bow_is_not(
    marks: Sequence[int], deflections: Sequence[float], held: Sequence[int]
) -> None:
    rows = [{"wall": "N", "mark": f"M{n}", "value": gap(d)} for n, d in zip(marks, deflections, strict=True)]
    found = judged(rows, expect("N", NORTH))
    assert [n for n, (state, _, _) in zip(marks, found, strict=True) if state == "held"] == list(held), found
