"""The store of one company: facts that are only ever added, office records, assessments, settings, received files."""

import os
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
from filelock import FileLock, Timeout

from monitor import schema
from monitor.config import Rules, Settings, Telling
from monitor.errors import StoreError, Where
from monitor.results import Assessment, Overruled
from monitor.schema import Tables
from monitor.store import (
    again,
    assessments,
    canonical,
    compaction,
    files,
    generations,
    inbox,
    marker,
    migration,
    parquet,
    parts,
    place,
    settings_files,
    views,
    witness,
)
from monitor.store.again import Again
from monitor.store.generations import Wall
from monitor.store.office import Office
from monitor.store.parts import Part
from monitor.store.snapshot import Snapshot
from monitor.store.tiers import Tiers, is_of
from monitor.store.unread import ReadPast, Unread

INBOX_LIMIT = 500
"""Adds that may wait in the inbox before they are compacted: each costs a reader a file to open."""
_LOOK_EVERY = 50
_LINES = 4096
"""Lines of the ledger of which rows are made at a time."""
SETTINGS = "settings.json"
TELLING = "telling.json"
_TAKING_LOCK = "taking.lock"
_TELLING_LOCK = "telling.lock"
OUTBOX = "outbox"
RECEIVED = "files"


def create(
    path: str | os.PathLike[str], *, company: dict[str, str], created_at: datetime, parquet_at: str = ""
) -> "Store":
    """Set up an empty store in a new or empty folder. Raises StoreError.

    parquet_at: where its compacted files and the tables of assessments are to lie if not in it; a URI.
    """
    root = Path(path)
    where = Where(file=str(root))
    if created_at.tzinfo is None:
        raise StoreError("The moment of setting up needs a time zone.", where=where, got=str(created_at))
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        raise StoreError(
            "A store is set up in a new or empty folder only; what is there is left as it is.",
            where=where,
            got="a store" if (root / marker.FILE).exists() else "a file or a folder with other things in it",
            mend="Give another folder, or use the store that is there.",
        )
    with files.writing(root):
        for folder in (
            *(f"{inbox.FOLDER}/{table}" for table in schema.FACTS),
            generations.FOLDER,
            RECEIVED,
            assessments.FOLDER,
        ):
            (root / folder).mkdir(parents=True)
    if parquet_at:
        place.put_elsewhere(root, parquet_at)
    files.write_new(root / witness.FILE, b"")
    generations.start(root)
    store = Store(root)
    store.office.start()
    store.office.set_company(company)
    store.save_settings(Settings())
    marker.write(root, created_at)  # last, as it makes the folder a store
    return store


def open(path: str | os.PathLike[str]) -> "Store":
    """Open a store; one of an older version is brought to this one first, and stays as it is until that is done.

    Raises StoreError where it is missing, not a store, damaged, or of a version not known here.
    """
    root = Path(path)
    migration.to_this_version(root)
    return Store(root)


