"""The inbox: one immutable Parquet file per add, named by the hash of what its rows say."""

import os
import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.errors import StoreError, Where
from monitor.store import files, parquet, witness

FOLDER = "inbox"
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
TABLES = tuple(schema.FACTS)
ABOUT_LIMIT = 20_000
"""Of an add of more rows walls and days are not told one by one: it would be a book of its own."""
_FILE = re.compile(r"([0-9a-f]{64})\.parquet")


def path_of(root: Path, table: str, name: str) -> Path:
    """The file of one add; `name` is the hash of its rows (canonical.digests), so that a retry is the same file."""
    return root / FOLDER / table / f"{name}.parquet"


def every(root: Path) -> list[tuple[str, str]]:
    """Table and name of every add that lies there."""
    return [(table, name) for table in TABLES for name in names(root, table)]


def names(root: Path, table: str) -> Sequence[str]:
    """Names of the adds that lie in the inbox of a table, sorted; other files there are not looked at.

    The very same names again where nothing came or went, so that who asks is soon done.
    """
    try:
        there = os.listdir(root / FOLDER / table)  # noqa: PTH208  (asked at every reading, of hundreds: names, no paths)
    except (FileNotFoundError, NotADirectoryError):
        return ()
    return _names_in(tuple(there))


@lru_cache(maxsize=2 * len(TABLES))
def _names_in(there: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(sorted(match[1] for name in there if (match := _FILE.fullmatch(name))))


def testimony(table: str, name: str, data: bytes, rows: pa.Table) -> dict[str, Any]:
    """What the witness is told of an add."""
    day = next((name for name in ("visit_date", "event_date") if name in rows.column_names), "")
    columns = [
        rows[name].to_pylist() if name in rows.column_names else [None] * rows.num_rows
        for name in ("house", "wall", day)
        if rows.num_rows <= ABOUT_LIMIT
    ]
    # told apart here, as a table's own grouping imports pandas
    about = {(house or "", wall or "", str(when or "")) for house, wall, when in zip(*columns, strict=True)}
    # by way of whole numbers, as turning a moment into one of Python imports pandas
    known_at = _EPOCH + timedelta(microseconds=pc.max(pc.cast(rows["known_at"], pa.int64())).as_py())
    mends = table == "readings" and bool(pc.any(pc.not_equal(rows["mends"], pa.scalar(""))).as_py())
    return witness.line_of_add(table, name, files.sha256(data), known_at, about, mends=mends)


def announce(root: Path, *adds: tuple[str, str]) -> None:
    """Tell the witness of adds that lie there unannounced, once each is proven whole. Raises StoreError."""
    lines = []
    for table, name in adds:
        path = path_of(root, table, name)
        data = path.read_bytes()
        lines.append(testimony(table, name, data, parquet.read_proven(path, data, table)[0]))
    if lines:
        witness.append(root, lines)


def checked(table: str, rows: pa.Table) -> pa.Table:
    """The rows as they may be added, or a StoreError: exact columns, no empty text, number or moment of knowledge."""
    if table not in schema.FACTS:
        raise StoreError("There is no such table of facts.", got=table, expected=", ".join(schema.FACTS))
    fitted = parquet.fitted(table, rows)
    for field in fitted.schema:
        column = fitted[field.name]
        if pa.types.is_string(field.type) and column.null_count:
            raise _refused(table, field.name, "an empty cell; text is '' where there is none")
        if pa.types.is_floating(field.type) and pc.any(pc.is_nan(column)).as_py():
            raise _refused(table, field.name, "NaN; a number that is not known is null")
    if fitted["known_at"].null_count:
        raise _refused(table, "known_at", "an empty cell; every fact says when it became known")
    return fitted


def _refused(table: str, column: str, found: str) -> StoreError:
    return StoreError("These rows cannot be added.", where=Where(file=table, cell=f"column {column}"), got=found)
