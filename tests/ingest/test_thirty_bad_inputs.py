"""Bad inputs that will occur, each with the exact state, code and words it gets. Golden texts of messages only.

Rows 12 to 15 are told by what was expected: `test_set_ups_recognised`.
"""

import re
from datetime import date
from pathlib import Path

import pyarrow as pa
import pytest
from intake_files import (
    TITLES,
    TODAY,
    USED,
    cells,
    column,
    make_tables,
    mark,
    one,
    outcomes,
    seen_before,
    table,
    take,
    write_csv,
    write_xlsx,
)  # fmt: skip

from monitor.errors import IntakeError


def test_each_of_the_thirty_has_its_tests() -> None:
    files = [Path(__file__), Path(__file__).with_name("test_set_ups_recognised.py")]
    told = {int(row) for file in files for row in re.findall(r"def test_row_(\d+)_", file.read_text(encoding="utf-8"))}
    assert told == set(range(1, 31))


def test_every_message_names_file_and_sheet_before_the_cell() -> None:
    rows = [{"value": "1 3/15"}, {"mark": "M4", "value": "-1"}, {"mark": "M5", "value": "covered"}]
    for intake, place in (
        (take(write_csv(*rows)), "visit.csv"),
        (take(write_xlsx(("May", cells(*rows))), name="may.xlsx"), "may.xlsx, sheet May"),
    ):
        assert intake.messages == [f"{place}, {reason}" for _, _, reason in outcomes(intake)]


@pytest.mark.parametrize("text", ["1 3/16", '1-3/16"', "1 3/16 in", "1³⁄₁₆"])
def test_row_1_inches_in_every_writing_are_used_exactly_and_kept_as_typed(text: str) -> None:
    intake = take(write_csv({"value": text}))
    assert outcomes(intake) == [USED]
    assert column(intake, "value_mm") == [30.1625]
    assert column(intake, "deflection_mm") == [76.2 - 30.1625]
    assert column(intake, "value_raw") == [text]


@pytest.mark.parametrize("text", ["16-Mar", "2025-03-16", "45732", "3/16/2025", "Mar-16"])
def test_row_2_a_date_for_a_fraction_is_asked_about(text: str) -> None:
    assert one(value=text) == (
        "held",
        "date-for-fraction",
        "K2 holds a date. Spreadsheets do this to 3/16. Type it as 0 3/16 or format the column as text.",
    )


def test_row_2_a_date_in_a_workbook_names_the_fraction_it_probably_was() -> None:
    intake = take(write_xlsx(("Visit", cells({"value": date(2025, 5, 16)}))), name="visit.xlsx")
    reason = "K2 holds a date. Spreadsheets do this to 5/16. Type it as 0 5/16 or format the column as text."
    assert outcomes(intake) == [("held", "date-for-fraction", reason)]
    assert intake.messages == [f"visit.xlsx, sheet Visit, {reason}"]


def test_row_3_strong_and_shy_are_read_and_noted() -> None:
    intake = take(write_csv({"value": "1 3/16 strong"}, {"mark": "M4", "value": "1 3/16-"}))
    assert outcomes(intake) == [USED, USED]
    assert column(intake, "value_mm") == [30.95625, 29.36875]
    assert intake.notes == [
        "visit.csv, K2 '1 3/16 strong': read as 1 7/32 in.",
        "visit.csv, K3 '1 3/16-': read as 1 5/32 in.",
    ]


def test_row_4_a_decimal_comma_is_read_in_millimetres_and_asked_about_where_it_can_be_thousands() -> None:
    intake = take(write_csv({"value": "30,2", "unit": "mm"}, {"mark": "M4", "value": "1,187", "unit": "mm"}))
    assert column(intake, "value_mm") == [30.2, None]
    assert outcomes(intake)[1] == (
        "held",
        "length-ambiguous",
        "K3 '1,187': a point before decimals, and nothing between thousands expected. Did you mean 1.187 or 1187?",
    )


