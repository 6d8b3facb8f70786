"""The file that a field sheet saves (JSON): its tables as sheets of cells, so that they go the way of CSV files."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from monitor.errors import IntakeError, Where
from monitor.ingest.cells import Cell, Line, Sheet, make_line, unguarded
from monitor.ingest.columns import reading_names, register_names
from monitor.ingest.headers import read_header
from monitor.ingest.limits import MAX_COLUMNS, MAX_ROWS

KIND = "wallbow visit sheet"
VERSION = 1
TABLES: Mapping[str, Mapping[str, str]] = {
    "readings": reading_names(),
    "marks": register_names("marks"),
    "events": register_names("events"),
}
"""Tables that such a file may have, each with the names that its columns may have."""

_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_MEND = "Send the file as the sheet saved it; if it is damaged, save it again on the phone, or send the visit as CSV."


def looks_like_sheet(data: bytes) -> bool:
    """Whether bytes are JSON rather than a table: they begin with a brace."""
    return data.removeprefix(_BYTE_ORDER_MARK)[:200].lstrip().startswith(b"{")


def read_visit_sheet(name: str, data: bytes) -> tuple[list[Sheet], list[str]]:
    """The tables that have rows, and notes on columns left aside. Raises IntakeError where the file is not whole.

    A single table has no name, like that of a CSV file: the same cells are the same content in either format.
    """
    tables = _tables(name, _parsed(name, data))
    notes: list[str] = []
    sheets = []
    for table, rows in tables.items():
        columns = list(dict.fromkeys(column for row in rows for column in row))
        header = Line(1, tuple(Cell(_text(column)) for column in columns))
        known = set(read_header(header, TABLES[table]).columns.values())
        if unknown := [cell.shown for number, cell in enumerate(header.cells) if number not in known]:
            notes.append(f"{name}: left aside in {table}, no columns of that table: {', '.join(unknown[:8])}.")
        lines = [make_line(number, _cells(name, table, number, columns, row)) for number, row in enumerate(rows, 2)]
        sheets.append(Sheet(table if len(tables) > 1 else "", (header, *filter(None, lines))))
    return sheets, notes


def _parsed(name: str, data: bytes) -> Any:
    """The JSON, its numbers as the text they are written with."""
    try:
        text = data.removeprefix(_BYTE_ORDER_MARK).decode()
        return json.loads(text, object_pairs_hook=_once, parse_int=str, parse_float=str, parse_constant=_no_constant)
    except _DoubledKeyError as error:
        raise _wrong(name, "A name stands twice in one row of the file.", str(error), "each name once") from None
    except UnicodeDecodeError:
        raise _wrong(name, "The file is damaged.", "bytes that are no text", "JSON in UTF-8") from None
    except json.JSONDecodeError as error:
        got = f"{error.msg} in line {error.lineno}, sign {error.colno}"
        raise _wrong(name, "The file is damaged or was cut off.", got, "a whole JSON file") from None
    except RecursionError:
        raise _wrong(name, "The file is no visit sheet.", "braces within braces", "tables of rows") from None


class _DoubledKeyError(Exception):
    """One object says the same name twice, so nobody can say which value counts."""


def _once(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [key for key, _ in pairs]
        raise _DoubledKeyError(next(Cell(key).shown for key in names if names.count(key) > 1))
    return found


def _no_constant(word: str) -> str:
    return word


def _tables(name: str, content: Any) -> dict[str, list[dict[str, Any]]]:
    """Rows by table, as far as there are any."""
    said = content if isinstance(content, dict) else {}
    if said.get("kind") != KIND:
        got = Cell(str(said["kind"])).shown if said.get("kind") else "no kind"
        raise _wrong(name, "This JSON file is no visit sheet.", got, f"kind '{KIND}'")
    if said.get("version") != str(VERSION):
        raise IntakeError(
            "This visit sheet is of a version that this release does not know.",
            where=Where(file=name),
            got=Cell(str(said.get("version"))).shown,
            expected=f"version {VERSION}",
            mend="Use the release that made the sheet, or a newer one.",
        )
    tables = said.get("tables")
    if not isinstance(tables, dict) or not tables or set(tables) - set(TABLES):
        got = ", ".join(Cell(key).shown for key in tables) if isinstance(tables, dict) else "none"
        raise _wrong(
            name,
            "The tables of the visit sheet are not those it may have.",
            got or "none",
            f"some of {', '.join(TABLES)}",
        )
    for table, rows in tables.items():
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise _wrong(name, f"The table of {table} is no list of rows.", type(rows).__name__, "a list of rows")
        if len(rows) >= MAX_ROWS or len(dict.fromkeys(column for row in rows for column in row)) > MAX_COLUMNS:
            expected = f"at most {MAX_ROWS:,} rows and {MAX_COLUMNS} columns"
            raise _wrong(name, "The file is larger than any visit.", f"{len(rows):,} rows of {table}", expected)
    found = {table: rows for table, rows in tables.items() if any(rows)}
    if not found:
        raise _wrong(name, "The visit sheet is empty.", "no row", "rows of readings")
    return found


def _cells(name: str, table: str, number: int, columns: Sequence[str], row: Mapping[str, Any]) -> list[Cell]:
    for column in columns:
        if isinstance(row.get(column), dict | list):
            raise IntakeError(
                f"A cell of the table of {table} is no text.",
                where=Where(file=name, sheet=table, row=number),
                got=f"{column}: {Cell(json.dumps(row[column])).shown}",
                expected="text",
                mend=_MEND,
            )
    return [Cell(_text(row.get(column))) for column in columns]


def _text(value: Any) -> str:
    """The cell as a CSV file would have it; half of a sign that needs two (a lone surrogate) is shown as such."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return unguarded(str(value).encode("utf-16", "surrogatepass").decode("utf-16", "replace"))


def _wrong(name: str, what: str, got: str, expected: str) -> IntakeError:
    return IntakeError(what, where=Where(file=name), got=got, expected=expected, mend=_MEND)
