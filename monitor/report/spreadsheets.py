"""Tables to the bytes of a CSV file or a workbook: the same tables, the same bytes; no cell runs as a formula."""

import csv
import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from copy import copy
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pyarrow.compute as pc

from monitor.records import dataclass

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

Cell = str | int | float | date | None

_STAMP = re.compile(rb"(<dcterms:(created|modified)[^>]*>)[^<]*(</dcterms:)")
_CELL = "cell of a list"
"""Name of the style of every cell below the header: one for all is quicker than one each."""
_FIRST_ZIP_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest that a ZIP archive knows."""
_RUNS = tuple("=+-@\t\r\n")
"""A cell that begins with one of these may be run as a formula by a spreadsheet that opens a CSV file."""
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
"""Signs that no workbook can hold (XML 1.0, production 2)."""


@dataclass(frozen=True)
class Sheet:
    """One sheet of a workbook. widths: of its columns, in signs."""

    name: str
    headers: Sequence[str]
    rows: Iterable[Sequence[Cell]]
    widths: Sequence[int] = ()


def harmless(text: str) -> str:
    """The text with an apostrophe in front where a spreadsheet would run it as a formula."""
    return f"'{text}" if text.startswith(_RUNS) else text


def harmless_table(rows: pa.Table) -> pa.Table:
    """The same of every text cell of a table; what is missing stays missing."""
    runs = f"^[{re.escape(''.join(_RUNS))}]"
    columns = []
    for name in rows.column_names:
        column = rows[name]
        if pa.types.is_string(column.type):
            risky = pc.match_substring_regex(column, runs)
            column = pc.if_else(risky, pc.binary_join_element_wise("'", column, ""), column)
        columns.append(column)
    return pa.table(columns, names=rows.column_names)


def cell_text(cell: Cell) -> str:
    """A cell as a CSV file holds it: as people see it, and no text that runs as a formula."""
    return harmless(cell) if isinstance(cell, str) else seen_text(cell)


def seen_text(cell: Cell) -> str:
    """A cell as people see it: nothing for None, ISO dates, numbers as Python writes them."""
    if cell is None:
        return ""
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def csv_bytes(headers: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """A CSV file in UTF-8 with its mark, so that a spreadsheet reads it as such, and line ends as RFC 4180 has them."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(headers)
    writer.writerows([cell_text(cell) for cell in row] for row in rows)
    return out.getvalue().encode("utf-8-sig")


def xlsx_bytes(sheets: Sequence[Sheet], *, title: str, made_at: datetime) -> bytes:
    """A workbook to be looked at and printed: fixed header row, filters, landscape, one page wide. made_at: in UTC."""
    from openpyxl import Workbook  # here and below: wanted for workbooks, and not for CSV files
    from openpyxl.styles import Alignment, NamedStyle

    book = Workbook()
    book.remove(book.active)
    book.add_named_style(NamedStyle(_CELL, alignment=Alignment(wrap_text=True, vertical="top")))
    for sheet in sheets:
        _fill(book.create_sheet(sheet.name), sheet)
    book.properties.title = title
    book.properties.creator = "wallbow"
    made = io.BytesIO()
    book.save(made)
    return without_clock(made.getvalue(), made_at)


def without_clock(packed: bytes, made_at: datetime) -> bytes:
    """The same workbook with fixed times inside, and stored rather than compressed (compressors differ)."""
    out = io.BytesIO()
    zip_date = max(made_at.timetuple()[:6], _FIRST_ZIP_DATE)
    stamp = rb"\g<1>" + f"{made_at:%Y-%m-%dT%H:%M:%SZ}".encode() + rb"\g<3>"
    with zipfile.ZipFile(io.BytesIO(packed)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as new:
        for name in sorted(old.namelist(), key=lambda name: (name != "[Content_Types].xml", name)):
            content = old.read(name)
            if name == "docProps/core.xml":
                content = _STAMP.sub(stamp, content)
            new.writestr(zipfile.ZipInfo(name, date_time=zip_date), content)
    return out.getvalue()


def _fill(page: "Worksheet", sheet: Sheet) -> None:
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    page.append(list(sheet.headers))
    for cell in page[1]:
        cell.font = Font(bold=True)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    style = _style(page)
    for number, row in enumerate(sheet.rows, start=2):
        for column, value in enumerate(row, start=1):
            if value is None:
                continue
            cell = page.cell(number, column)
            quoted = isinstance(value, str) and value.startswith(_RUNS)
            cell._style = copy(style) if quoted or isinstance(value, date) else style  # these have one of their own
            if isinstance(value, str):
                _write_text(cell, value, quoted=quoted)
            else:
                cell.value = value
    for column, width in enumerate(sheet.widths, start=1):
        page.column_dimensions[get_column_letter(column)].width = width
    page.freeze_panes = "A2"
    page.auto_filter.ref = page.dimensions
    page.print_title_rows = "1:1"
    page.page_setup.orientation = "landscape"
    page.page_setup.fitToHeight = 0
    page.sheet_properties.pageSetUpPr.fitToPage = True


def _style(page: "Worksheet") -> Any:
    """The style of every cell below the header, looked up once: a third of the time when each cell looks it up."""
    from openpyxl.cell import Cell as OneCell

    cell = OneCell(page, row=1, column=1)
    cell.style = _CELL
    return cell._style


def _write_text(cell, text: str, *, quoted: bool) -> None:  # type: ignore[no-untyped-def]  # openpyxl has no types
    """Text as text: openpyxl takes what begins with = for a formula unless told its type."""
    cell.value = _UNWRITABLE.sub("\ufffd", text)
    cell.data_type = "s"
    if quoted:
        cell.quotePrefix = True
