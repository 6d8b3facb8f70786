"""XLSX through openpyxl: values, not formulas; dates told from numbers; merged cells filled; bounded."""

import io
import math
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from typing import Any
from xml.etree.ElementTree import ParseError
from xml.parsers.expat import ExpatError

from openpyxl.reader.excel import ExcelReader
from openpyxl.utils.exceptions import InvalidFileException

from monitor.errors import IntakeError, Where
from monitor.ingest.cells import Cell, Sheet, make_line, unguarded
from monitor.ingest.limits import MAX_COLUMNS, check_cell, check_rows
from monitor.ingest.xlsx_outline import SAVE_ANEW, Outline, outlines
from monitor.units import fraction_text

_FRACTION_FORMAT = re.compile(r"[#?0]/[#?0-9]")
_FAULTS = (
    InvalidFileException, zipfile.BadZipFile, zlib.error, ParseError, ExpatError, NotImplementedError,
    KeyError, ValueError, TypeError, AttributeError, IndexError, OSError, EOFError, RuntimeError, OverflowError,
)  # fmt: skip
"""What a damaged workbook makes openpyxl and zipfile raise."""


def read_xlsx(name: str, data: bytes) -> tuple[list[Sheet], list[str]]:
    """The sheets with something in them, and notes. Raises IntakeError where the workbook is damaged or too large."""
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        try:
            sheets = _sheets(name, data, outlines(name, data))
        except _FAULTS as error:
            raise _damaged(name, data, str(error)) from None
    notes = sorted({f"{name}: {warning.message}" for warning in heard if warning.category is UserWarning})
    return sheets, notes


def _damaged(name: str, data: bytes, why: str) -> IntakeError:
    if not zipfile.is_zipfile(io.BytesIO(data)):
        return IntakeError(
            "The workbook was cut off: its end is missing.",
            where=Where(file=name),
            got=f"{len(data):,} bytes",
            expected="the whole XLSX file",
            mend="Send it again; if it does not open in a spreadsheet either, save it anew first.",
        )
    return IntakeError(
        "The workbook cannot be opened.",
        where=Where(file=name),
        got=why[:120],
        expected="XLSX without a password",
        mend="Open it, save it anew as XLSX or CSV UTF-8, and send it again.",
    )


class _Reader(ExcelReader):  # type: ignore[misc]  # openpyxl has no types
    """Sheets of cells alone: what charts are drawn from is of no use here, and keeps workbooks from being read."""

    def read_chartsheet(self, sheet: Any, rel: Any) -> None:
        """A sheet that is a chart has no cells."""


def _sheets(name: str, data: bytes, found: Mapping[str, Outline]) -> list[Sheet]:
    reader = _Reader(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    with reader.archive:
        reader.read()
        named = [(sheet.name, rel.target) for sheet, rel in reader.parser.find_sheets() if "chartsheet" not in rel.Type]
        titles = [title.casefold() for title, _ in named]
        if doubled := [title for title, _ in named if titles.count(title.casefold()) > 1]:
            raise IntakeError(
                "Two sheets of the workbook have one name.",
                where=Where(file=name, sheet=doubled[0]),
                got=f"{len(doubled)} such sheets",
                expected="a name of its own for each sheet",
                mend=SAVE_ANEW,
            )
        for title, part in named:
            if part not in reader.valid_files:
                raise IntakeError(
                    "A sheet of the workbook is missing in the file.",
                    where=Where(file=name, sheet=title),
                    got=f"no {part}",
                    expected="all of its sheets",
                    mend=SAVE_ANEW,
                )
        pairs = zip(reader.wb.worksheets, named, strict=True)
        sheets = [_sheet(name, worksheet, found.get(part, Outline())) for worksheet, (_, part) in pairs]
        return [sheet for sheet in sheets if sheet.lines]


def _sheet(name: str, worksheet: Any, outline: Outline) -> Sheet:
    lines = []
    repeated: dict[int, tuple[int, Cell]] = {}
    for number, row in enumerate(_rows(worksheet), 1):
        if number not in outline.filled:
            continue
        cells = [_cell(cell) for cell in row[: _end(row)]]
        for column, text in outline.formulas.get(number, {}).items():
            _put(cells, column, Cell(text))
        for column, (last, cell) in repeated.items():
            if number <= last:
                _put(cells, column, cell)
        for column, last in outline.merges.get(number, ()):
            if column <= len(cells):
                repeated[column] = (last, cells[column - 1])
        line = make_line(number, cells)
        if line:
            where = Where(file=name, sheet=worksheet.title, row=number)
            check_cell(where, max((cell.text for cell in line.cells), key=len))
            lines.append(line)
        check_rows(Where(file=name, sheet=worksheet.title), len(lines))
    return Sheet(worksheet.title, tuple(lines))


def _put(cells: list[Cell], column: int, cell: Cell) -> None:
    """The cell in its column (from 1), where that is empty."""
    cells.extend([Cell("")] * (column - len(cells)))
    if not cells[column - 1].text:
        cells[column - 1] = cell


def _rows(worksheet: Any) -> Iterator[tuple[Any, ...]]:
    # A wrong <dimension> would cut the sheet, so it is dropped; a cell far to the right would widen every row.
    worksheet.reset_dimensions()
    yield from worksheet.iter_rows(max_col=MAX_COLUMNS)


def _end(row: tuple[Any, ...]) -> int:
    """How many cells there are up to the last that is not empty."""
    return next((i for i in range(len(row), 0, -1) if row[i - 1].value is not None), 0)


def _cell(cell: Any) -> Cell:
    value = cell.value
    if value is None:
        return Cell("")
    if isinstance(value, str):
        return Cell(unguarded(value))
    if isinstance(value, bool):
        return Cell("yes" if value else "no")
    if isinstance(value, datetime):
        return Cell(value.date().isoformat(), is_date=True)
    if isinstance(value, date | time | timedelta):
        return Cell(str(value), is_date=True)
    return Cell(_number_text(value, str(cell.number_format or "")))


def _number_text(value: float, number_format: str) -> str:
    """A number as it was meant: with a fraction format as a fraction, else without the noise of binary fractions."""
    if math.isfinite(value) and _FRACTION_FORMAT.search(number_format):
        exact = Fraction(value).limit_denominator(64)
        if float(exact) == value:
            return fraction_text(exact)
    return f"{value:.15g}"
