"""A received file without what it says of one person, and all that a file says as one text."""

import csv
import io

from monitor.errors import IntakeError
from monitor.ingest.cells import Book, Cell, Line, Sheet
from monitor.ingest.headers import rows_below
from monitor.ingest.reader import read_book
from monitor.ingest.register import tables_of

_TABLE, _KEY = "people", "person"


def without_person(name: str, data: bytes, person: str) -> bytes | None:
    """The file with all cells of the person's rows empty but the id; None where it has no such row.

    Every other cell keeps its text and its place, so that rows can still be traced to it: one sheet becomes CSV,
    several become XLSX. Raises IntakeError where the file cannot be read.
    """
    book = read_book(name, data)
    bare: dict[str, Sheet] = {}
    for sheet, header, table in tables_of(book, alone=False)[0]:
        rows = [row for row in rows_below(sheet, header) if row.text(_KEY).casefold() == person.casefold()]
        kept = {row.number: _only(row.line, header.columns[_KEY]) for row in rows if table == _TABLE}
        if any(kept[line.number] != line for line in sheet.lines if line.number in kept):
            bare[sheet.name] = Sheet(sheet.name, tuple(kept.get(line.number, line) for line in sheet.lines))
    if not bare:
        return None
    sheets = [bare.get(sheet.name, sheet) for sheet in book.sheets]
    return _as_csv(sheets[0]) if len(sheets) == 1 else _as_workbook(sheets)


def text_of(name: str, data: bytes) -> str:
    """All text in a file's cells; that of its bytes where it is no file of cells."""
    try:
        book: Book = read_book(name, data)
    except IntakeError:
        return data.decode("utf-8", "replace")
    return "\n".join(cell.text for sheet in book.sheets for line in sheet.lines for cell in line.cells)


def _only(line: Line, column: int) -> Line:
    return Line(line.number, tuple(cell if at == column else Cell("") for at, cell in enumerate(line.cells)))


def _as_csv(sheet: Sheet) -> bytes:
    lines = {line.number: [cell.text for cell in line.cells] for line in sheet.lines}
    out = io.StringIO(newline="")
    csv.writer(out).writerows(lines.get(number, []) for number in range(1, max(lines) + 1))
    return out.getvalue().encode()


def _as_workbook(sheets: list[Sheet]) -> bytes:
    from openpyxl import Workbook

    workbook = Workbook()
    workbook.remove(workbook.worksheets[0])
    for sheet in sheets:
        page = workbook.create_sheet(sheet.name)
        for line in sheet.lines:
            for column, cell in enumerate(line.cells, 1):
                if cell.text:
                    page.cell(line.number, column, cell.text).data_type = "s"  # not run, if it looks like a formula
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()
