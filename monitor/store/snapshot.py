"""The facts as they stood at one moment, bucket by bucket: what it takes to read one bucket, and nothing of the others.

A bucket's facts can be handed to another process or machine: it reads the compacted files where they lie, while what
still waits in the inbox, and the few rows of other buckets that bear on this one, come along.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.records import dataclass, field
from monitor.store import canonical, generations, parquet, views
from monitor.store.generations import Pointer
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

    def read(self, place: Place) -> dict[str, pa.Table]:
        """Effective readings of the registered walls, and the register's rows of these, as known at the moment.

        FileNotFoundError where a file is gone; StoreError where it is damaged.
        """
        current = {
            name: views.latest(canonical.ordered(self._known(place, name)), schema.KEY[name]) for name in REGISTER
        }
        both = pa.concat_tables([self._known(place, "readings"), views.known_by(self.elsewhere, self.known_on)])
        rulings = self._known(place, "rulings")
        rulings = rulings.filter(pc.is_in(rulings["reading_id"], value_set=pc.unique(both["reading_id"])))
        found = current | {"readings": views.effective(canonical.ordered(both), rulings)}
        walls = schema.wall_keys(current["walls"])
        return {
            name: views.having(rows, pc.is_in(schema.wall_keys(rows), value_set=walls)) for name, rows in found.items()
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


def snapshot(at: Pointer, waiting: Mapping[str, pa.Table], strays: pa.Table, known_on: datetime) -> Snapshot:
    """A generation and what waits beside it, by bucket. strays: as Tiers.strays gives them."""
    numbers = {name: generations.bucket_numbers(rows, at.buckets) for name, rows in waiting.items() if name in BY_WALL}
    files: dict[int, dict[str, str]] = {}
    for part in at.parts:
        if part.table in BY_WALL:
            files.setdefault(part.bucket, {})[part.table] = part.file
    shared = {part.table: part.file for part in at.of("rulings")}
    beside = {name: rows for name, rows in waiting.items() if name == "rulings" and rows.num_rows}
    found = []
    for bucket in sorted({*files, *(int(one) for some in numbers.values() for one in np.unique(some))}):
        mine = {name: waiting[name].filter(pa.array(some == bucket)) for name, some in numbers.items()}
        beside_it = {name: rows for name, rows in mine.items() if rows.num_rows} | beside
        elsewhere = _of_others(strays, bucket, at.buckets)
        found.append(BucketFacts(bucket, known_on, files.get(bucket, {}) | shared, beside_it, elsewhere))
    return Snapshot(at.buckets, found)


def _of_others(strays: pa.Table, bucket: int, buckets: int) -> pa.Table:
    if not strays.num_rows:
        return strays
    return strays.filter(pa.array(generations.bucket_numbers(strays, buckets) != bucket))


def _file(place: Place, table: str, file: str, columns: Sequence[str] | None = None) -> pa.Table:
    return parquet.open_and_read(place, f"{generations.FOLDER}/{file}", table, columns, once=True)
