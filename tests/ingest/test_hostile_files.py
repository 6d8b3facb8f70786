"""Files as people's spreadsheets, programs and ill will make them: each with what becomes of it, to the letter.

What holds of every one: it is bounded, and its rows are used, held, rejected or could not be read, or it is refused
with the file, the place and the mend. Bounds are those of `monitor.ingest.limits`; formats by ECMA-376 and RFC 4180.
"""

import gzip
import io
import re
import tracemalloc
import zipfile
from collections.abc import Callable
from datetime import date

import openpyxl
import pytest
from intake_files import TITLES, USED, cells, column, make_tables, outcomes, take, write_csv, write_xlsx

from monitor import ingest
from monitor.errors import IntakeError
from monitor.ingest import limits
from monitor.ingest.reader import read_book

SHEET = "xl/worksheets/sheet1.xml"
CSV = write_csv({}, {"mark": "M4"})
XLSX = write_xlsx(("Visit", cells({}, {"mark": "M4"})))
SAVE_ANEW = "Mend: Open it in a spreadsheet, save it anew as XLSX or CSV UTF-8, and send that."
SAVE_AS = (
    "Expected: XLSX without a password, or CSV."
    " Mend: Open it in a spreadsheet, save it as XLSX or CSV UTF-8, and send that."
)


