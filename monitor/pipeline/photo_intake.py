"""Photo files in: each stripped, tied to the readings that name it or to what somebody says it shows, and kept.

Nothing is guessed: what could be meant in two ways is held and told, with what to add. Files given stay as they are.
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from enum import StrEnum
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from monitor.errors import BowError, NotFoundError
from monitor.ingest.pictures import LARGEST_BYTES, Bare, NoPictureError, bare
from monitor.pipeline import keys, photos
from monitor.pipeline.photo_names import closeness, plain, references
from monitor.pipeline.who import person
from monitor.records import dataclass
from monitor.report.context import Key, Row
from monitor.store import Store, files
from monitor.store import photos as kept
from monitor.terms import STAFF

Place = tuple[str, str, date]


class PhotoError(BowError):
    """Photos that cannot be tied as asked."""


class Fate(StrEnum):
    """What became of a file."""

    TIED = "tied"
    KNOWN = "in already"
    HELD = "held"
    REFUSED = "refused"


@dataclass(frozen=True)
class Given:
    """A file by its name, with folders where they are known, and the way to its bytes.

    bytes: its size, where it is known before it is read.
    """

    name: str
    read: Callable[[], bytes]
    bytes: int = 0


@dataclass(frozen=True)
class Shown:
    """What somebody says that the photos show; '' and None where nothing is said."""

    house: str = ""
    wall: str = ""
    visit: date | None = None
    mark: str = ""


@dataclass(frozen=True)
class Outcome:
    """What became of one file, and why in one sentence; row: of schema.PHOTOS where it is tied or was.

    Of one that is held whoever tells it adds how to say what it shows: each door asks for it in its own way.
    """

    file: str
    fate: Fate
    why: str
    row: Row | None = None


@dataclass(frozen=True)
class Taken:
    """Each file in the order given, and of the readings looked at those that name a photo nobody has given."""

    outcomes: Sequence[Outcome]
    unfound: Sequence[Row]

    def count(self, fate: Fate) -> int:
        """How many files had that fate."""
        return sum(outcome.fate is fate for outcome in self.outcomes)


@dataclass(frozen=True)
class _Wanted:
    """What the files are looked for in: the wall (None: all), the visit, the mark, and readings that count."""

    key: Key | None
    shown: Shown
    readings: Sequence[Row]

    @property
    def place(self) -> Place | None:
        """Where the photos are said to be of, where that is said in full."""
        return (*self.key, self.shown.visit) if self.key and self.shown.visit else None


def tie(store: Store, given: Sequence[Given], shown: Shown, *, who: str, made_at: datetime, note: str = "") -> Taken:
    """Tie files to readings and keep them without what the camera wrote; a file that cannot be is told, not dropped.

    Raises NotFoundError for a house, wall or mark that is not registered, PhotoError for a visit that was none.
    """
    if not who.strip():
        raise PhotoError("Who ties the photos must be said.", mend="Add --who ID.")
    who = person(store, who, STAFF)
    with store.taking_in():
        return judged(store, given, shown, store.readings(), keep=Keep(who, made_at, note.strip()))


@dataclass(frozen=True)
class Keep:
    """By whom photos are tied, when, and the note that is kept with each."""

    who: str
    made_at: datetime
    note: str = ""


def judged(store: Store, given: Sequence[Given], shown: Shown, readings: pa.Table, *, keep: Keep | None) -> Taken:
    """What becomes of the files; with keep they are kept, to be called within `store.taking_in()`. Raises as `tie`.

    readings: the effective ones that photos may be of (schema.READINGS).
    """
    wanted = _wanted(store, shown, readings)
    outcomes: dict[int, Outcome] = {}
    same: dict[str, list[int]] = defaultdict(list)
    for number, file in enumerate(given):
        try:
            same[files.sha256(_bare(file).data)].append(number)
        except NoPictureError as error:
            outcomes[number] = _refused(file, error)
    named = _named(wanted.readings, {sha: [given[at].name for at in numbers] for sha, numbers in same.items()})
    there = {row["sha256"]: row for row in photos.standing(store)}
    for sha, numbers in same.items():
        first = given[numbers[0]]
        found = _meant(first, named[sha], wanted, there.get(sha))
        if not isinstance(found, Outcome):
            found = _tied_as(store, first, found, there.get(sha), keep)
        outcomes[numbers[0]] = found
        for number in numbers[1:]:
            again = f"It is the same picture as {first.name}."
            outcomes[number] = Outcome(given[number].name, found.fate, again, found.row)
    lost = photos.unfound(wanted.readings, photos.standing(store))
    return Taken([outcomes[number] for number in sorted(outcomes)], [row for rows in lost.values() for row in rows])


def _wanted(store: Store, shown: Shown, known: pa.Table) -> _Wanted:
    if not shown.wall or not shown.house:
        if shown.house or shown.wall or shown.mark or shown.visit:
            raise PhotoError("A wall is named by its house and wall.", mend="Give both --house and --wall.")
        return _Wanted(None, shown, photos.naming(known))
    key = keys.registered(store, keys.written(shown.house, shown.wall))
    readings = known.filter(pc.and_(pc.equal(known["house"], key[0]), pc.equal(known["wall"], key[1]))).to_pylist()
    mark = _mark(store, key, shown.mark) if shown.mark else ""
    if shown.visit:
        _check_visit(store, key, readings, shown.visit)
    chosen = [
        row
        for row in readings
        if (not shown.visit or row["visit_date"] == shown.visit) and (not mark or row["mark"] == mark)
    ]
    return _Wanted(key, Shown(*key, shown.visit, mark), chosen)


def _mark(store: Store, key: Key, written: str) -> str:
    rows = store.current("marks").to_pylist()
    marks = {row["mark"].casefold(): row["mark"] for row in rows if (row["house"], row["wall"]) == key}
    if written.strip().casefold() not in marks:
        raise NotFoundError(
            "This wall has no such mark.", got=written, expected=", ".join(sorted(marks.values())) or "a mark"
        )
    return str(marks[written.strip().casefold()])


def _check_visit(store: Store, key: Key, readings: Sequence[Row], day: date) -> None:
    events = store.current("events").to_pylist()
    days = {row["visit_date"] for row in readings if row["visit_date"]}
    days |= {row["event_date"] for row in events if (row["house"], row["wall"]) == key}
    if day not in days:
        near = sorted(sorted(days, key=lambda other: abs((other - day).days))[:3])
        raise PhotoError(
            f"Nobody was at {keys.written(*key)} on that day, as far as is known.",
            got=str(day),
            expected=f"a day of a visit or of work, like {', '.join(map(str, near))}" if near else "a visit first",
            mend="A camera's clock may be wrong: give the day that the visit sheet says.",
        )


def _bare(file: Given) -> Bare:
    if file.bytes > LARGEST_BYTES:
        raise NoPictureError(f"a file of {file.bytes / 1e6:.0f} MB, more than the {LARGEST_BYTES / 1e6:.0f} MB taken")
    try:
        return bare(file.read())
    except OSError as error:
        raise NoPictureError(f"a file that cannot be read ({error.strerror or error})") from error


@dataclass(frozen=True)
class _Named:
    """Readings that name a picture, and names of other pictures that the same readings could mean."""

    readings: list[Row]
    rivals: set[str]


def _named(readings: Sequence[Row], names: Mapping[str, Sequence[str]]) -> dict[str, _Named]:
    """By picture, who names it: of the files that a reference could mean the closest in name, all if equally close."""
    found = {sha: _Named([], set()) for sha in names}
    by_stem: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for sha, each in names.items():
        for name in each:
            by_stem[_stem(name)].append((sha, name))
    for reading in readings:
        for reference in references(reading):
            ranked = [(closeness(reference, name), sha, name) for sha, name in by_stem[_stem(reference)]]
            best = max((rank for rank, _, _ in ranked), default=0)
            meant = {sha: name for rank, sha, name in ranked if rank == best and best}
            for sha in meant:
                found[sha].readings.append(reading)
                found[sha].rivals.update(name for other, name in meant.items() if other != sha)
    return found


def _stem(name: str) -> str:
    return plain(name).casefold().split(".")[0]


def _meant(file: Given, named: _Named, wanted: _Wanted, before: Row | None) -> dict[str, Any] | Outcome:
    """Wall, visit, mark and readings of a picture; an outcome where they cannot be told."""
    ids = list(dict.fromkeys(row["reading_id"] for row in named.readings))
    marks = {row["mark"] for row in named.readings}
    if wanted.place:  # said in so many words
        if not ids and wanted.shown.mark:
            ids = [row["reading_id"] for row in wanted.readings]
        return _tied(wanted.place, wanted.shown.mark or (marks.pop() if len(marks) == 1 else ""), ids)
    if named.rivals:
        others = ", ".join(sorted(named.rivals))
        return _held(file, f"A reading could mean this file or {others}.")
    places = {(row["house"], row["wall"], row["visit_date"]) for row in named.readings}
    if not places:
        if before and (wanted.key in (None, (before["house"], before["wall"]))):
            return Outcome(file.name, Fate.KNOWN, f"It is tied to {_place_words(before)}.", before)
        return _held(file, "No reading names it.")
    if len(places) > 1 or not all(places_part for place in places for places_part in place):
        said = "; ".join(sorted(f"{keys.written(h, w)} on {day or 'no date'}" for h, w, day in places))
        return _held(file, f"Readings of more than one visit name it, or one without wall or date: {said}.")
    place = places.pop()
    if before and (before["house"], before["wall"], before["visit_date"]) != place:
        return _held(file, f"It is tied to {_place_words(before)} already.")
    if before:
        had = before["reading_ids"].split()
        if set(ids) <= set(had):
            return _tied(place, before["mark"], had)
        ids = list(dict.fromkeys([*had, *ids]))
        marks |= {before["mark"]} if had or before["mark"] else set()
    mark = marks.pop() if len(marks) == 1 else ""
    return _tied(place, mark, ids)


def _tied(place: Place, mark: str, ids: Sequence[str]) -> dict[str, Any]:
    house, wall, day = place
    return {"house": house, "wall": wall, "visit_date": day, "mark": mark, "reading_ids": " ".join(ids)}


def _held(file: Given, why: str) -> Outcome:
    return Outcome(file.name, Fate.HELD, why)


def _place_words(row: Row) -> str:
    mark = f", mark {row['mark']}" if row["mark"] else ""
    return f"{keys.written(row['house'], row['wall'])}, visit of {row['visit_date']}{mark}"


def _refused(file: Given, error: NoPictureError) -> Outcome:
    return Outcome(file.name, Fate.REFUSED, f"It is {error}; nothing of it was kept.")


def _tied_as(store: Store, file: Given, tied: Mapping[str, Any], before: Row | None, keep: Keep | None) -> Outcome:
    """The outcome of a file that is to be tied so, done where it is to be kept."""
    try:
        picture = _bare(file)
    except NoPictureError as error:  # it changed while it was looked at
        return _refused(file, error)
    note = keep.note if keep else ""
    known = before and all(before[name] == value for name, value in tied.items()) and note in ("", before["note"])
    sha256 = kept.keep(store.path, picture.data, picture.ending) if keep else files.sha256(picture.data)
    if known:
        return Outcome(file.name, Fate.KNOWN, f"It is tied to {_place_words(before or {})}.", before)
    row = {
        "photo_id": sha256[:16],
        **tied,
        "file_name": before["file_name"] if before else plain(file.name),
        "ending": picture.ending,
        "bytes": len(picture.data),
        "sha256": sha256,
        "width": picture.width,
        "height": picture.height,
        "who": keep.who if keep else "",
        "note": note or (before["note"] if before else ""),
        "known_at": keep.made_at if keep else None,
    }
    if keep:
        store.office.add({"photos": [row]})
    readings = len(tied["reading_ids"].split())
    count = f", {readings} {'reading' if readings == 1 else 'readings'}" if readings else ""
    return Outcome(file.name, Fate.TIED, f"It is tied to {_place_words(row)}{count}.", row)