def test_row_4_a_decimal_comma_in_inches_is_asked_about() -> None:
    assert one(value="1,5") == (
        "held",
        "length-ambiguous",
        "K2 '1,5': a point before decimals, and nothing between thousands expected. Did you mean 1.5 or 15?",
    )


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("1.3/16", "K2 '1.3/16': a fraction expected. Did you mean 1 3/16?"),
        ("13/16/", "K2 '13/16/': a fraction expected. Did you mean 13/16?"),
        ("1 3/15", "K2 '1 3/15': sixteenths expected. Did you mean 1 3/16?"),
        ("1 19/16", "K2 '1 19/16': less than 16 sixteenths expected. Did you mean 2 3/16 or 1 9/16?"),
        ("abc", "K2 'abc': a length expected. Write it like 1 3/16 or 30.2."),
        ("#REF!", "K2 '#REF!': a length expected. The formula in it failed: type what was read."),
    ],
)
def test_row_5_a_slip_of_the_pen_rejects_that_row_alone(text: str, reason: str) -> None:
    intake = take(write_csv({"mark": "M2"}, {"value": text}, {"mark": "M4"}))
    assert outcomes(intake) == [USED, ("rejected", "length", reason.replace("K2", "K3")), USED]


def test_row_6_inches_in_a_mm_column_hold_the_set_up() -> None:
    earlier = seen_before(*({"mark": f"M{n}", "value": "30", "unit": "mm"} for n in range(1, 4)))
    rows = [{"mark": f"M{n}", "value": "1.19", "unit": "mm"} for n in range(1, 4)]
    reason = "K2:K4 look like inches in a mm column (all 25.4 x too small). Which unit was read?"
    assert outcomes(take(write_csv(*rows), earlier=earlier)) == [("held", "unit-factor", reason)] * 3


def test_row_6_millimetres_in_an_inch_column_are_told_without_history_by_the_stand_off() -> None:
    rows = [{"mark": "M1", "value": "30"}, {"mark": "M2", "value": "41"}, {"mark": "M3", "value": "28"}]
    reason = "K2:K4 look like millimetres in an inch column (all 25.4 x too large). Which unit was read?"
    assert outcomes(take(write_csv(*rows))) == [("held", "unit-factor", reason)] * 3


def test_row_6_a_fraction_in_a_mm_column_is_asked_about() -> None:
    reason = "K2 '1 3/16' is a fraction, and the unit is mm. Inches? Then write in as the unit."
    assert one(unit="mm") == ("held", "fraction-in-mm", reason)


def test_row_7_a_missing_unit_is_held_and_the_last_visits_unit_offered() -> None:
    assert one(unit="") == (
        "held",
        "unit-missing",
        "K2 '1 3/16' has no unit: in or mm expected in L2. Write in or mm.",
    )
    intake = take(write_csv({"unit": ""}), earlier=seen_before({}))
    assert outcomes(intake) == [
        (
            "held",
            "unit-missing",
            "K2 '1 3/16' has no unit: in or mm expected in L2. The last visit was in in: write in if this is too.",
        )
    ]
    assert column(intake, "value_mm") == [None]


def test_row_8_feet_are_read_for_a_distance_and_asked_about_for_a_string() -> None:
    tables = make_tables()
    meter = {"method": "meter", "kind": "distance", "instrument": ""}
    intake = take(write_csv(meter | {"value": "12-7-5/16"}, {"value": "1' 2 3/8\"", "mark": "M4"}), tables)
    reason = "K3 '1' 2 3/8\"' is in feet: inches expected of a gap or deflection. Is it a distance, or a slip?"
    assert outcomes(intake) == [USED, ("held", "feet", reason)]
    assert column(intake, "value_mm") == [3843.3375, 365.125]
    assert column(intake, "deflection_mm")[0] == -3843.3375


def test_row_9_a_negative_value_is_asked_about() -> None:
    assert one(value="-3/16") == (
        "held",
        "negative",
        "K2 '-3/16' is negative. Negative = outward. Is the wall behind the line, or was a minus slipped in?",
    )


def test_row_9_a_deflection_near_its_last_one_may_be_negative() -> None:
    deflection = {"wall": "E", "kind": "deflection", "unit": "mm"}
    earlier = seen_before(deflection | {"value": "1"})
    assert outcomes(take(write_csv(deflection | {"value": "-1"}), earlier=earlier)) == [USED]


def test_row_10_a_gap_where_deflection_is_registered_holds_the_set_up_and_shows_both_readings() -> None:
    deflection = {"wall": "E", "kind": "deflection", "value": "1 1/4"}
    earlier = seen_before(deflection)
    rows = [
        {"wall": "E", "kind": "gap", "value": "1 3/4"},
        {"wall": "E", "kind": "deflection", "mark": "M4", "value": "1"},
    ]
    first, second = outcomes(take(write_csv(*rows), earlier=earlier))
    assert first == (
        "held",
        "kind-differs",
        "K2 '1 3/4' is given as gap in a set-up of DH-01-E, which is registered for deflection: inward"
        " 1 1/4 in as gap and 1 3/4 in as deflection; the last visit had 1 1/4 in. Gap or deflection?",
    )
    assert second == (
        "held",
        "kind-differs",
        "K3 '1' is given as deflection in a set-up of DH-01-E, which is registered for deflection: inward 2 in as"
        " gap and 1 in as deflection. Gap or deflection?",
    )


