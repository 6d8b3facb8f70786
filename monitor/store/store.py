"""The store of one company: facts that are only ever added, office records, assessments, settings, received files."""

import os
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import date, datetime
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
    files,
    generations,
    inbox,
    marker,
    migration,
    parts,
    place,
    settings_files,
    witness,
)
from monitor.store.again import Again
from monitor.store.facts import Facts
from monitor.store.generations import Wall
from monitor.store.office import Office
from monitor.store.parts import Part
from monitor.store.unread import ReadPast, Unread

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


class Store(Facts):
    """An open store; any number may be open at once, in any number of processes. Made by `create` and `open`."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.office = Office(path)
        self.place = place.of(path)
        self.past: ReadPast | None = None

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

    def newest_known(self) -> datetime | None:
        """When the newest fact or record became known; None where there is none."""
        with files.reading(self.path / witness.FILE):
            moments = (witness.newest_known(self.path), self.office.newest_known())
        return max((moment for moment in moments if moment), default=None)

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

    def ids(self, name: str) -> list[tuple[str, ...]]:
        """The keys (schema.KEY) of all rows of a table of the register, as they became known; may be twice there."""
        key = schema.KEY[name]
        rows = self.office.people() if name == "people" else self.tiers.rows(name, columns=(*key, "known_at"))
        return list(zip(*(rows.sort_by("known_at")[part].to_pylist() for part in key), strict=True))

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

    def again(self, walls: Collection[Wall] | None = None) -> list[Again]:
        """Walls, of some or of all, as they were last assessed again (again.is_in tells whether a list has that).

        Raises StoreError where a file of them is damaged.
        """
        return again.kept(self.path, walls)

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
