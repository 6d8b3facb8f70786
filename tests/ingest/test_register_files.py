"""Register files: seven tables from CSV and XLSX, their cross-checks, and the words of each rejection."""

from datetime import date
from typing import Any

import pytest
from intake_files import RECEIVED, make_tables, take, write_xlsx

from monitor import ingest, schema
from monitor.errors import IntakeError
from monitor.results import Intake

Sheet = list[list[Any]]


def register(data: bytes, tables: schema.Tables | None = None, name: str = "register.xlsx") -> list[Intake]:
    return ingest.read_register(name, data, {} if tables is None else tables, received_at=RECEIVED, sender="office")


def one(text: str, tables: schema.Tables | None = None, name: str = "register.csv") -> Intake:
    (intake,) = register(text.encode(), make_tables() if tables is None else tables, name)
    return intake


def only(intake: Intake) -> dict[str, Any]:
    (row,) = intake.table.to_pylist()
    result: dict[str, Any] = row
    return result


WHOLE: list[tuple[str, Sheet]] = [
    ("People", [["person", "role", "house"], ["E1", "engineer", ""], ["O1", "homeowner", "DH-01"]]),
    ("Marks", [["house", "wall", "mark", "x", "z"], ["DH-01", "N", "M1", "4 ft", "4 ft"]]),
    ("Houses", [["house", "nickname"], ["DH-01", "blue door"]]),
    ("Walls", [["house", "wall", "length", "clear height"], ["DH-01", "N", "24 ft", "2440 mm"]]),
    ("Instruments", [["instrument", "method", "stand-off (in)"], ["B3", "string", "3"]]),
    (
        "Thresholds",
        [
            ["valid from", "before (in/yr)", "after", "signed by", "signed on"],
            ["2024-01-01", "1/8", "1/16 in/yr", "E1", date(2024, 1, 2)],
        ],
    ),
    ("Events", [["house", "wall", "date", "event", "marks"], ["DH-01", "N", "2025-03-10", "painting", "M1"]]),
    ("Read me", [["anything"]]),
]


def test_one_workbook_brings_all_tables_each_as_an_intake_of_its_own_in_the_order_they_lean_on_each_other() -> None:
    intakes = register(write_xlsx(*WHOLE))
    assert [intake.holds for intake in intakes] == list(schema.REGISTER)
    assert [(intake.received, intake.used) for intake in intakes] == [(1, 1)] * 6 + [(2, 2)]
    assert all(intake.table.schema.equals(schema.find(intake.holds)) for intake in intakes)
    assert len({intake.source_sha256 for intake in intakes}) == 7
    assert intakes[0].notes == ["register.xlsx, sheet Read me: left aside, no table of the register."]


def test_lengths_and_rates_take_their_unit_from_the_cell_or_the_heading() -> None:
    by_name = {intake.holds: intake.table.to_pylist()[0] for intake in register(write_xlsx(*WHOLE))}
    assert (by_name["walls"]["length_mm"], by_name["walls"]["clear_height_mm"]) == (7315.2, 2440.0)
    assert by_name["instruments"]["standoff_mm"] == 76.2
    thresholds = by_name["thresholds"]
    assert (thresholds["before_mm_per_year"], thresholds["after_mm_per_year"]) == (3.175, 1.5875)
    assert (thresholds["valid_from"], thresholds["signed_on"]) == (date(2024, 1, 1), date(2024, 1, 2))


def test_the_schemas_own_column_names_are_understood_so_that_an_export_can_be_taken_in_again() -> None:
    for name in schema.REGISTER:
        sheet = [list(schema.find(name).names)]
        assert register(write_xlsx((name, sheet)))[0].received == 0


