"""Both tiers read as one: the compacted files, and the inbox files that are not in them."""

from collections.abc import Callable, Collection, Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TypeVar

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.errors import StoreError
from monitor.store import compaction, generations, inbox, parquet, witness
from monitor.store.generations import PartFile, Pointer, Wall
from monitor.store.place import Place
from monitor.store.snapshot import BY_WALL, Snapshot, snapshot
from monitor.store.unread import ReadPast, Unread

_TRIES = 5
_T = TypeVar("_T")
_Adds = list[tuple[str, str]]


class Tiers:
    """A reader of one store's facts. It remembers only what can never change: what is in a file.

    past: None to raise on a damaged file; else those of readings are read past and noted there.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self.past: ReadPast | None = None
        self._absorbed: tuple[str, frozenset[tuple[str, str]]] = ("", frozenset())
        self._menders: dict[str, pa.Table] = {}
        self._adds: dict[tuple[str, str], pa.Table] = {}

    def holds(self, table: str, name: str) -> bool:
        """Whether an add of that content is in."""
        # the inbox first, then the pointer: an add leaves the inbox only after the pointer has it
        in_inbox = inbox.path_of(self.root, table, name).exists()
        return in_inbox or (table, name) in self._taken(generations.pointer(self.root))

    def waiting(self) -> int:
        """Number of adds in the inbox that are not compacted yet."""
        return self._at_one_moment(tuple(schema.FACTS), lambda _, adds: len(adds))

    def waiting_rows(self) -> int:
        """Number of readings in the inbox that are not compacted yet."""
        return self._at_one_moment(("readings",), lambda _, adds: sum(self._rows_of(*add) for add in adds))

    def _rows_of(self, table: str, name: str) -> int:
        return parquet.number_of_rows(inbox.path_of(self.root, table, name))

    def rows(self, table: str, walls: Iterable[Wall] | None = None) -> pa.Table:
        """Rows of a table, of some walls or of all, in no order. Raises StoreError where a file is not whole."""
        wanted = None if walls is None or not generations.has_walls(table) else list(walls)

        def read(at: Pointer, adds: _Adds) -> pa.Table:
            parts = at.of(table)
            if wanted is not None:
                buckets = {generations.bucket_of(wall, at.buckets) for wall in wanted}
                parts = [part for part in parts if part.bucket in buckets]
            found = [self._read_part(part, at) for part in parts] + self._read_adds(adds)
            return _joined(table, found)

        rows = self._at_one_moment((table,), read)
        return rows if wanted is None else rows.filter(is_of(rows, wanted))

    def menders(self) -> pa.Table:
        """The readings of all walls that were sent in to mend another one."""

        def read(at: Pointer, adds: _Adds) -> pa.Table:
            parts = at.of("readings")
            self._menders = {part.file: self._menders_in(part, at) for part in parts}
            waiting = [_menders(rows) for rows in self._read_adds(adds)]
            return _joined("readings", [*self._menders.values(), *waiting])

        return self._at_one_moment(("readings",), read)

    def snapshot(self, place: Place, known_on: datetime, only: Collection[Wall] | None = None) -> Snapshot:
        """What each bucket's facts are read from, at one moment; of the buckets of some walls only, if given."""

        def read(at: Pointer, adds: _Adds) -> Snapshot:
            rows = dict(zip(adds, self._read_adds(adds), strict=True))
            waiting = {
                table: _joined(table, [rows[add] for add in adds if add[0] == table]) for table in (*BY_WALL, "rulings")
            }
            return snapshot(place, at, waiting, known_on, only)

        return self._at_one_moment((*BY_WALL, "rulings"), read)

    def ledger(self) -> pa.Table:
        """Every add (columns of parquet.LEDGER), a line per moment at which rows of it became known."""

        def read(at: Pointer, adds: _Adds) -> pa.Table:
            lines = [
                line
                for table, name in adds
                for line in compaction.ledger_lines(
                    table, name, *parquet.read_with_hash(inbox.path_of(self.root, table, name), table)
                )
            ]
            waiting = pa.Table.from_pylist(lines, schema=parquet.LEDGER)
            return pa.concat_tables([generations.ledger(self.root, at), waiting])

        return self._at_one_moment(tuple(schema.FACTS), read)

    def _at_one_moment(self, tables: tuple[str, ...], read: Callable[[Pointer, _Adds], _T]) -> _T:
        """Call `read` with the pointer and the inbox files not in it; again where a compaction took a file away."""
        for _ in range(_TRIES):
            # the inbox first, then the pointer, as in `holds`
            names = [(table, name) for table in tables for name in inbox.names(self.root, table)]
            at = generations.pointer(self.root)
            try:
                taken = self._taken(at) if names else frozenset()
                return read(at, [add for add in names if add not in taken])
            except FileNotFoundError as error:
                gone = error
        raise compaction.missing(Path(gone.filename)) from gone

    def _taken(self, at: Pointer) -> frozenset[tuple[str, str]]:
        if at.ledger is None:
            return frozenset()
        file = at.ledger.file
        if self._absorbed[0] != file:
            lines = generations.ledger(self.root, at)
            pairs = zip(lines["table"].to_pylist(), lines["name"].to_pylist(), strict=True)
            self._absorbed = (file, frozenset(pairs))
        return self._absorbed[1]

    def _read_adds(self, adds: _Adds) -> list[pa.Table]:
        kept = {table for table, _ in adds}
        read = {add: rows for add, rows in self._adds.items() if add[0] not in kept or add in set(adds)}
        for table, name in adds:
            if (table, name) not in read:
                read[table, name] = self._read_add(table, name)
        self._adds = read
        return [read[add] for add in adds]

    def _read_add(self, table: str, name: str) -> pa.Table:
        try:
            return parquet.read(inbox.path_of(self.root, table, name), table)
        except StoreError as error:
            return self._read_past(table, name, error)

    def _read_part(self, part: PartFile, at: Pointer, columns: Sequence[str] | None = None) -> pa.Table:
        bucket = (part.bucket, at.buckets)
        try:
            return generations.read_part(self.root, part, columns)
        except FileNotFoundError:
            if self.past is None or generations.pointer(self.root) != at:
                raise  # a compaction took it away: read again
            gone = compaction.missing(self.root / generations.FOLDER / part.file)
            return self._read_past(part.table, part.file, gone, bucket)
        except StoreError as error:
            return self._read_past(part.table, part.file, error, bucket)

    def _read_past(self, table: str, name: str, error: StoreError, bucket: tuple[int, int] | None = None) -> pa.Table:
        if self.past is None or table != "readings":
            raise error
        walls = None if bucket else self._walls_told(table, name)
        self.past.note(name, Unread(error, "readings", walls, bucket))
        return schema.empty(table)

    def _walls_told(self, table: str, name: str) -> frozenset[Wall] | None:
        try:
            seen = witness.read(self.root).adds.get((table, name))
        except FileNotFoundError:
            return None
        return seen.walls if seen else None

    def _menders_in(self, part: PartFile, at: Pointer) -> pa.Table:
        if part.file in self._menders:
            return self._menders[part.file]
        mends = self._read_part(part, at, ["mends"])  # one column tells whether the rest is wanted
        if not _menders(mends).num_rows:
            return schema.empty(part.table)
        return _menders(self._read_part(part, at))


def is_of(rows: pa.Table, walls: Iterable[Wall]) -> pa.Array:
    """Which rows belong to one of the walls."""
    keys = pa.array([generations.wall_key(wall) for wall in walls], pa.string())
    return pc.is_in(generations.wall_keys(rows), value_set=keys)


def _joined(table: str, pieces: list[pa.Table]) -> pa.Table:
    return pa.concat_tables(pieces) if pieces else schema.empty(table)


def _menders(rows: pa.Table) -> pa.Table:
    return rows.filter(pc.not_equal(rows["mends"], pa.scalar("")))