def test_row_11_a_gap_to_a_string_without_a_stand_off_is_held() -> None:
    assert one(instrument="B9") == (
        "held",
        "standoff-missing",
        "I2 is blank, and no stand-off of B9 is registered: a stand-off expected for a gap to a string."
        " How far do the blocks hold the string off the wall?",
    )
    assert one(instrument="B9", **{"stand-off": "3"}) == USED
    assert one(**{"stand-off": "2 1/2 in"}) == (
        "held",
        "standoff-differs",
        "I2 '2 1/2 in', but B3 is registered with 3 in. Were other blocks used?",
    )


def test_row_16_an_unknown_mark_is_rejected_with_the_walls_marks() -> None:
    assert one(mark="M33") == (
        "rejected",
        "unknown-mark",
        "J2 'M33': a mark of DH-01-N expected (M1, M2, M3, M4, M5). New mark? Add it with height and distance.",
    )


@pytest.mark.parametrize(
    ("house", "name", "reason"),
    [
        (
            "DH-O1",
            "N",
            "A2: no wall DH-O1-N is in the register; a registered house and wall expected."
            " Nearest: DH-01-N, DH-01-E or DH-02-N.",
        ),
        (
            "DH-01",
            "W",
            "B2: no wall DH-01-W is in the register; a registered house and wall expected."
            " Nearest: DH-01-E, DH-01-N or DH-02-N.",
        ),
    ],
)
def test_row_17_an_unknown_house_or_wall_is_rejected_with_the_nearest_three(house: str, name: str, reason: str) -> None:
    assert one(house=house, wall=name) == ("rejected", "unknown-wall", reason)


def test_row_17_ids_are_found_whatever_their_case_and_with_the_house_in_the_walls_id() -> None:
    titles = tuple(title for title in TITLES if title != "house")
    intake = take(write_csv({"wall": "dh-01-n", "mark": "m3"}, titles=titles))
    assert outcomes(intake) == [USED]
    assert [column(intake, name) for name in ("house", "wall", "mark")] == [["DH-01"], ["N"], ["M3"]]


@pytest.mark.parametrize(
    ("day", "code", "reason"),
    [
        ("2025-06-02", "future-date", "C2 '2025-06-02' is after today, 2025-06-01. Correct the date of the visit."),
        (
            "2024-01-14",
            "before-zero",
            "C2 '2024-01-14' is before mark M3 was set, 2024-01-15."
            " Correct the date, or register the day the mark was set.",
        ),
        ("2025-02-30", "date", "C2 '2025-02-30': a day of the calendar expected. Write it like 2025-03-16."),
        ("soon", "date", "C2 'soon': a date expected. Write it like 2025-03-16."),
        ("", "date", "C2 '': a date expected. Write it like 2025-03-16."),
    ],
)
def test_row_18_a_date_that_cannot_be_is_rejected(day: str, code: str, reason: str) -> None:
    assert one(visit_date=day) == ("rejected", code, reason)


def test_row_18_without_registered_days_the_walls_first_visit_is_the_earliest() -> None:
    marks = table("marks", mark("DH-01", "N", 3))
    earlier = seen_before({}, marks=marks)
    intake = take(write_csv({"visit date": "2024-09-11"}), make_tables(marks=marks), earlier)
    assert outcomes(intake) == [
        (
            "rejected",
            "before-zero",
            "C2 '2024-09-11' is before the wall's first visit, 2024-09-12."
            " Correct the date, or register the day the mark was set.",
        )
    ]


def test_row_19_an_ambiguous_date_is_asked_about() -> None:
    assert one(visit_date="03/04/25") == (
        "held",
        "date-ambiguous",
        "C2 '03/04/25' can be 2025-04-03 or 2025-03-04, and no other row of the file proves the order."
        " Which? Write it like 2025-04-03.",
    )