def test_a_csv_is_recognised_by_its_columns_or_its_name() -> None:
    assert one("house,wall,mark,x_mm,z_mm\nDH-01,N,M9,1000,1200\n", name="list.csv").holds == "marks"
    assert one("house,wall,length (ft),clear height (ft)\nDH-01,W,24,8\n", name="new.csv").holds == "walls"
    assert one("instrument,method\nB9,string\n", name="instruments.csv").holds == "instruments"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "house\nDH 02\n",
            "A2 'DH 02': an id of letters, digits, dashes and points expected. Shorten it, without spaces.",
        ),
        (
            "house,wall,length,clear height\nDH-01,W,24,8 ft\n",
            "C2 '24' has no unit: a length like 24 ft, 8 in or 2440 mm expected."
            " Write the unit in the cell, or in the heading.",
        ),
        (
            "house,wall,length,clear height\nDH-01,W,,8 ft\n",
            "C2 is blank: length mm expected. Write it.",
        ),
        (
            "house,wall,length,clear height\nDH-11,W,24 ft,8 ft\n",
            "A2 'DH-11': a registered house expected. Nearest: DH-01, DH-02 or DH-03.",
        ),
        (
            "house,wall,length,clear height\nDH-01,W,24 mm,8 ft\n",
            "C2 '24 mm' is 24 mm: 500 to 100000 mm expected. Has a unit slipped?",
        ),
        (
            "house,wall,length,clear height,crack height\nDH-01,W,24 ft,8 ft,9 ft\n",
            "E2 '9 ft' is 2743.2 mm: at most the clear height, 2438.4 mm (96 in) expected. Has a unit slipped?",
        ),
        (
            "house,wall,length,clear height,visit months\nDH-01,W,24 ft,8 ft,often\n",
            "E2 'often': whole months between visits expected. Write them like 1 6 6 6 6.",
        ),
        (
            "house,wall,mark,x,z\nDH-01,Q,M1,4 ft,4 ft\n",
            "B2: no wall DH-01-Q is in the register; a registered house and wall expected."
            " Nearest: DH-01-E, DH-01-N or DH-02-N.",
        ),
        (
            "house,wall,mark,x,z\nDH-01,N,M9,25 ft,4 ft\n",
            "D2 '25 ft' is 7620 mm: at most the length of the wall, 7315.2 mm (288 in) expected. Has a unit slipped?",
        ),
        ("house,wall,mark,x,z\nDH-01,N,M9,4 ft,-4 ft\n", "E2 '-4 ft' is -1219.2 mm: 0 or more expected. Correct it."),
        (
            "house,wall,mark,x,z,set on,retired on\nDH-01,N,M9,4 ft,4 ft,2024-05-01,2024-04-01\n",
            "G2 '2024-04-01' is before the mark was set, 2024-05-01. Correct one of the two dates.",
        ),
        (
            "house,wall,mark,x,z,on strap\nDH-01,N,M9,4 ft,4 ft,maybe\n",
            "F2 'maybe': yes or no expected. Write yes or no.",
        ),
        (
            "instrument,method\nB9,rope\n",
            "B2 'rope': one of string, plumb, laser, meter expected. Write one of these words.",
        ),
        (
            "instrument,method,stand-off\nB9,string,-3 in\n",
            "C2 '-3 in' is -76.2 mm: more than 0 expected. Correct it, or leave it blank.",
        ),
        (
            "valid from,before (in/yr),after (in/yr)\n2024-01-01,0,1/16\n",
            "B2 '0': more than 0 expected. Correct it.",
        ),
        (
            "house,wall,date,event\nDH-01,N,2025-03-10,party\n",
            "D2 'party': one of reinforcement, surface work, straightening, digging, drainage, method change,"
            " reference change, lost mark, covered, uncovered expected. Write one of these words.",
        ),
        (
            "house,wall,date,event\nDH-01,N,2025-06-02,drainage\n",
            "C2 '2025-06-02' is after the day of receipt, 2025-06-01. Correct the date.",
        ),
        (
            "house,wall,date,event\nDH-01,N,03/04/25,drainage\n",
            "C2 '03/04/25' can be 2025-04-03 or 2025-03-04, and no other row of the file proves the order."
            " Which? Write it like 2025-04-03.",
        ),
        (
            "house,wall,date,event,marks\nDH-01,N,2025-03-10,lost mark,M33\n",
            "E2 'M33': a mark of DH-01-N expected. Nearest: M3, M1 or M2.",
        ),
        (
            "house,wall,date,event\nDH-01,N,2025-03-10,lost mark\n",
            "Row 2 (no column marks) is blank: the lost mark expected. Write its id.",
        ),
        ("person,role\nO1,owner\n", "Row 2 (no column house) is blank: the owner's house expected. Write it."),
    ],
)
def test_a_row_that_cannot_be_is_rejected_in_these_words_and_stands_in_the_mend_sheet(text: str, message: str) -> None:
    intake = one(text)
    assert intake.messages == [f"register.csv, {message}"]
    assert (intake.received, intake.used, intake.rejected) == (1, 0, 1)
    assert intake.mend_sheet is not None


def test_a_bad_row_leaves_the_others_in() -> None:
    intake = one("house,wall,mark,x,z\nDH-01,N,M8,4 ft,4 ft\nDH-01,N,M9,40 ft,4 ft\nDH-01,N,M10,5 ft,4 ft\n")
    assert (intake.received, intake.used, intake.rejected) == (3, 2, 1)
    assert intake.table["mark"].to_pylist() == ["M8", "M10"]
    assert intake.table["source_row"].to_pylist() == [2, 4]


def test_of_two_rows_with_one_key_the_second_is_rejected() -> None:
    intake = one("house,wall,mark,x,z\nDH-01,N,M9,4 ft,4 ft\nDH-01,N,m9,5 ft,4 ft\n")
    assert intake.messages == ["register.csv, Row 3: row 2 is the same house wall mark already. Keep one of them."]


def test_yes_no_and_x_are_flags() -> None:
    rows = "".join(f"DH-01,N,M{n},4 ft,4 ft,{flag}\n" for n, flag in enumerate(["yes", "no", "x", "1", "", "N"], 10))
    intake = one("house,wall,mark,x,z,on strap\n" + rows)
    assert intake.table["on_strap"].to_pylist() == [True, False, True, True, None, False]


def test_unsigned_thresholds_are_taken_with_a_word() -> None:
    intake = one("valid from,before (in/yr),after (in/yr),signed by\n2024-01-01,1/8,1/16,\n")
    assert (intake.used, intake.notes) == (
        1,
        ["register.csv, D2: nobody has signed these thresholds; a licensed engineer should."],
    )


