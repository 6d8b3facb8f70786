"""From the row of headings to columns by name, whatever their case, spacing, order, and what stands above or beside."""

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache

from monitor.errors import Where
from monitor.ingest.cells import Cell, Line, Sheet, place
from monitor.lengths import tidy, unit_of
from monitor.records import dataclass

_LOOK_AT_ROWS = 40
_NAMED = 24
"""Headings that are named in a sentence."""
_REMEMBERED = 4096
"""Texts of cells whose key is kept: the same few headings and words stand in every file."""
_PER_YEAR = re.compile(r"\s*(?:per|a)?\s*(?:year|yr)$")
_TIME_UNITS = {
    "min": "min", "mins": "min", "minute": "min", "minutes": "min",
    "h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "days": "days",
}  # fmt: skip


@dataclass(frozen=True)
class Header:
    """The row of headings: its number, the texts in it, and for each known name its column (from 0) and unit."""

    row: int
    titles: tuple[str, ...]
    columns: Mapping[str, int]
    units: Mapping[str, str]
    doubled: Mapping[str, tuple[str, ...]]

    @property
    def shown(self) -> str:
        """The headings for a sentence, each and all of them not longer than one."""
        titles = [Cell(title).shown for title in self.titles if title]
        more = [f"and {len(titles) - _NAMED} more"] if len(titles) > _NAMED else []
        return ", ".join([*titles[:_NAMED], *more]) or "nothing"


@dataclass(frozen=True)
class Row:
    """One row below the headings, asked by name."""

    header: Header
    line: Line

    @property
    def number(self) -> int:
        """Its number as a spreadsheet counts."""
        return self.line.number

    def cell(self, name: str) -> Cell:
        """The cell under that heading, empty where there is none."""
        column = self.header.columns.get(name)
        return Cell("") if column is None else self.line.cell(column)

    def text(self, name: str) -> str:
        """Its text."""
        return self.cell(name).text

    def shown(self, name: str) -> str:
        """Its text for a sentence."""
        return self.cell(name).shown

    def at(self, name: str) -> str:
        """Its place, e.g. F12; the row and the missing heading where no such column came."""
        column = self.header.columns.get(name)
        if column is None:
            return f"Row {self.number} (no column {name.replace('_', ' ')})"
        return place(column, self.number)

    def unit(self, name: str) -> str:
        """The unit that the heading states, '' where it states none."""
        return self.header.units.get(name, "")


def read_header(line: Line, names: Mapping[str, str]) -> Header:
    """The headings of one row; where two claim one name, the one that bears it exactly wins, else the first."""
    keys = {_key(name): column for name, column in names.items()}
    claims: dict[str, list[tuple[bool, int, str]]] = {}
    for index, cell in enumerate(line.cells):
        key, unit = next((said for said in _readings_of(cell.text) if said[0] in keys), ("", ""))
        if key in keys:
            column = keys[key]
            claims.setdefault(column, []).append((key != _key(_split_unit(column)[0]), index, unit))
    best = {column: min(claim) for column, claim in claims.items()}
    return Header(
        row=line.number,
        titles=tuple(cell.text for cell in line.cells),
        columns={column: index for column, (_, index, _) in best.items()},
        units={column: unit for column, (_, _, unit) in best.items() if unit},
        doubled={
            column: tuple(line.cells[index].text for _, index, _ in claim)
            for column, claim in claims.items()
            if len({exact for exact, _, _ in claim}) < len(claim)
        },
    )


def find_header(sheet: Sheet, names: Mapping[str, str], needs: Sequence[str]) -> tuple[Header, bool]:
    """The first row that has all needed headings, and True; else the row that has most known ones, and False."""
    headers = []
    for line in sheet.lines[:_LOOK_AT_ROWS]:
        header = read_header(line, names)
        if all(need in header.columns for need in needs):
            return header, True
        headers.append(header)
    return max(headers, key=lambda header: len(header.columns)), False


def rows_below(sheet: Sheet, header: Header) -> list[Row]:
    """The rows under the headings; a row that repeats the headings is none."""
    titles = [title.casefold() for title in header.titles]
    return [
        Row(header, line)
        for line in sheet.lines
        if line.number > header.row and [cell.text.casefold() for cell in line.cells] != titles
    ]


def beyond_headings(name: str, read: Iterable[tuple[Sheet, Sequence[Row]]]) -> list[str]:
    """A note a sheet on cells to the right of its last heading, where nothing tells what they are. name: the file's."""
    notes = []
    for sheet, rows in read:
        found = [
            f"{place(column, row.number)} '{cell.shown}'"
            for row in rows
            for column, cell in enumerate(row.line.cells)
            if column >= len(row.header.titles) and cell.text
        ]
        if found:
            more = f" and {len(found) - _NAMED} more" if len(found) > _NAMED else ""
            notes.append(
                f"{Where(name, sheet.name)}, {', '.join(found[:_NAMED])}{more}: beyond the last heading, so not read. "
                "Give the column a heading; if a comma parted a cell in two, put the cell in quotation marks and send "
                "the file again."
            )
    return notes


@lru_cache(maxsize=_REMEMBERED)
def _readings_of(title: str) -> tuple[tuple[str, str], ...]:
    """What a heading can say, as key and unit: with a unit at its end, as it is, or without what stands in brackets."""
    bare = re.sub(r"[(\[].*?[)\]]", " ", title)
    return _split_unit(title), (_key(title), ""), _split_unit(bare)


@lru_cache(maxsize=_REMEMBERED)
def _key(text: str) -> str:
    """Letters and digits only: 'Set-up No.' -> 'setupno'."""
    return re.sub(r"[^0-9a-z]", "", tidy(text).lower())


def _split_unit(text: str) -> tuple[str, str]:
    """Key of a heading without a unit at its end, and that unit: 'Length (mm)' -> ('length', 'mm')."""
    words = re.sub(r"[\s_()\[\],:]+", " ", tidy(text).lower()).strip()
    bare = _PER_YEAR.sub("", words).replace("/", " ").strip() if _PER_YEAR.search(words) else words
    head, _, last = bare.rpartition(" ")
    unit = unit_of(last) or _TIME_UNITS.get(last, "")
    return (_key(head.removesuffix(" in")), unit) if head and unit else (_key(words), "")