@pytest.mark.parametrize(("proof", "day"), [("13/04/25", date(2025, 4, 3)), ("04/13/25", date(2025, 3, 4))])
def test_row_19_another_row_of_the_file_proves_the_order(proof: str, day: date) -> None:
    intake = take(write_csv({"visit date": "03/04/25"}, {"visit date": proof, "mark": "M4"}))
    assert outcomes(intake) == [USED, USED]
    assert column(intake, "visit_date") == [day, date(2025, 4, 13)]


def test_row_19_rows_that_prove_opposite_orders_prove_nothing() -> None:
    rows = [{"visit date": text, "mark": f"M{n}"} for n, text in enumerate(["03/04/25", "13/04/25", "04/13/25"], 1)]
    assert [state for state, _, _ in outcomes(take(write_csv(*rows)))] == ["held", "used", "used"]


def test_row_20_more_houses_on_the_day_of_upload_than_one_person_visits_are_asked_about() -> None:
    rows = [{"house": f"DH-0{n}", "visit date": TODAY.isoformat()} for n in range(1, 10)]
    reason = "C2: all 9 houses of the file are dated 2025-06-01, the day it was sent. Were they all visited that day?"
    results = outcomes(take(write_csv(*rows)))
    assert results[0] == ("held", "upload-day", reason)
    assert {code for _, code, _ in results} == {"upload-day"}
    assert outcomes(take(write_csv(*rows[:8]))) == [USED] * 8
    rows[0]["visit date"] = "2025-05-31"
    assert outcomes(take(write_csv(*rows))) == [USED] * 9


def test_row_21_the_same_cells_have_the_same_hash_and_ids_however_they_were_saved() -> None:
    rows = [{}, {"mark": "M4", "value": "1 1/4"}]
    as_csv, as_semicolons = take(write_csv(*rows)), take(write_csv(*rows, separator=";"), name="copy.csv")
    as_xlsx = take(write_xlsx(("Visit", cells(*rows))), name="copy.xlsx")
    assert as_csv.source_sha256 == as_semicolons.source_sha256 == as_xlsx.source_sha256
    assert column(as_csv, "reading_id") == column(as_xlsx, "reading_id")
    assert as_csv.file_sha256 != as_semicolons.file_sha256
    other = take(write_csv({}, {"mark": "M4", "value": "1 5/16"}))
    assert other.source_sha256 != as_csv.source_sha256


def test_row_21_the_same_file_again_is_judged_afresh_and_the_same_readings_from_another_file_add_nothing() -> None:
    first = take(write_csv({}, {"mark": "M4", "value": "1 1/4"}))
    assert outcomes(take(write_csv({}, {"mark": "M4", "value": "1 1/4"}), earlier=first.table)) == [USED, USED]
    merged = take(write_csv({"note": "merged"}, {"mark": "M5"}), earlier=first.table, name="merged.csv")
    reason = "K2: this reading is in already. Nothing to do."
    assert outcomes(merged) == [("rejected", "already-in", reason), USED]
    assert merged.mend_sheet is None


def test_row_21_a_row_that_failed_is_used_once_the_register_knows_its_mark() -> None:
    data = write_csv({"mark": "M6"})
    before = take(data)
    assert outcomes(before)[0][1] == "unknown-mark"
    marks = pa.concat_tables([make_tables()["marks"], table("marks", mark("DH-01", "N", 6))])
    after = take(data, make_tables(marks=marks), before.table)
    assert outcomes(after) == [USED]
    assert column(after, "reading_id") == column(before, "reading_id")


def test_row_22_other_numbers_for_the_same_visit_are_asked_about() -> None:
    earlier = take(write_csv({}), name="first.csv").table
    reason = (
        "K2 '1 1/4' for M3, but '1 3/16' is given in first.csv for the same visit and set-up. A second set-up?"
        " Give it its own number. A correction? Correct the earlier reading with who and why."
    )
    assert outcomes(take(write_csv({"value": "1 1/4"}), earlier=earlier)) == [("held", "same-visit-differs", reason)]
    assert outcomes(take(write_csv({"value": "1 1/4", "set-up": "2"}), earlier=earlier)) == [USED]


def test_row_22_two_rows_of_one_file_for_one_place_are_both_asked_about_unless_they_say_the_same() -> None:
    differ = outcomes(take(write_csv({}, {"value": "1 1/4"})))
    assert [(state, code) for state, code, _ in differ] == [("held", "same-visit-differs")] * 2
    same = outcomes(take(write_csv({}, {"value": "1 6/32"})))
    assert same == [USED, ("rejected", "twice-in-file", "K3: row 2 says the same. Nothing to do.")]