def saved(change: Callable[[openpyxl.Workbook], None]) -> bytes:
    """The usual workbook after somebody worked in it."""
    book = openpyxl.load_workbook(io.BytesIO(XLSX))
    change(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def parted(part: str = SHEET, change: Callable[[bytes], bytes] = bytes, **more: bytes) -> bytes:
    """The usual workbook with one part changed, and further parts."""
    plain, out = zipfile.ZipFile(io.BytesIO(XLSX)), io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as changed:
        for name in plain.namelist():
            changed.writestr(name, change(plain.read(name)) if name == part else plain.read(name))
        for name, content in more.items():
            changed.writestr(name, content)
    return out.getvalue()


def with_rows(more: bytes) -> bytes:
    return parted(change=lambda xml: xml.replace(b"</sheetData>", more + b"</sheetData>"))


def packed(**parts: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def refused(data: bytes, name: str = "visit.xlsx") -> str:
    with pytest.raises(IntakeError) as caught:
        take(data, name=name)
    return str(caught.value)


def hide(book: openpyxl.Workbook) -> None:
    sheet = book.active
    sheet.column_dimensions["K"].hidden = sheet.row_dimensions[3].hidden = True
    hidden = book.create_sheet("Old")
    for row in cells({"mark": "M5"}):
        hidden.append(row)
    hidden.sheet_state = "veryHidden"


def protect(book: openpyxl.Workbook) -> None:
    book.active.protection.sheet, book.active.protection.password = True, "1234"
    book.security.lockStructure = True


@pytest.mark.parametrize(
    ("data", "marks"),
    [
        pytest.param(
            saved(hide), ["M3", "M4", "M5"], id="hidden column, row and sheet: nobody hides a reading from the store"
        ),
        pytest.param(saved(protect), ["M3", "M4"], id="protected against changes, not against reading"),
        pytest.param(saved(lambda book: book.create_chartsheet("Chart")), ["M3", "M4"], id="a sheet that is a chart"),
        pytest.param(
            parted(change=lambda xml: re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1:XFD1048576"', xml)),
            ["M3", "M4"],
            id="declared far too large",
        ),
        pytest.param(
            parted(change=lambda xml: re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1"', xml)),
            ["M3", "M4"],
            id="declared far too small",
        ),
        pytest.param(
            parted(**{"../../evil.txt": b"x", "/evil": b"x"}), ["M3", "M4"], id="names that lead out of the archive"
        ),
        pytest.param(with_rows(b"<row/>" * 100_000), ["M3", "M4"], id="100,000 empty rows"),
        pytest.param(
            parted(
                change=lambda xml: xml.replace(
                    b"</sheetData>",
                    b'</sheetData><mergeCells><mergeCell ref="A4:XFD1048576"/>'
                    b'<mergeCell ref="A2:A1048576"/></mergeCells>',
                )
            ),
            ["M3", "M4"],
            id="all cells that there are in one merged block",
        ),
    ],
)
def test_a_workbook_is_read_in_bounds_whatever_was_done_to_it(data: bytes, marks: list[str]) -> None:
    intake = take(data, name="visit.xlsx")
    assert outcomes(intake) == [USED] * len(marks)
    assert column(intake, "mark") == marks


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(CSV + (b"," * 19 + b"\n") * 100_000, id="100,000 empty rows below"),
        pytest.param(CSV.replace(b"\n", b"\n" * 50_000, 2), id="100,000 blank lines between"),
        pytest.param(b"\n".join(line + b"," * 10_000 for line in CSV.splitlines()), id="10,000 empty columns"),
        pytest.param(CSV.replace(b"\n", b"\r"), id="lone carriage returns"),
        pytest.param(CSV.replace(b"\n", b"\r\r\n"), id="line ends written twice over"),
        pytest.param(CSV.replace(b"M4", b"M\x004"), id="a stray zero byte"),
        pytest.param(CSV.replace(b",", b"\t"), id="tabs"),
        pytest.param(CSV.replace(b"DH-01,N", b" DH-01  ,N\xc2\xa0"), id="spaces at the end, one that does not break"),
        pytest.param(
            CSV.replace(b"1 3/16", "\u200b1 3/16\ufeff".encode()).replace(b"house", "hou\u00adse".encode()),
            id="signs without width",
        ),
        pytest.param(CSV.replace(b"1 3/16", "１ ３／１６".encode()), id="signs as wide as Chinese ones"),
        pytest.param(b"\xfe\xff" + CSV.decode().encode("utf-16-be"), id="UTF-16 the other way round"),
        pytest.param(CSV[:-1], id="no line end at the end"),
    ],
)  # fmt: skip
def test_a_csv_file_is_read_whatever_its_writer_made_of_it(data: bytes) -> None:
    intake = take(data)
    assert outcomes(intake) == [USED, USED]
    assert column(intake, "value_mm") == [30.1625, 30.1625]


KINDS = {
    "a PDF document": (b"%PDF-1.7\n", "Send the table it shows as XLSX or CSV UTF-8."),
    "a text document (RTF)": (b"{\\rtf1 house}", "Send the table it shows as XLSX or CSV UTF-8."),
    "a photo (JPEG)": (b"\xff\xd8\xff\xe0", "Send photos with `wallbow photos`."),
    "a picture (PNG)": (b"\x89PNG\r\n\x1a\n", "Send photos with `wallbow photos`."),
    "a packed file (gzip)": (gzip.compress(CSV), "Unpack it, and send what is in it."),
    "an archive (ZIP) of 2 files: visit.csv, b.csv": (
        packed(**{"visit.csv": CSV, "b.csv": CSV}),
        "Unpack it, and send each file of readings in it.",
    ),
    "an empty archive (ZIP)": (packed(), "Look whether the right file was sent."),
    "a document of another kind (word)": (
        packed(**{"[Content_Types].xml": b"", "word/document.xml": b""}),
        "Send the table it shows as XLSX or CSV UTF-8.",
    ),
    "a workbook with a password": (
        b"\xd0\xcf\x11\xe0" + "EncryptedPackage".encode("utf-16-le"),
        "Take the password off, or save the sheet as CSV UTF-8, and send that.",
    ),
}
OPENED_ELSEWHERE = {
    "a web page, whatever its name says": (b"\xef\xbb\xbf <HTML><table><tr><td>house", b"<!DOCTYPE html>", b"<table>"),
    "an XML document, whatever its name says": (b'<?xml version="1.0"?>\n<Workbook>',),
    "a workbook of the old kind (XLS)": (b"\xd0\xcf\x11\xe0\xa1\xb1", b"\x09\x08\x08\x00\x00\x05"),
    "an OpenDocument file": (packed(mimetype=b"application/vnd.oasis.opendocument.spreadsheet"),),
}


@pytest.mark.parametrize("name", ["visit.csv", "visit.xlsx", "visit.xls"])
def test_a_file_of_another_kind_is_named_whatever_its_own_name(name: str) -> None:
    for kind, (data, mend) in KINDS.items():
        assert (
            refused(data, name)
            == f"{name}: The file is {kind}. Expected: XLSX without a password, or CSV. Mend: {mend}"
        )
    for kind, files in OPENED_ELSEWHERE.items():
        for data in files:
            assert refused(data, name) == f"{name}: The file is {kind}. {SAVE_AS}"


def test_a_workbook_named_csv_and_a_csv_file_named_xlsx_are_read_for_what_they_are() -> None:
    assert outcomes(take(XLSX, name="visit.csv")) == outcomes(take(CSV, name="visit.xlsx")) == [USED, USED]


def test_a_half_written_workbook_is_refused_wherever_it_was_cut() -> None:
    for length in range(4, len(XLSX) - 1, 97):
        assert refused(XLSX[:length]) == (
            f"visit.xlsx: The workbook was cut off: its end is missing. Found: {length:,} bytes. Expected: the whole"
            " XLSX file. Mend: Send it again; if it does not open in a spreadsheet either, save it anew first."
        )


def test_a_half_written_csv_file_is_refused_where_it_was_cut_in_a_row() -> None:
    assert refused(CSV[:-20], "visit.csv") == (
        "visit.csv, row 3: The file was cut off in its last row. Found: 11 cells. Expected: 20, as in all other rows."
        " Mend: Send the whole file again: rows below may be missing too. If it is whole, end its last row with a new"
        " line."
    )


def test_a_half_written_csv_file_is_refused_where_it_was_cut_in_a_quoted_cell() -> None:
    data = write_csv({"note": "a, b"}, {"mark": "M4", "note": "left, and right"})
    assert refused(data[:-8], "visit.csv") == (
        "visit.csv, row 3: A quotation mark is opened and not closed, and the file ends in that cell. Found: left, and"
        " . Expected: a quotation mark at both ends of the cell, or none. Mend: If the file was cut off, send it whole."
        ' Else write inches as 1 3/16 with "in" in the unit column, or save the file as XLSX.'
    )


TITLED = b"house,wall,visit date,mark,note,value,unit,kind,instrument\n"


@pytest.mark.parametrize("quoted", [b'"left', b'"'])
def test_an_open_quotation_mark_does_not_swallow_the_row_below(quoted: bytes) -> None:
    rows = b"".join(b"DH-01,N,2025-03-10,M%d,%s,1 3/16,in,gap,B3\n" % (n, quoted) for n in (3, 4))
    assert refused(TITLED + rows, "visit.csv").startswith(
        "visit.csv, row 2: A quotation mark is opened and not closed, so that rows run together. Found: "
    )


def test_a_note_of_several_lines_with_commas_is_one_cell() -> None:
    intake = take(write_csv({"note": "cracked, left\nwet, right,\n\nsee photo, too"}, {"mark": "M4"}))
    assert outcomes(intake) == [USED, USED]
    assert column(intake, "note") == ["cracked, left\nwet, right,\n\nsee photo, too", ""]


ENTITIES = b"".join(b'<!ENTITY a%d "%s">' % (n, b"&a%d;" % (n - 1) * 10) for n in range(1, 10))


@pytest.mark.parametrize(
    ("declared", "part"),
    [
        (b'<!DOCTYPE l [<!ENTITY a0 "ha">' + ENTITIES + b"]>", SHEET),
        (b'<!DOCTYPE l [<!ENTITY a SYSTEM "file:///etc/hostname">]>', SHEET),
        (b"<!DOCTYPE l>", "xl/workbook.xml"),
    ],
)
def test_entities_are_refused_before_any_of_them_grows(declared: bytes, part: str) -> None:
    data = parted(part, lambda xml: declared + re.sub(rb"^<\?xml.*?\?>", b"", xml.replace(b"M3", b"&a9;")))
    assert refused(data) == (
        "visit.xlsx: The workbook declares signs of its own (a document type), which no spreadsheet does. Found: a"
        f" declaration in {part}. Expected: XLSX as a spreadsheet writes it. {SAVE_ANEW}"
    )


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        pytest.param(
            b'<row r="999999999"><c r="A999999999"><v>1</v></c></row>',
            "visit.xlsx, sheet sheet1.xml: A row has a number that no spreadsheet has. Found: row 999,999,999."
            f" Expected: at most 1,048,576. {SAVE_ANEW}",
            id="a row in the far distance",
        ),
        pytest.param(
            b'<row r="9"><c r="A9" t="inlineStr"><is><t>' + b"A" * 10_000_000 + b"</t></is></c></row>",
            "A cell is longer than a spreadsheet can keep.",
            id="a cell of 10 MB",
        ),
        pytest.param(
            b"<row>" + b"<c/>" * 16_385 + b"</row>",
            "visit.xlsx, sheet sheet1.xml, row 4: The workbook holds more cells than any file of readings, empty ones"
            " with a format counted.",
            id="more cells in a row than columns",
        ),
        pytest.param(
            b'<row r="3"><c r="A3"><v>1</v></c></row>',
            "visit.xlsx, sheet sheet1.xml, row 3: The workbook is damaged: its rows or cells are not in their order, so"
            " that some would be lost. Found: row 3 below row 3. Expected: each row and each cell once, in order."
            f" {SAVE_ANEW}",
            id="two rows of one number",
        ),
        pytest.param(
            b'<row r="4"><c r="B4"><v>1</v></c><c r="A4"><v>1</v></c></row>',
            "Found: A4 after column 2.",
            id="cells out of order",
        ),
    ],
)  # fmt: skip
def test_a_workbook_that_would_take_all_memory_or_lose_rows_is_refused(rows: bytes, said: str) -> None:
    data = with_rows(rows)
    tracemalloc.start()
    message = refused(data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert said in message
    assert peak < 40_000_000
    assert len(message) < 600


def test_more_cells_and_more_of_anything_else_than_is_read_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.ingest.xlsx_outline.MAX_CELLS", 100)
    assert "holds more cells" in refused(with_rows(b"<row><c/></row>" * 101))
    assert "holds more cells" in refused(with_rows(b"<row/>" * 400))
    monkeypatch.setattr("monitor.ingest.xlsx_outline.MAX_ELEMENTS", 300)
    assert "holds more cells" in refused(
        parted("xl/styles.xml", lambda xml: xml.replace(b"<cellXfs", b"<x/>" * 300 + b"<cellXfs"))
    )


def test_a_sheet_that_is_missing_in_the_file_or_shares_its_name_is_not_passed_over() -> None:
    rels = "xl/_rels/workbook.xml.rels"
    assert refused(parted(rels, lambda xml: xml.replace(b"/xl/worksheets/sheet1.xml", b"/../../etc/passwd"))) == (
        "visit.xlsx, sheet Visit: A sheet of the workbook is missing in the file. Found: no ../../etc/passwd."
        f" Expected: all of its sheets. {SAVE_ANEW}"
    )
    doubled = parted("xl/workbook.xml", lambda xml: re.sub(rb"(<sheet [^>]*/>)", rb"\1\1", xml))
    assert refused(doubled) == (
        "visit.xlsx, sheet Visit: Two sheets of the workbook have one name. Found: 2 such sheets. Expected: a name of"
        f" its own for each sheet. {SAVE_ANEW}"
    )


def test_a_row_of_a_csv_file_as_long_as_a_book_is_refused() -> None:
    for long in (b"M" * 10_000_000, b"," * 10_000_000):
        assert refused(CSV.replace(b"M4", long), "visit.csv").startswith(
            "visit.csv: A row of the file is longer than any row of readings. Found: 10,0"
        )
    assert refused(CSV.replace(b"M4", b'"' + b"M\n" * 100_000 + b'"'), "visit.csv").startswith(
        "visit.csv, row 3: A cell is longer than a spreadsheet can keep, or the rows of the file cannot be told apart."
    )


def test_ten_thousand_headings_are_refused_with_their_number() -> None:
    data = ",".join(f"c{n}" for n in range(10_000)).encode()
    assert refused(data, "visit.csv") == (
        "visit.csv, row 1: The file is larger than any file of readings. Found: 10,000 columns."
        f" Expected: at most {limits.MAX_ROWS:,} rows and {limits.MAX_COLUMNS} columns. Mend: Send it in parts."
    )


def test_cells_that_a_spreadsheet_could_not_compute_say_so() -> None:
    def broken(book: openpyxl.Workbook) -> None:
        for cell in ("K2", "C3"):
            book.active[cell] = "#REF!"
            book.active[cell].data_type = "e"

    assert outcomes(take(saved(broken), name="visit.xlsx")) == [
        ("rejected", "length", "K2 '#REF!': a length expected. The formula in it failed: type what was read."),
        ("rejected", "date", "C3 '#REF!': a date expected. The formula in it failed: type what was read."),
    ]


def test_a_formula_is_read_by_its_value_and_asked_for_where_it_has_none() -> None:
    def summed(book: openpyxl.Workbook) -> None:
        book.active["C3"] = "=TODAY()"

    computed = parted(
        change=lambda xml: re.sub(rb'<c r="K2"[^>]*>.*?</c>', b'<c r="K2"><f>1+3/16</f><v>1.1875</v></c>', xml)
    )
    assert outcomes(take(computed, name="visit.xlsx"))[0] == USED
    assert outcomes(take(saved(summed), name="visit.xlsx"))[1] == (
        "rejected",
        "date",
        "C3 '=TODAY()': a date expected. A formula that was not computed: type what was read, or open the workbook,"
        " save it and send it again.",
    )


@pytest.mark.parametrize(
    ("encoding", "signs"), [("cp1252", "¼½¾"), ("cp850", "¼½¾"), ("cp437", "¼½"), ("utf-8", "¼½¾⅛"), ("utf-16", "¼½¾⅛")]
)
def test_a_fraction_of_one_sign_is_never_another_in_whatever_encoding(encoding: str, signs: str) -> None:
    lengths = {"¼": 31.75, "½": 38.1, "¾": 44.45, "⅛": 28.575}
    for sign in signs:
        assert column(take(write_csv({"value": f"1{sign}"}).decode().encode(encoding)), "value_mm") == [lengths[sign]]


def test_headings_without_rows_are_no_rows_and_a_merged_title_is_no_reading() -> None:
    assert take(CSV.splitlines()[0]).received == 0
    assert take(write_xlsx(("V", [TITLES]))).received == 0
    rows = [["Visit of March", *[None] * 19], *cells({})]
    assert outcomes(take(write_xlsx(("V", rows), merges=["A1:T1"]))) == [USED]


def test_readings_above_the_headings_are_told_of() -> None:
    head, first, second = CSV.decode().splitlines()
    intake = take("\n".join([first, "Visit of March,,,", head, second, ""]).encode())
    assert outcomes(intake) == [USED]
    assert intake.notes == [
        "visit.csv: row 1 stands above the headings; left aside (DH-01, N, 2025-03-10, T1, string, B3, 1, M3,"
        " 1 3/16, in, gap)."
    ]


def test_a_letter_that_only_looks_like_one_is_named() -> None:
    assert outcomes(take(write_csv({"mark": "М4"})))[0][2] == (
        "J2 'М4': a mark of DH-01-N expected (M1, M2, M3, M4, M5). Its М is a Cyrillic capital letter em: type it anew."
        " New mark? Add it with height and distance."
    )
    assert (
        "Its Ν is a Greek capital letter nu: type it anew. Nearest:" in outcomes(take(write_csv({"wall": "Ν"})))[0][2]
    )


def test_cells_as_long_as_may_be_are_kept_whole_and_told_in_short() -> None:
    long = "x" * limits.MAX_CELL_CHARS
    for title in TITLES:
        intake = take(write_csv({title: long}))
        assert intake.received == 1
        assert all(len(said) < 600 for said in (*intake.messages, *intake.notes)), title
    assert len(refused(",".join([long[:30_000]] * 30).encode(), "visit.csv")) < 2_500
    with pytest.raises(IntakeError) as caught:
        ingest.read_register("walls.csv", f"house,{long}\nDH-01,x\n".encode(), make_tables(), date(2025, 6, 1), "O1")  # type: ignore[arg-type]
    assert len(str(caught.value)) < 600


def test_one_place_said_thousands_of_times_is_judged_in_proportion_and_of_two_alike_one_stays() -> None:
    many = take(CSV + CSV.splitlines()[1] * 1 + b"\n" + b"\n".join([CSV.splitlines()[2]] * 1_000) + b"\n")
    assert (many.received, many.used, many.rejected) == (1_003, 2, 1_001)
    rows = [{}, {"value": "1 1/4"}, {"value": "1 1/4"}]
    assert [code for _, code, _ in outcomes(take(write_csv(*rows)))] == [
        "same-visit-differs",
        "same-visit-differs",
        "twice-in-file",
    ]


def test_a_set_up_of_many_scattered_cells_names_a_few_of_them() -> None:
    rows = [{"mark": f"M{n % 5 + 1}", "value": "1.19", "unit": "mm", "set-up": str(1 + n % 2)} for n in range(60)]
    assert max(len(reason) for _, _, reason in outcomes(take(write_csv(*rows)))) < 600


def test_an_archive_with_a_false_size_is_damaged_not_unpacked_further() -> None:
    data = with_rows(b" " * 3_000_000)
    size = zipfile.ZipFile(io.BytesIO(data)).getinfo(SHEET).file_size
    assert "The workbook cannot be opened. Found: Bad CRC-32" in refused(
        data.replace(size.to_bytes(4, "little"), (900).to_bytes(4, "little"))
    )


def test_a_book_is_the_same_whatever_stands_in_its_other_parts() -> None:
    other = parted(**{"xl/media/image1.png": b"no picture", "customXml/item1.xml": b"<a/>"})
    assert read_book("v.xlsx", other).sheets == read_book("v.xlsx", XLSX).sheets
