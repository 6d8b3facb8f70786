"""Mend sheets: only the failing rows, in a form that a spreadsheet opens, mended and sent again."""

import csv
import io

import openpyxl
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intake_files import TITLES, cells, column, make_tables, outcomes, take, write_csv, write_xlsx

from monitor import schema
from monitor.ingest.cells import unguarded
from monitor.ingest.mend import guarded
from monitor.results import Intake

ADDED = ["what is wrong", "mend", "mends"]


def sheet_of(intake: Intake) -> list[dict[str, str]]:
    assert intake.mend_sheet is not None
    return list(csv.DictReader(io.StringIO(intake.mend_sheet.decode("utf-8-sig"))))


def rewritten(rows: list[dict[str, str]]) -> bytes:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def test_it_holds_only_the_failing_rows_with_their_cells_the_fault_and_their_id() -> None:
    intake = take(write_csv({}, {"mark": "M4", "value": "1 3/15", "note": "by the door"}, {"value": "-", "mark": "M5"}))
    (row,) = sheet_of(intake)
    assert list(row) == [*(title for title in TITLES if title != "mends"), *ADDED]
    assert (row["mark"], row["value"], row["note"]) == ("M4", "1 3/15", "by the door")
    assert row["what is wrong"] == "K3 '1 3/15': sixteenths expected."
    assert (row["mend"], row["mends"]) == ("Did you mean 1 3/16?", column(intake, "reading_id")[1])
    assert intake.mend_sheet is not None
    assert intake.mend_sheet.startswith(b"\xef\xbb\xbf")


def test_the_mended_rows_sent_again_are_used_and_name_the_rows_they_mend() -> None:
    first = take(write_csv({}, {"mark": "M4", "value": "1 3/15"}, {"mark": "M5", "unit": ""}))
    rows = sheet_of(first)
    rows[0]["value"], rows[1]["unit"] = "1 3/16", "in"
    second = take(rewritten(rows), earlier=first.table, name="mended.csv")
    assert [state for state, _, _ in outcomes(second)] == ["used", "used"], second.messages
    assert column(second, "mends") == column(first, "reading_id")[1:]
    assert column(second, "value_raw") == ["1 3/16", "1 3/16"]


def test_a_mend_that_fails_again_gives_a_sheet_with_the_same_columns_and_the_newer_id() -> None:
    first = take(write_csv({"value": "1 3/15"}))
    second = take(rewritten(sheet_of(first)), earlier=first.table)
    (row,) = sheet_of(second)
    assert list(row) == list(sheet_of(first)[0])
    assert row["mends"] == column(second, "reading_id")[0] != column(first, "reading_id")[0]


def test_a_used_reading_is_not_mended_by_a_file() -> None:
    first = take(write_csv({}))
    (used_id,) = column(first, "reading_id")
    second = take(write_csv({"set-up": "2", "mends": used_id}), earlier=first.table)
    reason = f"T2 names reading {used_id}, which is used already. To change it, correct it with who and why."
    assert outcomes(second) == [("held", "mends-used", reason)]


@pytest.mark.parametrize("text", ["=1+1", "+3", "-1 3/16", "@now", "\t=1", "3/16", "3-16", "3/4/2025"])
def test_text_that_a_spreadsheet_would_change_is_guarded_and_comes_back_as_it_was(text: str) -> None:
    assert guarded(text) == f"'{text}"
    assert unguarded(guarded(text)) == text.strip()


@pytest.mark.parametrize(
    "text", ["2025-03-16", "16 Mar 2025", "1 3/16", "DH-01", "string", "1' 2 3/8\"", "3f32e5a0bc12d001", ""]
)
def test_ordinary_text_is_not_guarded(text: str) -> None:
    assert guarded(text) == text


def test_an_original_sent_again_after_its_row_was_mended_asks_for_nothing() -> None:
    original = write_csv({}, {"mark": "M4", "value": "1 3/15"})
    first = take(original)
    rows = sheet_of(first)
    rows[0]["value"] = "1 3/16"
    second = take(rewritten(rows), earlier=first.table, name="mended.csv")
    again = take(original, earlier=pa.concat_tables([first.table, second.table]))
    assert again.mend_sheet is None
    reason = "K3: this reading is in already, mended by row 2 of mended.csv. Nothing to do."
    assert outcomes(again) == [("used", "", ""), ("rejected", "already-in", reason)]
    assert (again.rejected, again.already_in) == (1, 1)


def test_a_mend_of_a_mend_settles_the_first_row_too() -> None:
    original = write_csv({"value": "1 3/15"})
    first = take(original)
    second = take(rewritten(sheet_of(first)), earlier=first.table, name="still wrong.csv")
    assert take(original, earlier=pa.concat_tables([first.table, second.table])).mend_sheet is not None
    rows = sheet_of(second)
    rows[0]["value"] = "1 3/16"
    both = pa.concat_tables([first.table, second.table])
    third = take(rewritten(rows), earlier=both, name="right.csv")
    assert third.used == 1, third.messages
    again = take(original, earlier=pa.concat_tables([both, third.table]))
    assert again.mend_sheet is None


@pytest.mark.parametrize(
    ("state", "code", "reason"),
    [("rejected", "ruled", "rejected by O1: no"), ("used", "released", "released by O1: yes"),
     ("used", "", "corrected from 1 3/15 in by O1: slip")],
)  # fmt: skip
def test_a_row_that_a_person_ruled_on_stands_in_no_mend_sheet(state: str, code: str, reason: str) -> None:
    original = write_csv({"value": "1 3/15"})
    (row,) = take(original).table.to_pylist()
    ruled = pa.Table.from_pylist([row | {"state": state, "reason_code": code, "reason": reason}], schema.READINGS)
    again = take(original, earlier=ruled)
    assert again.mend_sheet is None
    assert outcomes(again)[0][2] == f"K2: this reading is in already, {reason}. Nothing to do."


@pytest.mark.parametrize("text", ["1234567890123456", "12345e6789012345"])
def test_an_id_that_looks_like_a_number_is_guarded(text: str) -> None:
    assert guarded(text) == f"'{text}"


@given(st.text(max_size=20))
def test_what_is_guarded_never_begins_like_a_formula_and_always_comes_back(text: str) -> None:
    kept = unguarded(text)
    assert guarded(kept)[:1] not in ("=", "+", "-", "@", "\t", "\r")
    assert unguarded(guarded(kept)) == unguarded(kept)


def test_a_formula_in_a_note_is_no_formula_in_the_mend_sheet() -> None:
    intake = take(write_csv({"value": "1 3/15", "note": "=cmd|x"}))
    (row,) = sheet_of(intake)
    assert row["note"] == "'=cmd|x"
    book = openpyxl.Workbook()
    book.active.append([row["note"]])
    assert book.active["A1"].data_type == "s"


def test_rows_of_two_sheets_with_other_headings_stand_under_all_of_them() -> None:
    titles = tuple("point" if title == "mark" else title for title in TITLES)
    data = write_xlsx(
        ("A", cells({"value": "1 3/15"})), ("B", cells({"value": "1 3/15", "point": "M4"}, titles=titles))
    )
    first, second = sheet_of(take(data, make_tables(), name="two.xlsx"))
    assert (first["mark"], first["point"], second["mark"], second["point"]) == ("M3", "", "", "M4")
