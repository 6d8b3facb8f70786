"""Rows to the bytes of a CSV file or a workbook; the same rows give the same bytes."""

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import date, datetime

from openpyxl import Workbook

from monitor.report.spreadsheets import without_clock

Cell = str | int | float | date | None
Table = Sequence[Mapping[str, Cell]]

_MADE_AT = datetime(2023, 4, 3)  # noqa: DTZ001 (the properties of a workbook know no time zone)


def csv_bytes(rows: Table, *, delimiter: str = ",", bom: bool = False, title: str = "") -> bytes:
    """A CSV file; the header is that of the first row. title: a line above it, as some people write one."""
    text = io.StringIO(newline="")
    if title:
        text.write(title + "\n")
    writer = csv.DictWriter(text, list(rows[0]), delimiter=delimiter, lineterminator="\n")
    writer.writeheader()
    writer.writerows([{name: _text(cell) for name, cell in row.items()} for row in rows])
    return text.getvalue().encode("utf-8-sig" if bom else "utf-8")


def workbook_bytes(sheets: Mapping[str, Table]) -> bytes:
    """An XLSX workbook, one sheet a table, without the clock that a workbook usually carries."""
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        sheet.append(list(rows[0]))
        for row in rows:
            sheet.append([None if cell == "" else cell for cell in row.values()])
    book.properties.created = _MADE_AT
    made = io.BytesIO()
    book.save(made)
    return without_clock(made.getvalue(), _MADE_AT)


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    return cell.isoformat() if isinstance(cell, date) else str(cell)
