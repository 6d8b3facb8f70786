"""Files as they arrive: formats, limits, damage. Whatever arrives is read or refused with a mend."""

import io
import zipfile
from datetime import date, datetime, time

import openpyxl
import pytest
from intake_files import TITLES, USED, cells, column, outcomes, take, write_csv, write_xlsx

from monitor.errors import IntakeError
from monitor.ingest import limits
from monitor.ingest.reader import read_book


def saved(book: openpyxl.Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (
            b"",
            "x: The file is empty. Expected: a header row and rows below it. Mend: Look whether the right",
        ),
        (b"\n\n , ,\n", "x: The file is empty."),
        (b"\x00\x01\x02", "x: The file is neither a spreadsheet (XLSX) nor text (CSV)."),
        (b"\xff\xfe\x00", "x: The file is neither a spreadsheet (XLSX) nor text (CSV)."),
        (b"\xd0\xcf\x11\xe0rest", "x: The file is a workbook of the old kind (XLS)."),
        (b"PK\x03\x04rest", "x: The workbook was cut off: its end is missing. Found: 8 bytes."),
        (b'wall,mark\n"1 3/16"",M1\nN,M2\nN,M3\n', "x, row 2: A quotation mark is opened and not closed"),
    ],
)
def test_what_cannot_be_opened_is_refused_with_a_mend(data: bytes, message: str) -> None:
    with pytest.raises(IntakeError) as caught:
        read_book("x", data)
    assert str(caught.value).startswith(message)
    assert caught.value.mend


def test_a_zip_that_is_no_workbook_is_refused() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("hello.txt", "hello")
    with pytest.raises(IntakeError, match=r"an archive \(ZIP\) of one file: hello\.txt"):
        read_book("x.xlsx", out.getvalue())


def test_a_workbook_that_unpacks_beyond_the_bound_is_refused_unopened() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", b"")
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * (limits.MAX_UNPACKED_BYTES + 1))
    assert len(out.getvalue()) < 100_000
    with pytest.raises(IntakeError, match="unpacks to more than any file of readings"):
        read_book("bomb.xlsx", out.getvalue())


def test_files_beyond_the_bounds_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(IntakeError, match="larger than any file of readings"):
        read_book("x.csv", b"a" * (limits.MAX_BYTES + 1))
    with pytest.raises(IntakeError, match="longer than a spreadsheet can keep"):
        read_book("x.csv", b"a" * (limits.MAX_CELL_CHARS + 1))
    with pytest.raises(IntakeError, match="larger than any file of readings"):
        read_book("x.csv", ("," * (limits.MAX_COLUMNS + 1) + "a\n").encode())
    monkeypatch.setattr("monitor.ingest.limits.MAX_ROWS", 2)
    with pytest.raises(IntakeError, match="Send it in parts"):
        read_book("x.csv", b"a\nb\nc\n")
    with pytest.raises(IntakeError, match="Send it in parts"):
        read_book("x.xlsx", write_xlsx(("S", [["a"], ["b"], ["c"]])))


def test_a_cell_far_down_and_far_right_does_not_keep_a_workbook_out() -> None:
    book = openpyxl.load_workbook(io.BytesIO(write_xlsx(("Visit", cells({})))))
    book.active["XFD1"] = "stray"
    book.active["A9000"] = " "
    assert outcomes(take(saved(book), name="v.xlsx")) == [USED]


def test_numbers_come_as_they_were_meant() -> None:
    book = openpyxl.Workbook()
    book.active.append([1.1875, 0.1875, 0.1 + 0.2, 30.0, 1e-7, True, None, "  x "])
    book.active["A1"].number_format = "# ?/?"
    book.active["B1"].number_format = "# ??/16"
    (sheet,) = read_book("x.xlsx", saved(book)).sheets
    assert [cell.text for cell in sheet.lines[0].cells] == ["1 3/16", "3/16", "0.3", "30", "1e-07", "yes", "", "x"]


def test_dates_and_times_are_told_from_numbers() -> None:
    book = openpyxl.Workbook()
    book.active.append([date(2025, 3, 16), datetime(2025, 3, 16, 14, 30), time(3, 16), 45732])  # noqa: DTZ001
    (sheet,) = read_book("x.xlsx", saved(book)).sheets
    assert [(cell.text, cell.is_date) for cell in sheet.lines[0].cells] == [
        ("2025-03-16", True),
        ("2025-03-16", True),
        ("03:16:00", True),
        ("45732", False),
    ]


