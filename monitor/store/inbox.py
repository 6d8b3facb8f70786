"""The inbox: one immutable Parquet file per add, named by the hash of what its rows say."""

import re
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.errors import StoreError, Where
from monitor.store import files, parquet

_FILE = re.compile(r"([0-9a-f]{64})\.parquet")


def path_of(root: Path, table: str, name: str) -> Path:
    """The file of one add; `name` is the hash of its rows (canonical.digests), so that a retry is the same file."""
    return root / "inbox" / table / f"{name}.parquet"


def names(root: Path, table: str) -> list[str]:
    """Names of the adds that lie in the inbox of a table, sorted; other files there are not looked at."""
    folder = root / "inbox" / table
    if not folder.is_dir():
        return []
    return sorted(match[1] for entry in folder.iterdir() if (match := _FILE.fullmatch(entry.name)))


def write(root: Path, table: str, name: str, rows: pa.Table, rows_sha256: str) -> bool:
    """Write one add; False where it lies there already. Raises StoreError."""
    return files.write_new(path_of(root, table, name), parquet.to_bytes(table, rows, rows_sha256))


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
