"""XLSX through openpyxl: values, not formulas; dates told from numbers; merged cells filled; bounded."""

import io
import math
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from typing import Any
from xml.etree.ElementTree import ParseError

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from monitor.errors import IntakeError, Where
from monitor.ingest.cells import Cell, Sheet, make_line, unguarded
from monitor.ingest.limits import MAX_COLUMNS, MAX_ROWS, WHOLE_UP_TO_BYTES, check_rows, check_unpacked
from monitor.units import fraction_text

_LOOK_AT_ROWS = 20_000
_FRACTION_FORMAT = re.compile(r"[#?0]/[#?0-9]")
_FAULTS = (
    InvalidFileException, zipfile.BadZipFile, zlib.error, ParseError, NotImplementedError,
    KeyError, ValueError, TypeError, AttributeError, IndexError, OSError, EOFError, RuntimeError, OverflowError,
)  # fmt: skip
"""What a damaged workbook makes openpyxl and zipfile raise."""


def read_xlsx(name: str, data: bytes) -> tuple[list[Sheet], list[str]]:
    """The sheets with something in them, and notes. Raises IntakeError where the workbook is damaged or too large."""
    unpacked = _unpacked_bytes(name, data)
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        try:
            sheets = _sheets(name, data, whole=unpacked <= WHOLE_UP_TO_BYTES)
        except _FAULTS as error:
            raise _damaged(name, str(error)) from None
    notes = sorted({f"{name}: {warning.message}" for warning in heard if warning.category is UserWarning})
    return sheets, notes


def _unpacked_bytes(name: str, data: bytes) -> int:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            size = sum(info.file_size for info in archive.infolist())
    except _FAULTS as error:
        raise _damaged(name, str(error)) from None
    check_unpacked(name, size)
    return size


def _damaged(name: str, why: str) -> IntakeError:
    return IntakeError(
        "The workbook cannot be opened.",
        where=Where(file=name),
        got=why[:120],
        expected="XLSX without a password",
        mend="Open it, save it anew as XLSX or CSV UTF-8, and send it again.",
    )


@dataclass(frozen=True)
class _Extra:
    """What only a whole load tells of a sheet, by (row, column) from 1.

    merged: each covered cell of a merge down a column, and the cell it repeats (merges over columns are titles);
    formulas: texts of formulas, for those that no spreadsheet has computed yet.
    """

    merged: Mapping[tuple[int, int], tuple[int, int]]
    formulas: Mapping[tuple[int, int], str]


def _sheets(name: str, data: bytes, *, whole: bool) -> list[Sheet]:
    extras = _extras(data) if whole else {}
    workbook = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    try:
        return [
            sheet
            for worksheet in workbook.worksheets
            if (sheet := _sheet(name, worksheet, extras.get(worksheet.title, _Extra({}, {})))).lines
        ]
    finally:
        workbook.close()


def _extras(data: bytes) -> dict[str, _Extra]:
    workbook = openpyxl.load_workbook(io.BytesIO(data))
    return {worksheet.title: _Extra(_merged(worksheet), _formulas(worksheet)) for worksheet in workbook.worksheets}


def _merged(worksheet: Any) -> dict[tuple[int, int], tuple[int, int]]:
    return {
        (row, block.min_col): (block.min_row, block.min_col)
        for block in worksheet.merged_cells.ranges
        if block.max_col == block.min_col and block.max_row <= MAX_ROWS
        for row in range(block.min_row + 1, block.max_row + 1)
    }


def _formulas(worksheet: Any) -> dict[tuple[int, int], str]:
    rows = worksheet.iter_rows(max_row=min(worksheet.max_row, _LOOK_AT_ROWS), max_col=MAX_COLUMNS)
    return {(cell.row, cell.column): str(cell.value) for row in rows for cell in row if cell.data_type == "f"}


def _sheet(name: str, worksheet: Any, extra: _Extra) -> Sheet:
    lines = []
    kept: dict[tuple[int, int], Cell] = {}
    sources = set(extra.merged.values())
    special = {row for row, _ in (*extra.merged, *sources, *extra.formulas)}
    for number, row in enumerate(_rows(worksheet), 1):
        cells = [_cell(cell) for cell in (row if number in special else row[: _end(row)])]
        for column, cell in enumerate(cells, 1) if number in special else ():
            spot = (number, column)
            if spot in extra.formulas and not cell.text:
                cells[column - 1] = Cell(extra.formulas[spot])
            if spot in sources:
                kept[spot] = cell
            elif spot in extra.merged:
                cells[column - 1] = kept.get(extra.merged[spot], cell)
        line = make_line(number, cells)
        if line:
            lines.append(line)
        check_rows(Where(file=name, sheet=worksheet.title), len(lines))
    return Sheet(worksheet.title, tuple(lines))


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
