"""Both tiers read as one: the compacted files, and the inbox files that are not in them."""

from collections.abc import Callable, Collection, Iterable, Sequence
from contextlib import suppress
from datetime import datetime
from operator import is_
from pathlib import Path
from typing import TypeVar

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.errors import StoreError
from monitor.lately import Lately
from monitor.store import compaction, finding, generations, inbox, parquet, witness
from monitor.store.generations import PartFile, Pointer, Wall
from monitor.store.snapshot import BY_WALL, Snapshot, snapshot
from monitor.store.unread import ReadPast, Unread
from monitor.store.waiting import Waiting
from monitor.store.witness import Add

_TRIES = 5
_FEW = 5000
"""Of so many walls at most those alone are looked for in a file; of more, whole files cost no more."""
_HELD = 64
"""Answers of few rows that a reader keeps: judging, assessing and looking for alerts ask alike, one after the other."""
_TOLD: Lately[dict[str, bool]] = Lately(8)
"""By ledger, which never changes, what was looked up in it: every store that is opened asks the same."""
_T = TypeVar("_T")
_Adds = list[Add]
_Asked = tuple[object, ...]


class Tiers:
    """A reader of one store's facts. It remembers only what can never change: what is in a file.

    past: None to raise on a damaged file; else those of readings are read past and noted there.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self.past: ReadPast | None = None
        self._menders: dict[str, pa.Table] = {}
        self._waiting = Waiting(root, self._read_past)
        self._found: dict[tuple[str, ...], tuple[Sequence[Sequence[str]], Pointer, _Adds]] = {}
        self._held: dict[_Asked, tuple[Pointer, _Adds, pa.Table]] = {}

    def holds(self, table: str, name: str) -> bool:
        """Whether an add of that content is in."""
        # the inbox first, then the pointer: an add leaves the inbox only after the pointer has it
        if inbox.path_of(self.root, table, name).exists():
            return True
        return self._at_one_moment((), lambda at, _: bool(self._taken(at, [(table, name)])))

    def waiting(self) -> int:
        """Number of adds in the inbox that are not compacted yet."""
        return self._at_one_moment(tuple(schema.FACTS), lambda _, adds: len(adds))

    def waiting_rows(self) -> int:
        """Number of readings in the inbox that are not compacted yet."""
        return self._at_one_moment(("readings",), lambda _, adds: sum(self._rows_of(*add) for add in adds))

    def _rows_of(self, table: str, name: str) -> int:
        return parquet.number_of_rows(inbox.path_of(self.root, table, name))

    def rows(
        self,
        table: str,
        walls: Iterable[Wall] | None = None,
        among: tuple[str, Collection[str]] | None = None,
        columns: Sequence[str] | None = None,
    ) -> pa.Table:
        """Rows of a table, of some walls or of all, in no order. Raises StoreError where a file is not whole.

        among: a column, and the texts that are wanted in it. columns: those to read where not all. Of a file only what
        may hold what is wanted is read.
        """
        wanted = None if walls is None or not generations.has_walls(table) else set(walls)
        if wanted is not None and among is None and len(wanted) <= _FEW:
            among = ("house", {house for house, _ in wanted})
        keys = None if wanted is None else _keys(wanted)

        def read(at: Pointer, adds: _Adds) -> pa.Table:
            mine = None if wanted is None else generations.by_bucket(wanted, at.buckets)
            found = [
                _part_of(self._read_part(part, at, columns, among), columns, mine and _keys(mine[part.bucket]))
                for part in at.of(table)
                if mine is None or part.bucket in mine
            ]
            waiting = _joined(table, self._waiting.rows(self._bearing(adds, wanted, among)))
            if among is not None:
                waiting = waiting.filter(_is_among(waiting, *among))
            return _joined(table, [*found, _part_of(waiting, columns, keys)])

        if len(wanted or ()) > _FEW or (among and len(among[1]) > _FEW):
            return self._at_one_moment((table,), read)
        asked = (
            table,
            wanted if wanted is None else frozenset(wanted),
            among and (among[0], frozenset(among[1])),
            columns and (*columns,),
        )
        return self._at_one_moment((table,), lambda at, adds: self._unless_held(asked, at, adds, read))

    def _bearing(
        self, adds: _Adds, walls: Collection[Wall] | None, among: tuple[str, Collection[str]] | None
    ) -> Sequence[Add]:
        """Of some adds those that may have rows of what is wanted."""
        if walls is not None:
            return self._waiting.of_walls(adds, walls)
        if among is not None and among[0] == "house":
            return self._waiting.of_houses(adds, among[1])
        return adds

    def _unless_held(
        self, asked: _Asked, at: Pointer, adds: _Adds, read: Callable[[Pointer, _Adds], pa.Table]
    ) -> pa.Table:
        """Few rows that were asked for before and are read from the same files as then, or read now."""
        then = self._held.get(asked)
        if then and self.past is None and then[0] is at and then[1] == adds:
            return then[2]
        rows = read(at, adds)
        if rows.num_rows <= _FEW:
            if len(self._held) >= _HELD:
                self._held.clear()
            self._held[asked] = at, adds, rows
        return rows

    def walls_of(self, houses: Collection[str]) -> tuple[list[Wall], list[str]]:
        """The walls that any row speaks of in some houses, '' for no wall, and these houses as written; in any case."""
        folded = {finding.folded(house) for house in houses}

        def read(at: Pointer, adds: _Adds) -> set[Wall]:
            rows = self._places(at, folded)
            rows = rows.filter(_is_among(rows, "folded", folded))
            waiting = (wall for wall in self._waiting.places(adds) if finding.folded(wall[0]) in folded)
            return {*zip(rows["house"].to_pylist(), rows["wall"].to_pylist(), strict=True), *waiting}

        pairs = sorted(self._at_one_moment(finding.TABLES, read))
        return pairs, sorted({house for house, _ in pairs})

    def _places(self, at: Pointer, folded: Collection[str]) -> pa.Table:
        part = at.beside("places")
        if part is not None:
            with suppress(StoreError):  # damaged: the parts themselves tell
                return generations.read_part_among(self.root, part, "folded", folded)
        return finding.places(self._read_part(part, at) for table in finding.TABLES for part in at.of(table))

    def strays(self) -> pa.Table:
        """Readings that were sent in to mend one of another wall, with what mends them in turn; others may be there."""

        def read(at: Pointer, adds: _Adds) -> pa.Table:
            waiting = _joined("readings", self._waiting.rows(self._waiting.of_menders(adds)))
            return _joined("readings", [*self._strays(at), _menders(waiting)])

        return self._at_one_moment(("readings",), read)

    def _strays(self, at: Pointer) -> list[pa.Table]:
        part = at.beside("strays")
        if part is not None:
            with suppress(StoreError):
                return [generations.read_part(self.root, part)]
        parts = at.of("readings")
        self._menders = {part.file: self._menders_in(part, at) for part in parts}
        return list(self._menders.values())

    def snapshot(self, known_on: datetime) -> Snapshot:
        """What each bucket's facts are read from, at one moment."""

        def read(at: Pointer, adds: _Adds) -> Snapshot:
            rows = dict(zip(adds, self._waiting.rows(adds), strict=True))
            waiting = {
                table: _joined(table, [rows[add] for add in adds if add[0] == table]) for table in (*BY_WALL, "rulings")
            }
            strays = pa.concat_tables([*self._strays(at), _menders(waiting["readings"])])
            return snapshot(at, waiting, strays, known_on)

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
            names = [inbox.names(self.root, table) for table in tables]
            at = generations.pointer(self.root)
            try:
                return read(at, self._adds_of(tables, names, at))
            except FileNotFoundError as error:
                gone = error
        raise compaction.missing(Path(gone.filename)) from gone

    def _adds_of(self, tables: tuple[str, ...], names: Sequence[Sequence[str]], at: Pointer) -> _Adds:
        """The adds of some tables that a generation has not taken in; the very same where they are those of before."""
        then = self._found.get(tables)
        if then and then[1] is at and all(map(is_, then[0], names)):
            return then[2]
        there = [(table, name) for table, some in zip(tables, names, strict=True) for name in some]
        taken = self._taken(at, there)
        adds = [add for add in there if add not in taken]
        self._waiting.forget(tables, adds)
        self._found[tables] = names, at, adds
        return adds

    def _taken(self, at: Pointer, adds: _Adds) -> frozenset[tuple[str, str]]:
        """Which of some adds a generation has taken in, by what it says is yet in the inbox, else by its ledger."""
        if at.ledger is None:
            return frozenset()
        told = self._told(at)
        asked = [add for add in adds if add[1] not in told]
        for table in {table for table, _ in asked}:
            names = [name for of, name in asked if of == table]
            there = generations.taken_among(self.root, at.ledger, table, names)
            told |= {name: name in there for name in names}
        return frozenset(add for add in adds if told[add[1]])

    def _told(self, at: Pointer) -> dict[str, bool]:
        """Names of adds, and whether the ledger of a generation has them, as far as anybody asked."""
        ledger = f"{self.root}/{at.ledger.file}" if at.ledger else ""
        if (found := _TOLD.of(ledger)) is not None:
            return found
        still_there = at.beside("taken")
        names: list[str] = []
        if still_there is not None:
            with suppress(StoreError):  # damaged: the ledger tells
                names = generations.read_part(self.root, still_there)["name"].to_pylist()
        told = dict.fromkeys(names, True)
        _TOLD.put(ledger, told)
        return told

    def _read_part(
        self,
        part: PartFile,
        at: Pointer,
        columns: Sequence[str] | None = None,
        among: tuple[str, Collection[str]] | None = None,
    ) -> pa.Table:
        bucket = (part.bucket, at.buckets)
        try:
            if among is not None:
                return generations.read_part_among(self.root, part, *among, columns)
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
        return (seen.walls or None) if seen else None

    def _menders_in(self, part: PartFile, at: Pointer) -> pa.Table:
        if part.file in self._menders:
            return self._menders[part.file]
        mends = self._read_part(part, at, ["mends"])  # one column tells whether the rest is wanted
        if not _menders(mends).num_rows:
            return schema.empty(part.table)
        return _menders(self._read_part(part, at))


def is_of(rows: pa.Table, walls: Iterable[Wall]) -> pa.Array:
    """Which rows belong to one of the walls."""
    return pc.is_in(schema.wall_keys(rows), value_set=_keys(walls))


def _keys(walls: Iterable[Wall]) -> pa.Array:
    return pa.array(map(schema.wall_key, walls), pa.string())


def _part_of(rows: pa.Table, columns: Sequence[str] | None, keys: pa.Array | None) -> pa.Table:
    """Some columns of some walls; None for all. What is not wanted goes file by file, so that it is never all there."""
    rows = rows if columns is None else rows.select(columns)
    return rows if keys is None else rows.filter(pc.is_in(schema.wall_keys(rows), value_set=keys))


def _is_among(rows: pa.Table, column: str, texts: Collection[str]) -> pa.Array:
    return pc.is_in(rows[column], value_set=pa.array(sorted(texts), pa.string()))


def _joined(table: str, pieces: list[pa.Table]) -> pa.Table:
    return pa.concat_tables(pieces) if pieces else schema.empty(table)


def _menders(rows: pa.Table) -> pa.Table:
    return rows.filter(pc.not_equal(rows["mends"], pa.scalar("")))
