"""The file of a field sheet: the same rows as CSV, and every way in which it can be broken."""

import json
from typing import Any

import pytest
from intake_files import RECEIVED, USUAL, column, make_tables, outcomes, take, write_csv

from monitor import ingest
from monitor.errors import IntakeError
from monitor.ingest.limits import MAX_BYTES, MAX_ROWS

VALUES = ["3", "2 1/8", "1 3/16?", "", "1 3/15"]
ROWS = [USUAL | {"mark": f"M{n}", "value": value} for n, value in enumerate(VALUES, start=1)]
EVENT = {
    "house": "DH-01", "wall": "N", "event date": "2025-03-10", "kind": "reinforcement", "strap count": "6",
    "strap spacing": "4 ft", "top anchor": "rim joist", "turns": "2 1/2",
}  # fmt: skip


def sheet(**tables: list[dict[str, Any]]) -> bytes:
    return json.dumps({"kind": "wallbow visit sheet", "version": 1, "made_from": {}, "tables": tables}).encode()


def refused(data: bytes) -> str:
    with pytest.raises(IntakeError) as caught:
        take(data, name="visit.json")
    return str(caught.value)


def test_the_same_rows_are_the_same_readings_in_either_format() -> None:
    by_csv, by_sheet = take(write_csv(*ROWS, titles=list(USUAL))), take(sheet(readings=ROWS), name="visit.json")
    assert by_csv.table.drop_columns(["source_name"]).equals(by_sheet.table.drop_columns(["source_name"]))
    assert [state for state, _, _ in outcomes(by_sheet)] == ["used", "used", "used", "could-not-read", "rejected"]
    assert by_csv.mend_sheet == by_sheet.mend_sheet


def test_names_of_columns_may_be_those_of_the_schema_and_missing_cells_are_blank() -> None:
    rows = [{name.replace(" ", "_"): text for name, text in row.items() if name != "set-up"} for row in ROWS[:2]]
    found = take(sheet(readings=[rows[0], rows[1] | {"mark": None}]))
    assert column(found, "setup") == [1, 1]
    assert column(found, "visit_date")[0].isoformat() == "2025-03-10"
    assert [code for _, code, _ in outcomes(found)] == ["", "unknown-mark"]


def test_numbers_are_kept_as_they_were_written() -> None:
    data = sheet(readings=[ROWS[0]]).replace(b'"value": "3"', b'"value": 30.50').replace(b'"in"', b'"mm"')
    assert column(take(data), "value_raw") == ["30.50"]


def test_events_and_readings_of_one_file_go_in_by_their_own_readers() -> None:
    rows = [row | {"part": part} for part in ("before", "after") for row in ROWS[:2]]
    data = sheet(events=[EVENT], readings=rows)
    [events] = ingest.read_register("visit.json", data, make_tables(), RECEIVED, "T1", alone=False)
    assert (events.holds, events.used, events.messages) == ("events", 1, [])
    assert [note.split(":")[0] for note in events.notes] == ["visit.json, sheet events, Row 2, DH-01-N"]
    assert events.table["strap_spacing_mm"].to_pylist() == [4 * 304.8]
    found = take(data, make_tables(events=events.table))
    assert (found.used, found.notes, column(found, "part")) == (
        4,
        ["visit.csv, sheet events: left aside, no headings of readings"
         " (house, wall, event date, kind, strap count, strap spacing, top anchor, turns)."],
        ["before", "before", "after", "after"],
    )  # fmt: skip
    [alone] = ingest.read_register("visit.json", data, make_tables(), RECEIVED, "T1")
    assert alone.notes[0] == "visit.json, sheet readings: left aside, readings; send them with `wallbow ingest`."


def test_columns_that_no_table_has_are_left_aside_and_named() -> None:
    found = take(sheet(readings=[ROWS[0] | {"mood": "good", "a" * 200: "x"}]), name="visit.json")
    assert found.used == 1
    assert found.notes[0] == f"visit.json: left aside in readings, no columns of that table: mood, {'a' * 60}…."


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"{", "damaged or was cut off"),
        (sheet(readings=ROWS)[:-40], "damaged or was cut off"),
        (b'{"kind": "\xff"}', "bytes that are no text"),
        (b'{"kind": "a shopping list"}', "no visit sheet. Found: a shopping list"),
        (b"{}", "no visit sheet. Found: no kind"),
        (b'{"kind": {"kind": 1}}', "no visit sheet"),
        (b'{"kind": "wallbow visit sheet"}', "version that this release does not know"),
        (b'{"kind": "wallbow visit sheet", "version": 2}', "Found: 2. Expected: version 1"),
        (b'{"kind": "wallbow visit sheet", "version": 1, "version": 1}', "stands twice"),
        (b'{"kind": "wallbow visit sheet", "version": 1}', "not those it may have. Found: none"),
        (b'{"kind": "wallbow visit sheet", "version": 1, "tables": [1]}', "not those it may have"),
        (sheet(people=[{"person": "T9"}]), "Found: people. Expected: some of readings, marks, events"),
        (sheet(readings=[]), "The visit sheet is empty"),
        (sheet(readings=[{}]), "The visit sheet is empty"),
        (sheet(readings={}), "The table of readings is no list of rows. Found: dict"),  # type: ignore[arg-type]
        (sheet(readings=["M3"]), "The table of readings is no list of rows"),  # type: ignore[list-item]
        (sheet(readings=[ROWS[0] | {"value": ["3", "4"]}]), "row 2: A cell of the table of readings is no text"),
        (b'{"a":' * 100_000, "braces within braces"),
        (sheet(readings=[{"mark": "M1"}]), "not found: wall, visit date, value"),
        (sheet(readings=[{f"c{n}": "x" for n in range(201)}]), "larger than any visit"),
        (sheet(readings=[{"mark": "M1"}] * MAX_ROWS), "larger than any visit"),
        (b"{" + b" " * MAX_BYTES, "larger than any file"),
        (sheet(readings=[{"wall": "N", "mark": "M1", "value": "3", "date": "x", "visited": "y"}]), "Two columns can"),
    ],
)  # fmt: skip
def test_a_broken_file_is_refused_whole_with_what_is_wrong(data: bytes, said: str) -> None:
    assert said in refused(data)
    assert "Mend: " in refused(data)


def test_a_name_said_twice_in_a_row_is_refused_as_nobody_can_say_which_counts() -> None:
    data = sheet(readings=[ROWS[0]]).replace(b'"value": "3"', b'"value": "3", "value": "2"')
    assert "A name stands twice in one row of the file. Found: value" in refused(data)


def test_script_control_signs_and_half_signs_stay_plain_text() -> None:
    hostile = "<script>alert(1)</script>\x00\x1b[31m\ud800 =1+1"
    found = take(sheet(readings=[ROWS[0] | {"note": hostile, "technician": "'=cmd"}]))
    assert column(found, "note") == ["<script>alert(1)</script>[31m\ufffd =1+1"]
    assert column(found, "technician") == ["=cmd"]
    assert found.used == 1


def test_not_a_number_stays_the_word_it_was() -> None:
    data = sheet(readings=[ROWS[0]]).replace(b'"value": "3"', b'"value": NaN')
    assert outcomes(take(data))[0][:2] == ("rejected", "length")