def test_a_fraction_typed_as_0_3_16_in_a_workbook_is_read() -> None:
    book = openpyxl.load_workbook(io.BytesIO(write_xlsx(("Visit", cells({"value": 0.1875})))))
    book.active["K2"].number_format = "# ?/16"
    intake = take(saved(book), name="v.xlsx")
    assert (column(intake, "value_raw"), column(intake, "value_mm")) == (["3/16"], [4.7625])
    assert column(intake, "step_mm") == [1.5875]


def test_numbers_stored_as_text_and_dates_stored_as_dates_are_read() -> None:
    intake = take(
        write_xlsx(("Visit", cells({"value": 30.2, "unit": "mm", "set-up": 1, "visit date": date(2025, 3, 10)})))
    )
    assert outcomes(intake) == [USED]
    intake = take(write_xlsx(("Visit", cells({"value": "30.2", "unit": "mm", "set-up": "1"}))))
    assert outcomes(intake) == [USED]


def test_visits_on_several_sheets_are_all_read() -> None:
    data = write_xlsx(("March", cells({})), ("May", cells({"visit date": "2025-05-10", "value": "1 1/4"})))
    intake = take(data, name="visits.xlsx")
    assert outcomes(intake) == [USED, USED]
    assert column(intake, "source_sheet") == ["March", "May"]
    assert len(set(column(intake, "reading_id"))) == 2


def test_inches_marked_with_quotes_are_read_from_csv_quoted_or_not() -> None:
    plain = write_csv({"value": "VALUE"}).decode()
    for written in ('1-3/16"', '"1-3/16"""', '"1-3/16”"'):
        assert column(take(plain.replace("VALUE", written).encode()), "value_mm") == [30.1625]


def test_a_repeated_heading_row_is_no_reading() -> None:
    data = write_csv({}) + write_csv({"mark": "M4"})
    assert outcomes(take(data)) == [USED, USED]


def test_a_formula_that_nobody_computed_is_no_blank() -> None:
    intake = take(write_xlsx(("Visit", cells({"value": "=1+3/16"}))), name="v.xlsx")
    reason = (
        "K2 '=1+3/16': a length expected. A formula that was not computed: type what was read, or open the workbook,"
        " save it and send it again."
    )
    assert outcomes(intake) == [("rejected", "length", reason)]


def test_merged_cells_in_the_last_column_are_filled_too() -> None:
    rows = [["a", "b"], ["1", "x"], ["2", None], ["3", None], ["4", "y"]]
    (sheet,) = read_book("x.xlsx", write_xlsx(("S", rows), merges=["B2:B4", "A5:B5"])).sheets
    assert [[cell.text for cell in line.cells] for line in sheet.lines[1:]] == [
        ["1", "x"],
        ["2", "x"],
        ["3", "x"],
        ["4"],
    ]


def test_ids_with_odd_dashes_and_dates_with_a_time_and_repeated_headings_in_capitals_are_read() -> None:
    data = write_csv({"house": "DH‑01", "visit date": "3/13/2025 8:30"})
    head, row = data.decode().splitlines()
    intake = take("\n".join([head, head.upper(), row]).encode())
    assert outcomes(intake) == [USED]
    assert (column(intake, "house"), column(intake, "visit_date")) == (["DH-01"], [date(2025, 3, 13)])


def test_of_two_columns_for_one_thing_the_one_of_that_very_name_is_read() -> None:
    titles = ("reading", *TITLES)
    assert column(take(write_csv({"reading": "9"}, titles=titles)), "value_mm") == [30.1625]


def test_what_the_spreadsheet_library_warns_of_is_passed_on_as_a_note() -> None:
    plain, out = zipfile.ZipFile(io.BytesIO(write_xlsx(("Visit", cells({}))))), io.BytesIO()
    extension = b'<extLst><ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}"/></extLst></worksheet>'
    with zipfile.ZipFile(out, "w") as changed:
        for item in plain.namelist():
            changed.writestr(item, plain.read(item).replace(b"</worksheet>", extension))
    intake = take(out.getvalue(), name="v.xlsx")
    assert outcomes(intake) == [USED]
    assert intake.notes == ["v.xlsx: Data Validation extension is not supported and will be removed"]
