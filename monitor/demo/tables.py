"""Rows to the bytes of a CSV file or a workbook; the same rows give the same bytes."""

import csv
import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from datetime import date, datetime

from openpyxl import Workbook

Cell = str | int | float | date | None
Table = Sequence[Mapping[str, Cell]]

_MADE_AT = datetime(2023, 4, 3)  # noqa: DTZ001 (the properties of a workbook know no time zone)
_STAMP = re.compile(rb"(<dcterms:(created|modified)[^>]*>)[^<]*(</dcterms:)")


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
    return _without_clock(made.getvalue())


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def _without_clock(packed: bytes) -> bytes:
    """The same workbook with fixed times inside, and stored rather than compressed (compressors differ)."""
    out = io.BytesIO()
    stamp = rb"\g<1>" + _MADE_AT.isoformat().encode() + rb"Z\g<3>"
    with zipfile.ZipFile(io.BytesIO(packed)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as new:
        for name in sorted(old.namelist(), key=lambda name: (name != "[Content_Types].xml", name)):
            content = old.read(name)
            if name == "docProps/core.xml":
                content = _STAMP.sub(stamp, content)
            new.writestr(zipfile.ZipInfo(name, date_time=(2023, 4, 3, 0, 0, 0)), content)
    return out.getvalue()