def _many_marks(count: int, day: str, nudge: int = 0) -> list[dict[str, str]]:
    sixteenths = [16 + (7 * n) % 13 for n in range(1, count + 1)]
    sixteenths[-1] += nudge
    return [
        {"mark": f"M{n}", "value": f"{value // 16} {value % 16}/16", "visit date": day}
        for n, value in enumerate(sixteenths, 1)
    ]


@pytest.mark.parametrize(("count", "nudge", "state"), [(12, 0, "held"), (12, 1, "used"), (3, 0, "used")])
def test_row_23_a_copied_visit_is_asked_about_where_chance_does_not_explain_it(
    count: int, nudge: int, state: str
) -> None:
    marks = table("marks", *(mark("DH-01", "N", n) for n in range(1, 13)))
    tables = make_tables(marks=marks)
    earlier = take(write_csv(*_many_marks(count, "2024-09-12")), tables).table
    results = outcomes(take(write_csv(*_many_marks(count, "2025-03-10", nudge)), tables, earlier))
    assert {result[0] for result in results} == {state}
    if state == "held":
        assert results[0][1:] == (
            "copied",
            "All 12 readings from K2 on equal those of 2024-09-12: chance under 1 in 1,000. Were these read?",
        )


@pytest.mark.parametrize(
    ("value", "why", "code", "reason"),
    [
        ("", "", "not-read-other", "K2 is blank: could not be read (other)."),
        ("-", "", "not-read-other", "K2 '-': could not be read (other)."),
        ("n/a", "", "not-read-other", "K2 'n/a': could not be read (other)."),
        ("blocked", "", "not-read-blocked", "K2 'blocked': could not be read (blocked)."),
        ("covered", "", "not-read-covered", "K2 'covered': could not be read (covered)."),
        ("", "Mark lost", "not-read-mark-lost", "K2 is blank: could not be read (mark lost)."),
        ("", "boiler", "not-read-other", "K2 is blank: could not be read (other: boiler)."),
    ],
)
def test_row_24_a_mark_that_was_not_read_is_a_fact_never_a_zero(value: str, why: str, code: str, reason: str) -> None:
    intake = take(write_csv({"value": value, "could not read": why, "unit": "", "kind": ""}))
    assert outcomes(intake) == [("could-not-read", code, reason)]
    assert column(intake, "value_mm") == [None]
    assert (intake.received, intake.could_not_read, intake.mend_sheet) == (1, 1, None)


def test_row_24_a_value_and_a_reason_for_none_contradict_each_other() -> None:
    assert one(could_not_read="covered") == (
        "held",
        "value-and-not-read",
        "K2 '1 3/16' is a value, and N2 says 'covered'. Which of the two?",
    )


def test_row_25_a_zero_where_blank_was_meant_is_asked_about_with_the_jump_it_would_be() -> None:
    earlier = seen_before({"value": "1 1/4"})
    reason = "K2 '0': 0 would be a 1 1/4 in jump. Leave the cell blank if it was not read."
    assert outcomes(take(write_csv({"value": "0"}), earlier=earlier)) == [("held", "zero", reason)]


def test_row_26_doubt_doubles_the_error_and_a_range_is_asked_about() -> None:
    rows = [{"value": "1 1/8?"}, {"mark": "M4", "value": "~1 1/4"}, {"mark": "M5", "value": "1 1/8-1 1/4"}]
    intake = take(write_csv(*rows))
    reason = "K4 '1 1/8-1 1/4' is a range: one value expected. Read it again, or release its middle, 1 3/16 in."
    assert outcomes(intake) == [USED, USED, ("held", "range", reason)]
    assert column(intake, "error_factor") == [2.0, 2.0, 1.0]
    assert column(intake, "value_mm") == [28.575, 31.75, 30.1625]


def test_row_27_titles_other_names_other_order_more_columns_totals_and_blank_rows_are_no_matter() -> None:
    lines = [
        "Visit of March;;;;;;;;",
        "",
        "Point;House ID;WALL_ID;Date of visit;Reading (mm);Kind;How;Block;Colour of door",
        "M3;DH-01;N;2025-03-10;30.2;gap;string line;B3;green",
        "M4;DH-01;N;2025-03-10;31;gap;string line;B3;green",
        "Total;;;;61.2;;;;",
        ";;;;;;;;",
        "",
    ]
    intake = take("\n".join(lines).encode())
    assert outcomes(intake) == [USED, USED]
    assert column(intake, "value_mm") == [30.2, 31.0]
    assert column(intake, "source_row") == [4, 5]
    assert intake.notes == ["visit.csv, Row 6 ('Total') is no reading; left aside."]