def test_an_events_id_is_made_from_its_content_where_it_has_none() -> None:
    text = "house,wall,date,event\nDH-01,N,2025-03-10,drainage\n"
    first, again = only(one(text)), only(one(text))
    assert first["event_id"] == again["event_id"] != only(one(text.replace("03-10", "03-11")))["event_id"]
    assert len(first["event_id"]) == 16


def test_a_file_with_no_table_of_the_register_is_refused_with_what_is_needed() -> None:
    with pytest.raises(IntakeError) as caught:
        register(b"colour,size\nred,3\n", name="list.csv")
    assert str(caught.value).startswith(
        "list.csv, row 1: The needed headings of a register table are not there. Found: colour, size."
        " Expected: houses: house; walls: house, wall, length_mm, clear_height_mm; marks:"
    )


def test_a_sheet_named_for_a_table_that_lacks_its_columns_is_refused_by_name() -> None:
    with pytest.raises(IntakeError, match=r"Expected: the columns house, wall, length_mm, clear_height_mm of walls\."):
        register(write_xlsx(("Walls", [["house", "wall"], ["DH-01", "N"]])))


def test_a_corrected_as_built_record_is_the_same_event_and_another_day_is_another() -> None:
    text = "house,wall,date,event,turns\nDH-01,N,2025-03-10,straps,3\n"
    first, corrected = only(one(text)), only(one(text.replace("straps,3", "straps,2")))
    assert (first["event_id"], first["turns"], corrected["turns"]) == (corrected["event_id"], 3.0, 2.0)


def test_ids_are_kept_as_registered_whatever_case_they_are_typed_in() -> None:
    assert only(one("house,wall,length,clear height\ndh-01,W,24 ft,8 ft\n"))["house"] == "DH-01"
    event = only(one('house,wall,date,event,marks\ndh-01,n,2025-03-10,painting,"m3, M1"\n'))
    assert (event["house"], event["wall"], event["marks"]) == ("DH-01", "N", "M3 M1")


def test_a_mark_replaces_one_that_the_wall_has() -> None:
    intake = one("house,wall,mark,x,z,replaces\nDH-01,N,M3b,4 ft,4 ft,M3\nDH-01,N,M9b,4 ft,4 ft,M9\n")
    assert intake.table["replaces"].to_pylist() == ["M3"]
    assert intake.messages == ["register.csv, F3 'M9': a mark of DH-01-N expected. Nearest: M1, M2 or M3."]


@pytest.mark.parametrize(
    "title", ["Length in feet", "LENGTH [ft]", "wall length, ft", "length_ft", "Length ft (outside)"]
)
def test_headings_are_read_whatever_their_form(title: str) -> None:
    quoted = f'"{title}"'
    assert only(one(f"House ID,Wall No.,{quoted},Clear height (mm)\nDH-01,W,24,2440\n"))["length_mm"] == 7315.2


def test_a_file_of_readings_is_no_register_whatever_its_name_and_says_which_command_takes_it() -> None:
    readings = "house,wall,visit date,method,instrument,mark,value,unit\nDH-01,N,2025-03-10,string,B3,M3,1 3/16,in\n"
    for name in ("my-visit.csv", "instrument readings.csv"):
        with pytest.raises(IntakeError) as refused:
            one(readings, name=name)
        assert refused.value.what == "These are readings, and this command takes in the register."
        assert refused.value.mend == "Send the file with `wallbow ingest`."


def test_a_sheet_of_readings_beside_register_sheets_is_left_aside_with_a_note() -> None:
    titles = ["house", "wall", "visit date", "mark", "value"]
    intakes = register(write_xlsx(*WHOLE, ("Visit", [titles, ["DH-01", "N", "2025-03-10", "M3", "30"]])))
    assert [intake.holds for intake in intakes] == list(schema.REGISTER)
    assert intakes[0].notes[-1] == (
        "register.xlsx, sheet Visit: left aside, readings; send them with `wallbow ingest`."
    )


@pytest.mark.parametrize(
    ("text", "table"),
    [
        ("house,nickname\nDH-01,Old Mill\n", "houses"),
        ("house,wall,mark,x_mm,z_mm\nDH-01,N,M9,1000,1200\n", "marks"),
        ("house,wall,date,kind\nDH-01,N,2025-01-01,digging\n", "events"),
        ("person,role\nT1,technician\n", "people"),
    ],
)
def test_a_register_file_is_no_readings_and_says_which_command_takes_it(text: str, table: str) -> None:
    with pytest.raises(IntakeError) as refused:
        take(text.encode(), name="list.csv")
    assert refused.value.what == f"This is the register's table of {table}, and this command takes in readings."
    assert refused.value.mend == "Send the file with `wallbow register`."


def test_readings_without_a_column_of_dates_are_not_taken_for_a_register() -> None:
    with pytest.raises(IntakeError) as refused:
        take(b"house,wall,mark,value,unit\nDH-01,N,M3,1 3/16,in\n", name="visit.csv")
    assert "not found: visit date" in refused.value.expected
