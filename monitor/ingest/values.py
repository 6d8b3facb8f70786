"""One cell to one value: dates, numbers, words of a closed set, flags. Raises CellError with the place and the mend."""

import re
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from enum import StrEnum
from typing import TypeVar

from monitor.errors import LengthError
from monitor.ingest.cells import Cell
from monitor.ingest.findings import CellError, held, mend_of_formula, rejected
from monitor.lengths import DENOMINATORS, parse_number, tidy

_Word = TypeVar("_Word", bound=StrEnum)

_BLANK = {"", "-", "--", "—", "n/a", "na", "none", "nil"}
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[t ].*)?", re.ASCII)
_NUMERIC = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4}|\d{2})(?: \d{1,2}:\d{2}.*)?", re.ASCII)
_DAY_NAMED = re.compile(r"(\d{1,2})[ .-]*([a-z]{3,9})\.?,?[ .-]*(\d{4}|\d{2})", re.ASCII)
_MONTH_NAMED = re.compile(r"([a-z]{3,9})\.?[ -]*(\d{1,2}),?[ -]+(\d{4})", re.ASCII)
_DATE_LIKE = re.compile(r"\d{4}-\d{1,2}-\d{1,2}.*|\d{1,2}-[a-z]{3}(-\d{2,4})?|[a-z]{3}-\d{1,2}|\d{1,2}/\d{1,2}/\d{2,4}")
_SERIALS = range(36526, 54790)
"""Spreadsheet serial numbers of 2000-01-01 to 2049-12-31."""

_SERIAL_ZERO = date(1899, 12, 30)
"""Day 0 of those numbers."""

_FLAGS = {
    **dict.fromkeys(("yes", "y", "x", "1", "true", "t", "✓", "ok"), True),
    **dict.fromkeys(("no", "n", "0", "false", "f"), False),
}


def is_blank(text: str) -> bool:
    """Whether a cell says nothing."""
    return text.strip().lower() in _BLANK


def is_mangled_fraction(cell: Cell) -> bool:
    """Whether a cell for a length holds a date, which is what spreadsheets make of 3/16."""
    text = tidy(cell.text).lower()
    return cell.is_date or bool(_DATE_LIKE.fullmatch(text)) or (text.isdecimal() and int(text[:9]) in _SERIALS)


def fraction_of_date(cell: Cell) -> str:
    """The fraction that a spreadsheet probably turned into this date: 2025-05-16 -> '5/16'; '3/16' where none fits."""
    text = tidy(cell.text).lower()
    if text.isdecimal():
        text = (_SERIAL_ZERO + timedelta(days=int(text))).isoformat()
    numbers = [str(_MONTHS.index(word) + 1) if word in _MONTHS else word for word in re.findall(r"[a-z]{3}|\d+", text)]
    small = sorted({int(n) for n in numbers if len(n) <= 2})
    if len(small) == 2 and small[1] in DENOMINATORS:
        return f"{small[0]}/{small[1]}"
    return "3/16"


def day_first(texts: Iterable[str]) -> bool | None:
    """Whether all-number dates of a column are day-month (True) or month-day (False); None where no row proves it."""
    proofs = set()
    for text in texts:
        match = _NUMERIC.fullmatch(tidy(text))
        first, second = (int(match[1]), int(match[2])) if match else (1, 1)
        if (first > 12) != (second > 12):
            proofs.add(first > 12)
    return proofs.pop() if len(proofs) == 1 else None


def parse_date(cell: Cell, at: str, order: bool | None) -> date:
    """The date of a cell; `order` as `day_first` gives it. An all-number date that order does not settle is held."""
    text = tidy(cell.text).lower()
    try:
        if match := _YEAR_FIRST.fullmatch(text):
            return date(int(match[1]), int(match[2]), int(match[3]))
        if match := _DAY_NAMED.fullmatch(text):
            return date(_year(match[3]), _month(match[2]), int(match[1]))
        if match := _MONTH_NAMED.fullmatch(text):
            return date(_year(match[3]), _month(match[1]), int(match[2]))
        if match := _NUMERIC.fullmatch(text):
            return _numeric_date(cell, at, order, int(match[1]), int(match[2]), _year(match[3]))
    except ValueError:
        raise _no_date(cell, at, "a day of the calendar") from None
    if text.isdecimal() and int(text[:9]) in _SERIALS:
        raise held(
            "date-serial",
            f"{at} holds the number {text}: a date expected.",
            "Spreadsheets store dates so: format the column as a date, or write it like 2025-03-16.",
        )
    raise _no_date(cell, at, "a date")


def _numeric_date(cell: Cell, at: str, order: bool | None, first: int, second: int, year: int) -> date:
    if order is None and first <= 12 and second <= 12 and first != second:
        raise held(
            "date-ambiguous",
            f"{at} '{cell.shown}' can be {date(year, second, first)} or {date(year, first, second)},"
            " and no other row of the file proves the order.",
            f"Which? Write it like {date(year, second, first)}.",
        )
    days_first = order if order is not None else first > 12
    return date(year, second, first) if days_first else date(year, first, second)


def _no_date(cell: Cell, at: str, expected: str) -> CellError:
    mend = mend_of_formula(cell.text) or "Write it like 2025-03-16."
    return rejected("date", f"{at} '{cell.shown}': {expected} expected.", mend)


def _year(text: str) -> int:
    return int(text) + (2000 if len(text) == 2 else 0)


def _month(text: str) -> int:
    return _MONTHS.index(text[:3]) + 1


def parse_word(cell: Cell, at: str, words: type[_Word], others: Mapping[str, _Word], code: str) -> _Word:
    """A word of a closed set, by its value or another name for it; rejected with the whole set otherwise."""
    text = tidy(cell.text).lower()
    known = {word.value: word for word in words} | dict(others)
    if text in known:
        return known[text]
    choices = ", ".join(word.value for word in words if word.value)
    raise rejected(code, f"{at} '{cell.shown}': one of {choices} expected.", "Write one of these words.")


def parse_flag(cell: Cell, at: str) -> bool | None:
    """yes / no / x / 1 / 0; None where blank."""
    text = cell.text.strip().lower()
    if is_blank(text):
        return None
    if text in _FLAGS:
        return _FLAGS[text]
    raise rejected("flag", f"{at} '{cell.shown}': yes or no expected.", "Write yes or no.")


def parse_whole(cell: Cell, at: str, *, low: int, high: int) -> int | None:
    """A whole number within bounds; None where blank."""
    if is_blank(cell.text):
        return None
    text = tidy(cell.text).removesuffix(".0")
    if text.isdecimal() and len(text) < 10 and low <= int(text) <= high:
        return int(text)
    raise rejected("number", f"{at} '{cell.shown}': a whole number from {low} to {high} expected.", "Correct it.")


def parse_real(cell: Cell, at: str) -> float | None:
    """A number, with a fraction if need be ('2 1/2'); None where blank."""
    if is_blank(cell.text):
        return None
    try:
        return float(parse_number(cell.text))
    except LengthError as error:
        raise rejected("number", f"{at} '{cell.shown}': a number expected.", error.mend) from None