class Store:
    """An open store; any number may be open at once, in any number of processes. Made by `create` and `open`."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.office = Office(path)
        self.place = place.of(path)
        self.tiers = Tiers(path)
        self.past: ReadPast | None = None
        self._adds = 0

    def sparing(self) -> "Store":
        """The same store, which reads past damaged readings, decisions and photos and remembers them in `unread`.

        For lists and pages, which then name them; never for taking in or assessing, which need everything.
        """
        other = Store(self.path)
        other.past = other.tiers.past = other.office.past = ReadPast()
        return other

    @property
    def unread(self) -> list[Unread]:
        """What was damaged and read past so far."""
        return list(self.past.found.values()) if self.past else []

    @property
    def set_up_at(self) -> datetime:
        """When the store was set up, which never changes: what is drawn by lot for its company is drawn from it."""
        return marker.read(self.path).created_at

    @property
    def is_read_only(self) -> bool:
        """Whether this user can only read it."""
        return files.is_read_only(self.path)

    def newest_known(self) -> datetime | None:
        """When the newest fact or record became known; None where there is none."""
        with files.reading(self.path / witness.FILE):
            moments = (witness.newest_known(self.path), self.office.newest_known())
        return max((moment for moment in moments if moment), default=None)

    # facts, in

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

    def keep_file(self, data: bytes, name: str) -> str:
        """Keep a received file for ever, under the SHA-256 of its bytes, which is returned."""
        file_sha256 = files.sha256(data)
        try:
            files.write_new(self.path / RECEIVED / file_sha256, data)
        except StoreError as error:
            raise StoreError(f"{name} could not be kept.", where=error.where, got=error.got, mend=error.mend) from error
        return file_sha256

    def received_file(self, file_sha256: str) -> bytes | None:
        """The bytes of a received file, None where there is none of that hash."""
        path = self.path / RECEIVED / file_sha256
        return path.read_bytes() if path.is_file() else None

    def drop_file(self, file_sha256: str) -> None:
        """Take a received file away, for good."""
        with files.writing(self.path / RECEIVED / file_sha256):
            (self.path / RECEIVED / file_sha256).unlink(missing_ok=True)

    @contextmanager
    def taking_in(self) -> Iterator[None]:
        """Until the block ends nobody else, in whatever thread or process, takes a file in. Not to be nested."""
        lock = FileLock(self.path / _TAKING_LOCK)
        with files.writing(self.path / _TAKING_LOCK):
            lock.acquire()
        try:
            yield
        finally:
            lock.release()

    @contextmanager
    def telling_alone(self) -> Iterator[bool]:
        """Until the block ends nobody else tells of alerts; False, at once, where somebody does already."""
        lock = FileLock(self.path / _TELLING_LOCK, timeout=0)
        with files.writing(self.path / _TELLING_LOCK), suppress(Timeout):
            lock.acquire()
        try:
            yield lock.is_locked
        finally:
            lock.release()

    def leave_in_outbox(self, name: str, data: bytes) -> Path:
        """Leave a mail as a file in the outbox; one of that name that is there already stays as it is."""
        path = self.path / OUTBOX / name
        files.write_new(path, data)
        return path

    def compact(self) -> bool:
        """Take the inbox into a new generation (it happens by itself, too); False where there was nothing to take."""
        return compaction.compact(self.path)

    # facts, out

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

    def ids(self, name: str) -> list[tuple[str, ...]]:
        """The keys (schema.KEY) of all rows of a table of the register, as they became known; may be twice there."""
        key = schema.KEY[name]
        rows = self.office.people() if name == "people" else self.tiers.rows(name, columns=(*key, "known_at"))
        return list(zip(*(rows.sort_by("known_at")[part].to_pylist() for part in key), strict=True))

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

    def stands_at(self) -> tuple[object, ...]:
        """What is another one as soon as anything is that files are judged by: facts, people, settings."""
        adds = tuple(inbox.every(self.path))  # the inbox first, then the pointer, as adds leave it for that
        settings = self.path / SETTINGS
        said = settings.read_bytes() if settings.exists() else b""
        return adds, generations.pointer(self.path), self.office.turns_besides_audit(), said

    # what is derived, and settings

    @contextmanager
    def making_assessment(self, judged_on: date) -> Iterator[None]:
        """Until the block ends nobody else makes a whole assessment for that day. Not to be nested."""
        with assessments.making(self.path, judged_on):
            yield

    def save_part(self, judged_on: date, bucket: int, results: Tables, order: pa.Table) -> Part:
        """Write the results of one bucket's walls; they are nobody's until `save_assessment` names them.

        results: all tables of schema.RESULTS, whose ranks are left out; order: as for parts.assessed.
        """
        return parts.write(self.place, assessments.folder_of(judged_on), bucket, parts.tables(results, order))

    def save_assessment(self, assessment: Assessment, buckets: int, made: Sequence[Part]) -> Assessment:
        """Make those parts the assessment of its day, in place of an earlier one; of `assessment` no table is read."""
        card = assessments.card_of(assessment, buckets, made)
        assessments.save(self.path, self.place, card)
        again.drop_older(self.path, assessment)
        return replace(assessment, results_sha256=card.results_sha256)

    def assessment(
        self,
        judged_on: date | None = None,
        *,
        tables: Collection[str] = tuple(schema.RESULTS),
        walls: Collection[Wall] | None = None,
        columns: Mapping[str, Sequence[str]] | None = None,
        having: Mapping[str, pc.Expression] | None = None,
    ) -> Assessment | None:
        """The assessment for a day, or of the latest day there is one for; None where there is none.

        tables: those to read; the others stay empty. walls: those whose rows alone are read. columns: by table, those
        to read where not all of them; such a table has only these. having: by table, what its rows are to be like, told
        of columns that are read.
        """
        days = self.assessments()
        day = judged_on or (days[-1] if days else None)
        if day is None:
            return None
        return assessments.load(self.path, self.place, day, tables, of=walls, columns=columns, having=having)

    def put_again(self, found: Assessment, walls: Collection[Wall]) -> None:
        """Keep walls that were assessed again, beside the last whole assessment, for the list to work from."""
        again.put(self.path, found, walls)

    def again(self, whole: again.Whole | None, walls: Collection[Wall] | None = None) -> list[Again]:
        """Walls, of some or of all, assessed again from what a whole assessment, if any, has not in, by wall.

        Raises StoreError where a file of them is damaged.
        """
        return again.since(self.path, whole, walls)

    def assessments(self) -> list[date]:
        """The days that an assessment is saved for, earliest first."""
        return assessments.days(self.path)

    def settings(self) -> Settings:
        """The settings of this company (defaults where none are saved). Raises StoreError where they cannot be read."""
        return settings_files.read(self.path / SETTINGS, Settings)

    def telling(self) -> Telling:
        """How people are told of alerts. Raises StoreError where that cannot be read."""
        return settings_files.read(self.path / TELLING, Telling)

    def save_telling(self, telling: Telling) -> None:
        """Save how people are told, in place of what was. Raises RefusedError for a value that cannot be."""
        settings_files.write(self.path / TELLING, telling)

    def save_settings(self, settings: Settings) -> None:
        """Save settings in place of the earlier ones. Raises RefusedError for a value that cannot be."""
        settings_files.write(self.path / SETTINGS, settings)

    def rules_on(self, day: date, known_on: datetime | None = None) -> Rules:
        """The rules that hold on a day: the settings, with the signed thresholds valid on that day in their place."""
        return settings_files.signed_over(self.settings().rules, self.current("thresholds", known_on), day)

    def overruled_on(self, day: date, known_on: datetime | None = None) -> Overruled | None:
        """What of the settings does not count on a day, as the thresholds signed for it are others; None if nothing."""
        return settings_files.overruled(self.settings().rules, self.current("thresholds", known_on), day)

    def _compact_when_full(self) -> None:
        self._adds += 1
        if (self._adds - 1) % _LOOK_EVERY or self.tiers.waiting() <= INBOX_LIMIT:  # looking costs a listing of files
            return
        # the rows are in, whatever comes of this: a store that cannot be compacted is slow, not wrong, and `verify`
        # and every reader name the damage that stands in the way
        with suppress(StoreError):
            compaction.compact(self.path, wait=False)
