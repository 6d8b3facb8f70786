"""Walls that were assessed again since the last whole assessment: kept beside it, as no part of any.

A whole assessment is on record and can be made again; what is kept here is what the list to work from says besides,
until the next one has it in. A file holds some walls, told apart by a hash of their names, and is replaced whole.
"""

from base64 import b64decode, b64encode
from collections.abc import Collection, Iterator, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Protocol

import pyarrow as pa
from filelock import FileLock

from monitor import schema
from monitor.errors import StoreError
from monitor.records import dataclass
from monitor.results import Assessment
from monitor.store import assessments, canonical, files, generations, parquet
from monitor.store.generations import Wall
from monitor.store.tiers import is_of

FOLDER = f"{assessments.FOLDER}/again"
MEND = "Take the file away and assess again: it holds nothing that is not made of the facts."
_LOCK = "again.lock"
_FILES = 64


class Whole(Protocol):
    """A whole assessment, as far as it says what it has in: the day judged for, and until when all was known."""

    @property
    def judged_on(self) -> date:
        """The day."""

    @property
    def known_until(self) -> datetime:
        """The instant."""


@dataclass(frozen=True)
class Again:
    """One wall as it was assessed again. rows: by table of schema.RESULTS, as text."""

    wall: Wall
    judged_on: date
    known_until: datetime
    rows: dict[str, str]

    def table(self, name: str) -> pa.Table:
        """Its rows of a table of results."""
        with pa.ipc.open_stream(b64decode(self.rows[name])) as stream:
            return stream.read_all()


def put(root: Path, found: Assessment, walls: Collection[Wall]) -> None:
    """Keep what an assessment of some walls alone found, unless something later is kept of one. Raises StoreError."""
    fresh = [Again(wall, found.judged_on, found.known_until, dict(_texts(found, wall))) for wall in sorted(set(walls))]
    with files.writing(root / FOLDER):
        (root / FOLDER).mkdir(exist_ok=True)
        with FileLock(root / assessments.FOLDER / _LOCK):
            for number in sorted({_number(each.wall) for each in fresh}):
                path = path_of(root, number)
                there = {each.wall: each for each in _whole(path)}
                for each in fresh:
                    later = there.get(each.wall)
                    if _number(each.wall) == number and (later is None or later.known_until <= each.known_until):
                        there[each.wall] = each
                _write(path, list(there.values()))


def kept(root: Path, walls: Collection[Wall] | None = None) -> list[Again]:
    """What is kept of some walls, or of all, by wall. Raises StoreError where a file is damaged."""
    those = paths(root) if walls is None else sorted({path_of(root, _number(wall)) for wall in walls})
    found = [each for path in those for each in read(path) if walls is None or each.wall in walls]
    return sorted(found, key=lambda each: each.wall)


def drop_older(root: Path, whole: Whole) -> None:
    """Forget what a whole assessment has in."""
    if not paths(root):
        return
    with files.writing(root / FOLDER), FileLock(root / assessments.FOLDER / _LOCK):
        for path in paths(root):
            rest = [each for each in _whole(path) if not is_in(each, whole)]
            if rest:
                _write(path, rest)
            else:
                path.unlink(missing_ok=True)


def is_in(each: Again, whole: Whole) -> bool:
    """Whether a whole assessment has a wall in as it was assessed again: it is for no earlier day, and knew no less."""
    return each.judged_on <= whole.judged_on and each.known_until <= whole.known_until


def paths(root: Path) -> list[Path]:
    """The files that there are."""
    return sorted((root / FOLDER).glob("*.parquet"))


def path_of(root: Path, number: int) -> Path:
    """The file of that number."""
    return root / FOLDER / f"{number:02d}.parquet"


def _number(wall: Wall) -> int:
    return generations.bucket_of(wall, _FILES)


def _texts(found: Assessment, wall: Wall) -> Iterator[tuple[str, str]]:
    for name in schema.RESULTS:
        rows = getattr(found, name)
        sink = pa.BufferOutputStream()
        with pa.ipc.new_stream(sink, rows.schema) as stream:
            stream.write_table(rows.filter(is_of(rows, [wall])))
        yield name, b64encode(sink.getvalue()).decode()


def read(path: Path) -> Sequence[Again]:
    """The walls of one file; none where it is gone. Raises StoreError where it is damaged."""
    try:
        rows = parquet.read_proven(path, path.read_bytes(), "again")[0].to_pylist()
    except FileNotFoundError:
        return []
    except StoreError as error:
        raise StoreError(str(error.what), where=error.where, got=error.got, mend=MEND) from error
    return [
        Again(
            (row["house"], row["wall"]),
            row["judged_on"],
            row["known_until"],
            {name: row[name] for name in schema.RESULTS},
        )
        for row in rows
    ]


def _whole(path: Path) -> Sequence[Again]:
    """The same to write anew: a damaged file is made of facts, and gives way."""
    try:
        return read(path)
    except StoreError:
        return []


def _write(path: Path, some: Sequence[Again]) -> None:
    columns = {"house": [each.wall[0] for each in some], "wall": [each.wall[1] for each in some]}
    columns |= {name: [getattr(each, name) for each in some] for name in ("judged_on", "known_until")}
    columns |= {name: [each.rows[name] for each in some] for name in schema.RESULTS}
    rows = canonical.ordered(pa.table(columns, schema=parquet.AGAIN))
    files.replace(path, parquet.to_bytes("again", rows, canonical.digests("again", rows)[1]))
