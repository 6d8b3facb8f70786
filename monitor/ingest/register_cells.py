"""One cell of a register table to its column's type: lengths with their unit, dates, flags, numbers, words, ids."""

import re
from collections.abc import Callable, Mapping
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.errors import LengthError
from monitor.ingest import words
from monitor.ingest.cells import Cell
from monitor.ingest.findings import rejected
from monitor.ingest.headers import Row
from monitor.ingest.values import (
    is_blank,
    is_mangled_fraction,
    parse_date,
    parse_flag,
    parse_real,
    parse_whole,
    parse_word,
)
from monitor.lengths import UnitMissingError, parse, tidy, unit_of
from monitor.terms import End, EventKind, Kind, Method, Role, TopAnchor

_WORDS: Mapping[tuple[str, str], tuple[Any, Mapping[str, Any]]] = {
    ("walls", "left_end"): (End, words.ENDS),
    ("walls", "right_end"): (End, words.ENDS),
    ("walls", "method"): (Method, words.METHODS),
    ("walls", "kind"): (Kind, words.KINDS),
    ("instruments", "method"): (Method, words.METHODS),
    ("events", "kind"): (EventKind, words.EVENT_KINDS),
    ("events", "method"): (Method, words.METHODS),
    ("events", "top_anchor"): (TopAnchor, words.TOP_ANCHORS),
    ("people", "role"): (Role, words.ROLES),
}
_IDS = frozenset({"house", "wall", "mark", "instrument", "person"})
_ID = re.compile(r"\w[\w.\-]{0,39}")
_PER_YEAR = re.compile(r"\s*(/|per|a)\s*(yr|year)\.?$", re.I)
_TIME = re.compile(r"(?P<number>.*?)\s*(?P<unit>min|mins|minutes?|h|hrs?|hours?|turns?)?", re.I | re.S)
_LARGEST = 1_000_000


def read_cell(table: str, column: str, row: Row, order: bool | None) -> Any:
    """The value of one column of a row; text '' and other types None where blank. Raises CellError."""
    cell, at = row.cell(column), row.at(column)
    kind = schema.find(table).field(column).type
    if pa.types.is_string(kind):
        return _text(table, column, cell, at)
    if is_blank(cell.text):
        return None
    if pa.types.is_date(kind):
        return parse_date(cell, at, order)
    if pa.types.is_boolean(kind):
        return parse_flag(cell, at)
    if pa.types.is_integer(kind):
        return parse_whole(Cell(_without_time_unit(cell.text)[0]), at, low=0, high=_LARGEST)
    if column.endswith(("_mm", "_mm_per_year")):
        return _length(cell, at, row.unit(column))
    return _duration(column, cell, at, row.unit(column))


def _text(table: str, column: str, cell: Cell, at: str) -> str:
    text = cell.text
    if (table, column) in _WORDS:
        if is_blank(text):
            return ""
        closed, others = _WORDS[table, column]
        return str(parse_word(cell, at, closed, others, f"{column.replace('_', '-')}-word").value)
    if column in _IDS and text and not _ID.fullmatch(text):
        raise rejected(
            "id",
            f"{at} '{cell.shown}': an id of letters, digits, dashes and points expected.",
            "Shorten it, without spaces.",
        )
    return _PLAIN.get((table, column), _as_written)(text, at)


def _as_written(text: str, _: str) -> str:
    return text


def _unit(text: str, at: str) -> str:
    unit = unit_of(text)
    if unit not in ("in", "mm") and not is_blank(text):
        raise rejected("unit", f"{at} '{Cell(text).shown}': in or mm expected.", "Write in or mm.")
    return unit


def _id_list(text: str, _: str) -> str:
    """Ids separated by single spaces, however they were separated."""
    return " ".join(re.split(r"[\s,;]+", text.strip())) if not is_blank(text) else ""


def _months(text: str, at: str) -> str:
    """Whole months between visits, separated by single spaces."""
    listed = _id_list(text, at)
    if not all(month.isdecimal() and 0 < int(month) <= 120 for month in listed.split()):
        raise rejected(
            "schedule",
            f"{at} '{Cell(text).shown}': whole months between visits expected.",
            "Write them like 1 6 6 6 6.",
        )
    return listed


_PLAIN: Mapping[tuple[str, str], Callable[[str, str], str]] = {
    ("walls", "unit"): _unit,
    ("walls", "visit_months"): _months,
    ("events", "marks"): _id_list,
    ("events", "marks_untouched"): _id_list,
}


def _length(cell: Cell, at: str, unit: str) -> float:
    if is_mangled_fraction(cell) and not cell.text.isdecimal():
        raise rejected("date-for-fraction", f"{at} holds a date: a length expected.", "Format the column as text.")
    text = _PER_YEAR.sub("", tidy(cell.text))
    try:
        return parse(text, unit or None).mm
    except UnitMissingError:
        raise rejected(
            "unit-missing", f"{at} '{cell.shown}' has no unit: a length like 24 ft, 8 in or 2440 mm expected.",
            "Write the unit in the cell, or in the heading.",
        ) from None  # fmt: skip
    except LengthError as error:
        raise rejected("length", f"{at} '{cell.shown}': {error.expected} expected.", error.mend) from None


def _duration(column: str, cell: Cell, at: str, heading_unit: str) -> float | None:
    """A plain number; minutes and hours are told apart where the cell or the heading names them."""
    text, own = _without_time_unit(cell.text)
    number = parse_real(Cell(text, cell.is_date), at)
    unit = own or heading_unit
    if number is None or unit in ("", "turn", "turns", "days"):
        return number
    hours = unit.lower().startswith("h")
    if column.endswith("_minutes"):
        return number * 60 if hours else number
    if column.endswith("_hours"):
        return number if hours else number / 60
    return number


def _without_time_unit(text: str) -> tuple[str, str]:
    match = _TIME.fullmatch(tidy(text))
    return (match["number"], match["unit"] or "") if match else (text, "")
