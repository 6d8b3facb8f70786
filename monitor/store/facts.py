"""The facts of a store: rows that are only ever added, and read as known at any moment, of all walls or of some."""

from collections.abc import Collection, Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from datetime import datetime
from hashlib import sha256
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.errors import StoreError
from monitor.store import canonical, compaction, files, generations, inbox, parquet, views, witness
from monitor.store.generations import Wall
from monitor.store.snapshot import Snapshot
from monitor.store.tiers import Tiers, is_of

INBOX_LIMIT = 500
"""Adds that may wait in the inbox before they are compacted: each costs a reader a file to open."""
_LOOK_EVERY = 50
_LINES = 4096
"""Lines of the ledger of which rows are made at a time."""


class Facts:
    """The tables of schema.FACTS in the folder of a store."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.tiers = Tiers(path)
        self._adds = 0

    @property
    def is_read_only(self) -> bool:
        """Whether this user can only read it."""
        return files.is_read_only(self.path)

    def add(self, table_name: str, rows: pa.Table) -> bool:
        """Add rows to a table of schema.FACTS; False, and nothing changes, where the very same content is in already.

        When this returns the rows are on the disk. Raises StoreError where the columns are not those of the schema or
        nothing can be written.
        """
        rows = inbox.checked(table_name, rows)
        if not rows.num_rows:
            return False
        name, rows_sha256 = canonical.digests(table_name, rows)
        if self.tiers.holds(table_name, name):
            self._announce_again(table_name, name)
            return False
        data = parquet.to_bytes(table_name, rows, rows_sha256)
        added = files.write_new(inbox.path_of(self.path, table_name, name), data)
        if added:
            with suppress(StoreError):  # the rows are in, whether or not there is room to say so
                witness.append(self.path, [inbox.testimony(table_name, name, data, rows)])
            self._compact_when_full()
        else:
            self._announce_again(table_name, name)
        return added

    def _announce_again(self, table_name: str, name: str) -> None:
        """An add that somebody was cut off from before the witness was told: now it is, or was meanwhile."""
        with suppress(StoreError, OSError):
            if inbox.path_of(self.path, table_name, name).exists() and not witness.has(self.path, table_name, name):
                inbox.announce(self.path, (table_name, name))

    def compact(self) -> bool:
        """Take the inbox into a new generation (it happens by itself, too); False where there was nothing to take."""
        return compaction.compact(self.path)

    def facts(
        self,
        name: str,
        *,
        known_on: datetime | None = None,
        walls: Iterable[Wall] | None = None,
        among: tuple[str, Collection[str]] | None = None,
    ) -> pa.Table:
        """All rows of a table as known on a moment, of some walls or of all, sorted by wall, date and the rest.

        among: a column, and the texts that are wanted in it. Raises StoreError where a file is missing or damaged:
        rows are never left out unseen.
        """
        return canonical.ordered(views.known_by(self.tiers.rows(name, walls, among), known_on))

    def current(
        self,
        name: str,
        known_on: datetime | None = None,
        *,
        walls: Iterable[Wall] | None = None,
        among: tuple[str, Collection[str]] | None = None,
    ) -> pa.Table:
        """Of the rows of one key (schema.KEY) the one known latest; of some walls or texts as for `facts`."""
        return views.latest(self.facts(name, known_on=known_on, walls=walls, among=among), schema.KEY[name])

    def registered(self, known_on: datetime | None = None) -> pa.Table:
        """House and wall of every registered wall, in no order."""
        rows = views.known_by(self.tiers.rows("walls", columns=(*schema.KEY["walls"], "known_at")), known_on)
        return rows.group_by(list(schema.KEY["walls"])).aggregate([])

    def readings(self, known_on: datetime | None = None, walls: Iterable[Wall] | None = None) -> pa.Table:
        """Effective readings (schema.READINGS) after rulings and mends, one row per reading."""
        if walls is None:
            rulings = self.facts("rulings", known_on=known_on)
            return views.effective(self.facts("readings", known_on=known_on), rulings)
        wanted = list(walls)
        rows = self.readings_about(wanted, known_on)
        stand = views.effective(rows, self.rulings_on(rows, known_on))
        return stand.filter(is_of(stand, wanted))

    def look_at_readings(self, walls: Iterable[Wall]) -> None:
        """Read no more of the readings of some walls than shows which of their files are damaged."""
        self.tiers.rows("readings", walls, columns=("house", "wall"))

    def readings_about(self, walls: Iterable[Wall], known_on: datetime | None = None) -> pa.Table:
        """All rows of the readings of some walls, and those of others that may bear on them, as sent to mend one."""
        wanted = list(walls)
        rows = views.known_by(self.tiers.rows("readings", wanted), known_on)
        # a row sent in to mend one of these may have been written under another wall
        elsewhere = views.known_by(self.tiers.strays(), known_on)
        elsewhere = elsewhere.filter(pc.invert(is_of(elsewhere, wanted)))
        return canonical.ordered(pa.concat_tables([rows, elsewhere]))

    def rulings_on(self, readings: pa.Table, known_on: datetime | None = None) -> pa.Table:
        """Rulings on some readings; empty where there are none of either."""
        rows = views.known_by(self.tiers.rows("rulings"), known_on)
        return canonical.ordered(rows.filter(pc.is_in(rows["reading_id"], value_set=readings["reading_id"].unique())))

    def walls_with(
        self, name: str, column: str, texts: Collection[str], walls: Iterable[Wall] | None = None
    ) -> set[Wall]:
        """Walls, of some or of all, of which some row of a table, as it came in, has one of some texts in a column."""
        if walls is None:
            rows = self.tiers.rows(name, among=(column, texts), columns=("house", "wall"))
        else:
            rows = self.tiers.rows(name, walls)
            rows = rows.filter(pc.is_in(rows[column], value_set=pa.array(list(texts), pa.string())))
        return set(zip(rows["house"].to_pylist(), rows["wall"].to_pylist(), strict=True))

    def walls_of(self, houses: Collection[str]) -> tuple[list[Wall], list[str]]:
        """Walls that any fact speaks of in some houses, and these houses as they are written, whatever their case.

        Where a fact speaks of a house alone, or of no wall that could be read, there is a wall '' among them.
        """
        return self.tiers.walls_of(houses)

    def buckets(self, known_on: datetime | None = None) -> list[list[Wall]]:
        """The registered walls in groups that are stored together, to be assessed one group at a time."""
        count = generations.pointer(self.path).buckets
        groups: dict[int, list[Wall]] = {}
        rows = self.current("walls", known_on)
        for wall in zip(rows["house"].to_pylist(), rows["wall"].to_pylist(), strict=True):
            groups.setdefault(generations.bucket_of(wall, count), []).append(wall)
        return [groups[number] for number in sorted(groups)]

    @contextmanager
    def snapshot(self, known_on: datetime) -> Iterator[Snapshot]:
        """What it takes to read each bucket's facts as known at a moment; until the block ends no file of it goes.

        A store that is full of adds is compacted first.
        """
        with ExitStack() as held:
            if not self.is_read_only:
                if self.tiers.waiting_rows() > compaction.ROWS_PER_BUCKET:
                    self.compact()
                held.enter_context(compaction.at_rest(self.path))
            yield self.tiers.snapshot(known_on)

    def facts_sha256(self, known_on: datetime | None = None) -> str:
        """Hash of the set of facts known on a moment; the same whatever the order of adds, and compacted or not."""
        lines = views.known_by(self.tiers.ledger(), known_on)
        lines = lines.set_column(lines.schema.get_field_index("rows"), "rows", lines["rows"].cast(pa.string()))
        lines = canonical.in_order_of(lines, lines.column_names)
        total = sha256()
        for some in lines.to_batches(max_chunksize=_LINES):
            for row in some.to_pylist():
                total.update("|".join(map(str, row.values())).encode() + b"\n")
        return total.hexdigest()

    def _compact_when_full(self) -> None:
        self._adds += 1
        if (self._adds - 1) % _LOOK_EVERY or self.tiers.waiting() <= INBOX_LIMIT:  # looking costs a listing of files
            return
        # the rows are in, whatever comes of this: a store that cannot be compacted is slow, not wrong, and `verify`
        # and every reader name the damage that stands in the way
        with suppress(StoreError):
            compaction.compact(self.path, wait=False)
