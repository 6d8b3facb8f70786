"""What a workbook's XML tells before any value of it is read: whether it keeps the bounds, and each sheet's outline.

The library that reads the values takes a row as a whole, a merged block cell by cell, and leaves out rows that stand
out of their order; so all of that is looked at here first, part by part. Elements by ECMA-376 Part 1, 18.3.1 (row, c,
f, v, is, mergeCell); a document type declaration is an error in a workbook (ECMA-376 Part 2, 9.1.4, from memory), and
the way to entities that grow.
"""

import io
import zipfile
from collections import defaultdict
from collections.abc import Mapping
from pathlib import PurePosixPath
from xml.parsers import expat

from openpyxl.utils.cell import coordinate_to_tuple, range_boundaries

from monitor.errors import IntakeError, Where
from monitor.ingest.limits import (
    MAX_CELLS,
    MAX_CELLS_IN_ROW,
    MAX_COLUMNS,
    MAX_ELEMENTS,
    MAX_ROW_NUMBER,
    check_cell_length,
    check_unpacked,
    too_many_cells,
)
from monitor.records import dataclass, field

SAVE_ANEW = "Open it in a spreadsheet, save it anew as XLSX or CSV UTF-8, and send that."
_CELL_PARTS = frozenset({"v", "f", "t"})
_OF_SHEETS = _CELL_PARTS | {"row", "c", "is", "si"}
"""Elements that are many in any large sheet, and quickly read; of all others there are few."""


@dataclass
class Outline:
    """One worksheet. filled: rows with something in them; formulas: those that no spreadsheet has computed yet, by row
    and column; merges: by first row, column and last row of each block down one column (others are titles).
    """

    filled: set[int] = field(default_factory=set)
    formulas: dict[int, dict[int, str]] = field(default_factory=lambda: defaultdict(dict))
    merges: dict[int, list[tuple[int, int]]] = field(default_factory=lambda: defaultdict(list))


def outlines(name: str, data: bytes) -> Mapping[str, Outline]:
    """The outline of each XML part by its path in the archive.

    Raises IntakeError beyond the bounds; what zipfile and expat raise where the archive or its XML is damaged.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = archive.infolist()
        check_unpacked(name, sum(part.file_size for part in parts))
        look = _Look(name)
        return {
            part.filename: look.outline(part.filename, archive.read(part))
            for part in parts
            if PurePosixPath(part.filename).suffix.lower() in (".xml", ".rels")
        }


class _Look:
    """Counts over all parts of one workbook, and the outline of the part under way."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._cells = self._quick = self._slow = 0

    def outline(self, part: str, xml: bytes) -> Outline:
        self._part, self._found = part, Outline()
        self._row = self._column = self._in_row = self._signs = 0
        self._formula: str | None = None
        self._has_value = False
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._text
        parser.StartDoctypeDeclHandler = self._doctype
        self._tag = ""
        parser.Parse(xml, True)
        return self._found

    @property
    def _where(self) -> Where:
        return Where(file=self._name, sheet=PurePosixPath(self._part).name, row=self._row or None)

    def _doctype(self, *_: object) -> None:
        raise IntakeError(
            "The workbook declares signs of its own (a document type), which no spreadsheet does.",
            where=Where(file=self._name),
            got=f"a declaration in {self._part}",
            expected="XLSX as a spreadsheet writes it",
            mend=SAVE_ANEW,
        )

    def _start(self, name: str, attributes: Mapping[str, str]) -> None:
        tag = self._tag = name.rpartition(" ")[2]
        self._signs = 0
        if tag in _OF_SHEETS:
            self._quick += 1
        else:
            self._slow += 1
        if tag == "c":
            self._begin_cell(attributes.get("r"))
        elif tag == "row":
            self._begin_row(attributes.get("r"))
        elif tag == "f":
            self._formula = "="
        elif tag == "mergeCell":
            self._merge(attributes.get("ref", ""))
        if self._slow > MAX_ELEMENTS or self._quick > 3 * MAX_CELLS:
            raise too_many_cells(self._where, self._slow + self._quick)

    def _begin_row(self, number: str | None) -> None:
        row = int(float(number)) if number else self._row + 1
        if row <= self._row:
            raise self._out_of_order(f"row {row} below row {self._row}")
        if row > MAX_ROW_NUMBER:
            raise IntakeError(
                "A row has a number that no spreadsheet has.",
                where=Where(file=self._name, sheet=PurePosixPath(self._part).name),
                got=f"row {row:,}",
                expected=f"at most {MAX_ROW_NUMBER:,}",
                mend=SAVE_ANEW,
            )
        self._row, self._column, self._in_row = row, 0, 0

    def _begin_cell(self, reference: str | None) -> None:
        column = coordinate_to_tuple(reference)[1] if reference else self._column + 1
        if column <= self._column:
            raise self._out_of_order(f"{reference or column} after column {self._column}")
        self._column, self._formula, self._has_value = column, None, False
        self._cells += 1
        self._in_row += 1
        if self._cells > MAX_CELLS or self._in_row > MAX_CELLS_IN_ROW:
            raise too_many_cells(self._where, self._cells)

    def _out_of_order(self, got: str) -> IntakeError:
        return IntakeError(
            "The workbook is damaged: its rows or cells are not in their order, so that some would be lost.",
            where=self._where,
            got=got,
            expected="each row and each cell once, in order",
            mend=SAVE_ANEW,
        )

    def _merge(self, reference: str) -> None:
        left, top, right, bottom = range_boundaries(reference)
        if left == right and left <= MAX_COLUMNS and top < bottom:
            self._found.merges[top].append((left, bottom))

    def _text(self, text: str) -> None:
        if self._tag not in _CELL_PARTS:
            return
        self._signs += len(text)
        check_cell_length(self._where, self._signs, text)
        if self._tag == "f":
            self._formula = (self._formula or "=") + text
        elif not text.isspace():
            self._has_value = True

    def _end(self, name: str) -> None:
        self._tag = ""
        if name.rpartition(" ")[2] != "c":
            return
        if self._has_value:
            self._found.filled.add(self._row)
        elif self._formula is not None and self._column <= MAX_COLUMNS:
            self._found.filled.add(self._row)
            self._found.formulas[self._row][self._column] = self._formula
