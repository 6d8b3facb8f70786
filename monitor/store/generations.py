"""The compacted tier: files of buckets of walls, which never change, behind one pointer file, replaced whole."""

import hashlib
from collections.abc import Collection, Iterable, Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from monitor import schema
from monitor.documents import Document, of_json
from monitor.errors import StoreError, Where
from monitor.store import files, parquet, place
from monitor.store.sealed import sealed, unsealed

POINTER = "CURRENT.json"
FOLDER = "compacted"

Wall = tuple[str, str]
Numbers = npt.NDArray[np.int64]


class PartFile(Document, frozen=True, kw_only=True):
    """One file of a generation: rows of one bucket of a table (bucket 0 where a table has no walls)."""

    table: str
    bucket: int
    file: str
    sha256: str
    rows: int


class Retired(Document, frozen=True, kw_only=True):
    """Files of an earlier generation that a reader may still hold, and until when it stood (seconds since 1970)."""

    until: float
    files: tuple[str, ...]
    ledger: str = ""


class Pointer(Document, frozen=True, kw_only=True):
    """What CURRENT.json says: the files that make up the compacted tier, and the ledger of the adds in them."""

    schema_version: int
    generation: int
    buckets: int
    parts: tuple[PartFile, ...] = ()
    derived: tuple[PartFile, ...] = ()
    """What is worked out of the parts, to find rows by (see `finding`); none in a generation from before that."""
    ledger: PartFile | None = None
    retired: tuple[Retired, ...] = ()

    def of(self, table: str) -> list[PartFile]:
        """The files of a table, by bucket."""
        return sorted((part for part in self.parts if part.table == table), key=lambda part: part.bucket)

    def beside(self, name: str) -> PartFile | None:
        """The file of that name that is worked out of the parts; None where there is none yet."""
        return next((part for part in self.derived if part.table == name), None)

    @property
    def files(self) -> set[str]:
        """Every file that this generation needs."""
        return {part.file for part in (*self.parts, *self.derived)} | ({self.ledger.file} if self.ledger else set())


def start(root: Path) -> None:
    """Write the pointer of a store that holds nothing yet."""
    point(root, Pointer(schema_version=schema.VERSION, generation=0, buckets=1))


def point(root: Path, to: Pointer) -> None:
    """Make a generation the current one."""
    files.replace(root / POINTER, sealed(to))


def pointer(root: Path) -> Pointer:
    """The pointer as it stands now. Raises StoreError where it is gone or damaged."""
    return read_pointer(root / POINTER)


def read_pointer(path: Path) -> Pointer:
    """The same from a file that is not yet, or not any more, a store's pointer."""
    try:
        found = _read(path.read_bytes())
    except (FileNotFoundError, ValueError) as error:
        raise StoreError(
            "The pointer to the compacted files is missing."
            if isinstance(error, FileNotFoundError)
            else "The pointer to the compacted files is damaged.",
            where=Where(file=str(path)),
            mend="Restore this file from a backup; nothing is read without it, so that no row goes missing unseen.",
        ) from error
    if found.schema_version != schema.VERSION:
        raise StoreError(
            "The pointer has a schema version that this release cannot read.",
            where=Where(file=str(path)),
            got=f"version {found.schema_version}",
            expected=f"version {schema.VERSION}",
            mend="Use the release that wrote it, or a newer one.",
        )
    return found


@lru_cache(maxsize=8)
def _read(data: bytes) -> Pointer:
    """What a pointer's bytes say: it is asked for at every reading, and seldom another one."""
    return of_json(Pointer, unsealed(data))


def ledger(root: Path, at: Pointer) -> pa.Table:
    """The adds that a generation has taken in."""
    if at.ledger is None:
        return parquet.LEDGER.empty_table()
    return read_part(root, at.ledger)


def read_part(root: Path, part: PartFile, columns: Sequence[str] | None = None) -> pa.Table:
    """Rows of one file. FileNotFoundError where a later compaction has removed it."""
    return parquet.open_and_read(place.of(root), f"{FOLDER}/{part.file}", part.table, columns)


def read_part_among(
    root: Path, part: PartFile, column: str, values: Collection[str], columns: Sequence[str] | None = None
) -> pa.Table:
    """Of one file the rows whose text in a column is one of some. FileNotFoundError as `read_part`."""
    return parquet.read_among(place.of(root), f"{FOLDER}/{part.file}", part.table, column, values, columns)


def taken_among(root: Path, ledger: PartFile, table: str, names: Collection[str]) -> set[str]:
    """Which of some adds to a table a ledger has. FileNotFoundError as `read_part`."""
    at = f"{FOLDER}/{ledger.file}"
    return parquet.texts_among(place.of(root), at, ledger.table, "name", names, ("table", table))


def has_walls(table: str) -> bool:
    """Whether rows of this table belong to a wall, so that it is kept in buckets of walls."""
    return "wall" in schema.FACTS[table].names


def bucket_of(wall: Wall, buckets: int) -> int:
    """The bucket of a wall: a hash of its name, the same on every machine. `buckets` is a power of two."""
    return _bucket(schema.wall_key(wall), buckets)


def by_bucket(walls: Iterable[Wall], buckets: int) -> dict[int, list[Wall]]:
    """Walls by their bucket; of each bucket none but its own need be looked for."""
    found: dict[int, list[Wall]] = {}
    for wall in walls:
        found.setdefault(bucket_of(wall, buckets), []).append(wall)
    return found


def bucket_numbers(rows: pa.Table, buckets: int) -> Numbers:
    """The bucket of every row of a table with walls."""
    keys = schema.wall_keys(rows).dictionary_encode()
    numbers = np.array([_bucket(key, buckets) for key in keys.dictionary.to_pylist()], dtype=np.int64)
    return numbers[np.asarray(keys.indices, dtype=np.int64)]


def _bucket(key: str, buckets: int) -> int:
    return int.from_bytes(hashlib.sha256(key.encode()).digest()[:4], "big") % buckets
