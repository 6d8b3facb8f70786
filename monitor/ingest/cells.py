"""Files as sheets of text cells with their places, whatever they were written with, and the hash of that content."""

import hashlib
import json
from collections.abc import Sequence

from monitor.records import dataclass

_SHOWN = 60
_CONTROLS = [code for code in (*range(32), *range(127, 160)) if chr(code) not in "\t\n\r"]
_UNSEEN = dict.fromkeys(
    (
        *_CONTROLS,
        0xAD,
        *range(0x200B, 0x2010),
        *range(0x202A, 0x202F),
        *range(0x2060, 0x2065),
        *range(0x2066, 0x206A),
        0xFEFF,
    )
)
"""Control signs, and signs without width (category Cf of the Unicode standard), as copies from web pages have them."""


def column_letters(number: int) -> str:
    """A column as a spreadsheet names it: 1 is A, 26 is Z, 27 is AA. Its own: a library of workbooks loads for a tenth
    of a second, and most files are none.
    """
    letters = ""
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


@dataclass(frozen=True)
class Cell:
    """Text of one cell; is_date where a spreadsheet holds a date or a time there (the text is then ISO)."""

    text: str
    is_date: bool = False

    @property
    def shown(self) -> str:
        """The text for a sentence: on one line, and not longer than one."""
        line = " ".join(self.text.split())
        return line if len(line) <= _SHOWN else f"{line[:_SHOWN]}…"


@dataclass(frozen=True)
class Line:
    """One row with something in it; number counts as a spreadsheet counts, from 1."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, column: int) -> Cell:
        """The cell of a column counted from 0; an empty one past the row's end."""
        return self.cells[column] if column < len(self.cells) else Cell("")


@dataclass(frozen=True)
class Sheet:
    """Rows that are not blank. name is '' for CSV."""

    name: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Book:
    """One received file: its name, the hash of its bytes, its sheets, and what was noted while opening it."""

    name: str
    file_sha256: str
    sheets: tuple[Sheet, ...]
    notes: tuple[str, ...] = ()


def place(column: int, row: int) -> str:
    """The cell's name as a spreadsheet writes it: column 5 (from 0), row 12 -> 'F12'."""
    return f"{column_letters(column + 1)}{row}"


def make_line(number: int, cells: Sequence[Cell]) -> Line | None:
    """A row without the empty cells at its end; None where all are empty."""
    end = max((i + 1 for i, cell in enumerate(cells) if cell.text), default=0)
    return Line(number, tuple(cells[:end])) if end else None


def content_sha256(sheets: Sequence[Sheet]) -> str:
    """SHA-256 of texts and places, so that the same cells saved anew, or in the other format, hash alike.

    The name counts only where there is more than one sheet.
    """
    content = [
        [sheet_key(sheet, sheets), [[line.number, [cell.text for cell in line.cells]] for line in sheet.lines]]
        for sheet in sheets
    ]
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def sheet_key(sheet: Sheet, sheets: Sequence[Sheet]) -> str:
    """The sheet's name where it tells it from others, else ''."""
    return sheet.name if len(sheets) > 1 else ""


def unguarded(text: str) -> str:
    """Text without the apostrophe that spreadsheets, and mend sheets, put before what is to stay text.

    Control signs go too, and signs without width: no person typed or sees them, and a terminal would obey them.
    """
    stripped = text.translate(_UNSEEN).strip()
    return stripped[1:].strip() if stripped.startswith("'") and len(stripped) > 1 else stripped
