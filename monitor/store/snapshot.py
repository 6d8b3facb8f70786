"""The facts as they stood at one moment, bucket by bucket: what it takes to read one bucket, and nothing of the others.

A bucket's facts can be handed to another process or machine: it reads the compacted files where they lie, while what
still waits in the inbox, and the few rows of other buckets that bear on this one, come along.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.store import canonical, generations, parquet, views
from monitor.store.generations import Numbers, PartFile, Pointer, Wall
from monitor.store.place import Place

REGISTER = ("walls", "marks", "events")
BY_WALL = ("readings", *REGISTER)


@dataclass(frozen=True)
class BucketFacts:
    """What one bucket's facts are read from. files: compacted ones by table; waiting: rows of the inbox by table;
    elsewhere: readings of other buckets that were sent in to mend one of this, or to mend such a one.
    """

    bucket: int
    known_on: datetime
    files: Mapping[str, str]
    waiting: Mapping[str, pa.Table]
    elsewhere: pa.Table = field(default_factory=lambda: schema.empty("readings"))

    def houses(self, place: Place) -> set[str]:
        """Houses with a wall in the bucket, whenever it became known."""
        return set(self._rows(place, "walls", ["house"])["house"].unique().to_pylist())

    def read(self, place: Place, of: Collection[Wall] | None = None) -> dict[str, pa.Table]:
        """Effective readings of the registered walls, and the register's rows of these, as known at the moment.

        of: those of these walls alone. FileNotFoundError where a file is gone; StoreError where it is damaged.
        """
        current = {
            name: views.latest(canonical.ordered(self._known(place, name)), schema.KEY[name]) for name in REGISTER
        }
        both = pa.concat_tables([self._known(place, "readings"), views.known_by(self.elsewhere, self.known_on)])
        rulings = self._known(place, "rulings")
        rulings = rulings.filter(pc.is_in(rulings["reading_id"], value_set=pc.unique(both["reading_id"])))
        found = current | {"readings": views.effective(canonical.ordered(both), rulings)}
        walls = generations.wall_keys(current["walls"])
        if of is not None:
            walls = walls.filter(pc.is_in(walls, value_set=pa.array(map(generations.wall_key, of), pa.string())))
        return {
            name: rows.filter(pc.is_in(generations.wall_keys(rows), value_set=walls)) for name, rows in found.items()
        }

    def _known(self, place: Place, table: str) -> pa.Table:
        return views.known_by(self._rows(place, table), self.known_on)

    def _rows(self, place: Place, table: str, columns: Sequence[str] | None = None) -> pa.Table:
        found = [_file(place, table, self.files[table], columns)] if table in self.files else []
        if table in self.waiting:
            rows = self.waiting[table]
            found.append(rows if columns is None else rows.select(columns))
        if not found:
            return schema.empty(table) if columns is None else schema.empty(table).select(columns)
        return pa.concat_tables(found)


@dataclass(frozen=True)
class Snapshot:
    """All buckets that hold anything, by number. count: of the numbers there are, a power of two."""

    count: int
    buckets: Sequence[BucketFacts]


def snapshot(
    place: Place, at: Pointer, waiting: Mapping[str, pa.Table], known_on: datetime, only: Collection[Wall] | None = None
) -> Snapshot:
    """A generation and what waits beside it, by bucket; of the buckets of some walls only, where these are given."""
    numbers = {name: generations.bucket_numbers(rows, at.buckets) for name, rows in waiting.items() if name in BY_WALL}
    parts: dict[int, dict[str, PartFile]] = {}
    for part in at.parts:
        if part.table in BY_WALL:
            parts.setdefault(part.bucket, {})[part.table] = part
    shared = {part.table: part.file for part in at.of("rulings")}
    beside = {name: rows for name, rows in waiting.items() if name == "rulings" and rows.num_rows}
    crossing = _Crossing(place, at, waiting["readings"], numbers["readings"]).rows()
    wanted = {*parts, *(int(one) for some in numbers.values() for one in np.unique(some))}
    if only is not None:
        wanted &= {generations.bucket_of(wall, at.buckets) for wall in only}
    found = []
    for bucket in sorted(wanted):
        mine = {name: waiting[name].filter(pa.array(some == bucket)) for name, some in numbers.items()}
        files = {name: part.file for name, part in parts.get(bucket, {}).items()}
        beside_it = {name: rows for name, rows in mine.items() if rows.num_rows} | beside
        found.append(BucketFacts(bucket, known_on, files | shared, beside_it, _of_others(crossing, bucket, at.buckets)))
    return Snapshot(at.buckets, found)


class _Crossing:
    """Readings sent in to mend one that stands in another bucket, and those sent in to mend these: a few at most."""

    def __init__(self, place: Place, at: Pointer, waiting: pa.Table, numbers: Numbers) -> None:
        self._place, self._waiting, self._numbers = place, waiting, numbers
        self._parts = at.of("readings")

    def rows(self) -> pa.Table:
        """Their rows; maybe more of them than bear on anything."""
        wanted = pa.concat_arrays([*self._astray_in_files(), self._astray_waiting()])
        if not len(wanted):
            return schema.empty("readings")
        menders = self._menders()
        while True:
            more = menders.filter(pc.is_in(menders["mends"], value_set=wanted))["reading_id"].combine_chunks()
            more = more.filter(pc.invert(pc.is_in(more, value_set=wanted)))
            if not len(more):
                return menders.filter(pc.is_in(menders["reading_id"], value_set=wanted))
            wanted = pa.concat_arrays([wanted, more])

    def _astray_in_files(self) -> list[pa.Array]:
        looked_at = [part for part in self._parts if part.astray is None or part.astray > 0]
        return [astray(rows, rows) for part in looked_at if (rows := self._pairs(part)) is not None]

    def _astray_waiting(self) -> pa.Array:
        mending = np.asarray(pc.not_equal(one(self._waiting["mends"]), "").to_numpy(zero_copy_only=False), dtype=bool)
        found = [pa.array([], pa.string())]
        for bucket in np.unique(self._numbers[mending]).tolist():
            here = self._waiting.filter(pa.array(self._numbers == bucket)).select(_PAIR)
            files = [
                rows for part in self._parts if part.bucket == bucket and (rows := self._pairs(part, all_of_it=True))
            ]
            found.append(astray(here, pa.concat_tables([here, *files])))
        return pa.concat_arrays(found)

    def _pairs(self, part: PartFile, *, all_of_it: bool = False) -> pa.Table | None:
        """Ids and what they mend; None where nothing in the file mends anything."""
        mends = _file(self._place, "readings", part.file, ["mends"])
        if not all_of_it and not pc.any(pc.not_equal(mends["mends"], "")).as_py():
            return None
        return _file(self._place, "readings", part.file, _PAIR)

    def _menders(self) -> pa.Table:
        found = [_mending(self._waiting)]
        for part in self._parts:
            if self._pairs(part) is not None:
                found.append(_mending(_file(self._place, "readings", part.file)))
        return pa.concat_tables(found)


_PAIR = ["reading_id", "mends"]


def astray(rows: pa.Table, among: pa.Table) -> pa.Array:
    """Ids of the readings that were sent in to mend one that is not among those."""
    menders = _mending(rows)
    there = pc.is_in(menders["mends"], value_set=one(among["reading_id"]))
    return one(menders["reading_id"]).filter(pc.invert(one(there)))


def one(column: pa.ChunkedArray | pa.Array) -> pa.Array:
    """A column as one array."""
    return column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column


def _mending(rows: pa.Table) -> pa.Table:
    return rows.filter(pc.not_equal(rows["mends"], ""))


def _of_others(crossing: pa.Table, bucket: int, buckets: int) -> pa.Table:
    if not crossing.num_rows:
        return crossing
    return crossing.filter(pa.array(generations.bucket_numbers(crossing, buckets) != bucket))


def _file(place: Place, table: str, file: str, columns: Sequence[str] | None = None) -> pa.Table:
    return parquet.open_and_read(place, f"{generations.FOLDER}/{file}", table, columns)