def test_row_27_a_file_without_the_headings_is_refused_with_those_found_and_those_needed() -> None:
    with pytest.raises(IntakeError) as caught:
        take(b"name,colour,wall\nx,y,z\n")
    assert str(caught.value) == (
        "visit.csv, row 1: No row of the file has the headings of a table of readings. Found: name, colour, wall."
        " Expected: at least wall, visit date, mark, value; not found: visit date, mark, value."
        " Mend: Name the columns so; order, case and further columns do not matter."
    )


def test_row_27_two_columns_for_the_value_are_refused() -> None:
    with pytest.raises(IntakeError, match=r"Two columns can both be the value\. Found: gap, deflection\."):
        take(b"house,wall,date,mark,gap,deflection\nDH-01,N,2025-03-10,M3,1,2\n")


def test_row_27_merged_cells_and_several_sheets_are_read() -> None:
    titles = ["house", "wall", "visit date", "mark", "value", "unit", "kind", "method", "stand-off"]
    rows = [
        titles,
        ["DH-01", "N", date(2025, 3, 10), "M3", 30.2, "mm", "gap", "string", "76.2 mm"],
        [None, None, None, "M4", 31, "mm", "gap", "string", "76.2 mm"],
    ]
    data = write_xlsx(("March", rows), ("Other", [["nothing", "here"]]), merges=["A2:A3", "B2:B3", "C2:C3"])
    intake = take(data, name="visit.xlsx")
    assert outcomes(intake) == [USED, USED]
    assert column(intake, "visit_date") == [date(2025, 3, 10)] * 2
    assert column(intake, "source_sheet") == ["March"] * 2
    assert intake.notes == ["visit.xlsx, sheet Other: left aside, no headings of readings (nothing, here)."]


def test_row_28_byte_order_marks_semicolons_tabs_old_encodings_and_odd_spaces_are_read() -> None:
    plain = write_csv({"value": "1½"}, {"mark": "M4", "value": "1\u00a01/4"}).decode()
    for data in (
        plain.encode("utf-8-sig"),
        plain.encode("utf-16"),
        plain.replace(",", ";").encode("utf-8"),
        plain.replace(",", "\t").replace("\n", "\r\n").encode("cp1252"),
        ("sep=;\n" + plain.replace(",", ";")).encode("utf-8"),
    ):
        intake = take(data)
        assert outcomes(intake) == [USED, USED], data[:40]
        assert column(intake, "value_mm") == [38.1, 31.75]


def test_row_28_old_8_bit_text_is_noted() -> None:
    intake = take(write_csv({"value": "1½"}).decode().encode("cp1252"))
    assert intake.notes == ["visit.csv: old 8-bit text, read as cp1252; look at its fractions and accents."]


def test_row_29_a_reading_under_the_id_of_a_lost_mark_is_asked_about() -> None:
    marks = table("marks", mark("DH-01", "N", 3, retired_on=date(2025, 1, 31)))
    reason = (
        "J2 'M3' was given up on 2025-01-31, and the visit is of 2025-03-10."
        " A new mark in its place needs an id of its own. Which mark was read?"
    )
    assert outcomes(take(write_csv({}), make_tables(marks=marks))) == [("held", "retired-mark", reason)]
    lost = {"house": "DH-01", "wall": "N", "event_date": date(2025, 1, 31), "kind": "lost mark", "marks": "M3"}
    assert outcomes(take(write_csv({}), make_tables(events=table("events", lost)))) == [
        ("held", "retired-mark", reason)
    ]


def test_row_30_a_method_new_to_the_wall_starts_a_new_stretch_and_says_how_to_join_them() -> None:
    earlier = seen_before({})
    laser = {"method": "laser", "instrument": "", "value": "120", "unit": "mm"}
    intake = take(write_csv(laser), earlier=earlier)
    assert outcomes(intake) == [USED]
    assert intake.notes == [
        "visit.csv, DH-01-N is read by laser for the first time (string before): a new stretch starts."
        " Give a same-day reading by both methods to join them."
    ]
    assert take(write_csv(laser, {}), earlier=earlier).notes == []
