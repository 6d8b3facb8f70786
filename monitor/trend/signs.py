"""What the latest visit's rows say beside the numbers in use: seen signs, and held readings that may hide danger.

A reading's state never hides what was seen with it, nor how far inward a held value would lie.
"""

from datetime import date
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from monitor.records import dataclass
from monitor.schema.arrays import array_of
from monitor.terms import Method, Seen, State
from monitor.trend import columns
from monitor.trend.columns import Array, Flags, Whole

Key: TypeAlias = tuple[str, str]
"""House and wall."""

_WALL = ["house", "wall"]
_STANDS_ANYWHERE = (Method.PLUMB, Method.LASER)


@dataclass(frozen=True)
class Sighting:
    """Signs written at the latest visit of a wall (words of terms.Seen), and words that are none of them.

    undated: some of them stand on rows without a date that can be.
    """

    visited_on: date | None
    undated: bool = False
    signs: tuple[Seen, ...] = ()
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sightings:
    """A Sighting of each wall, as columns (walls,).

    visited_on: whole days since 1970-01-01, NaN where there is no visit. signs: (walls, signs) in the order of
    terms.Seen. unknown: the words by number of the wall, for those that have some.
    """

    visited_on: Array
    undated: Flags
    signs: Flags
    unknown: dict[int, tuple[str, ...]]

    @property
    def written(self) -> Flags:
        """Whether anything was written down of each wall (walls,)."""
        return np.asarray(self.signs.any(axis=1) | np.isin(np.arange(len(self.signs)), list(self.unknown)))

    def of(self, wall: int) -> Sighting:
        """What was seen of one wall."""
        signs = tuple(sign for sign, there in zip(Seen, self.signs[wall], strict=True) if there)
        return Sighting(
            columns.date_of(self.visited_on[wall]), bool(self.undated[wall]), signs, self.unknown.get(wall, ())
        )


@dataclass(frozen=True)
class Held:
    """Undecided held readings of a wall: how many, how many without a comparison, and the one furthest inward."""

    count: int
    not_compared: int
    inward_mm: float | None = None
    mark: str = ""
    read_on: date | None = None


@dataclass(frozen=True)
class HeldColumns:
    """A Held of each place, as columns (places,): NaN and '' where there is none; days count from 1970-01-01."""

    count: Whole
    not_compared: Whole
    inward_mm: Array
    mark: npt.NDArray[np.object_]
    read_on: Array

    def of(self, place: int) -> Held:
        """What is held at one place."""
        inward = float(self.inward_mm[place])
        furthest = None if np.isnan(inward) else inward
        day = columns.date_of(self.read_on[place])
        return Held(int(self.count[place]), int(self.not_compared[place]), furthest, self.mark[place], day)


def sightings(readings: pa.Table, wall: Whole, walls: int, judged_on: date) -> Sightings:
    """Signs of each of so many walls, from the readings of its latest visit up to `judged_on` whatever became of them.

    wall: number of the wall of each reading, -1 for one of no such wall. Signs on rows whose date is missing or still
    to come count too, until another row mends them: nobody can say that they are not of the latest visit.
    """
    day = columns.days(readings["visit_date"])
    known, ours = day <= columns.day_number(judged_on), wall >= 0
    newest = np.full(walls, -np.inf)
    np.maximum.at(newest, wall[known & ours], day[known & ours])
    row = np.flatnonzero(ours & ~columns.is_text(readings["seen"], ""))
    row = row[~known[row] | (day[row] == newest[wall[row]])]
    if not known[row].all():
        mended = pc.is_in(
            columns.one(readings["reading_id"]).take(array_of(row)), value_set=columns.one(readings["mends"])
        )
        row = row[known[row] | ~columns.flags(mended)]
    texts = columns.one(readings["seen"]).take(array_of(row)).dictionary_encode()
    written = [{word.strip() for word in text.split(";")} - {""} for text in texts.dictionary.to_pylist()]
    of_text = np.array([[sign in words for sign in Seen] for words in written], dtype=bool).reshape(-1, len(Seen))
    code, wall_of = columns.whole(texts.indices), wall[row]
    signs, undated = np.zeros((walls, len(Seen)), dtype=bool), np.zeros(walls, dtype=bool)
    np.logical_or.at(signs, wall_of, of_text[code])
    says = np.array([bool(words) for words in written], dtype=bool)
    undated[wall_of[~known[row] & says[code]]] = True
    strange = [words - set(Seen) for words in written]
    told: dict[int, set[str]] = {}
    for number, text in zip(wall_of.tolist(), code.tolist(), strict=True):
        if strange[text]:
            told.setdefault(number, set()).update(strange[text])
    unknown = {number: tuple(sorted(words)) for number, words in told.items()}
    return Sightings(np.where(np.isfinite(newest), newest, np.nan), undated, signs, unknown)


def held_readings(readings: pa.Table, wall: Whole, walls: int) -> HeldColumns:
    """Held readings of each of so many walls, as `_compared` compares them; wall: as `sightings` takes it."""
    held = _compared(readings, wall, walls)
    return _summed(held, held.wall, walls)


def held_by_visit(readings: pa.Table) -> dict[tuple[Key, date | None], Held]:
    """The same by wall and day of the visit, None for rows without one."""
    wall, first = columns.groups(readings, _WALL)
    held = _compared(readings, wall, len(first))
    visit, start = columns.numbered(held.wall, held.day)
    found = _summed(held, visit, len(start))
    names = readings.select(_WALL).take(array_of(first[held.wall[start]])).to_pylist()
    keys = [(row["house"], row["wall"]) for row in names]
    days = [columns.date_of(day) for day in held.day[start]]
    return {key: found.of(number) for number, key in enumerate(zip(keys, days, strict=True))}


@dataclass(frozen=True)
class _Compared:
    """Held readings (held,): number of the wall, day, mark, how far inward of the mark's last value, NaN where unknown.

    settled: the mark was read again at a later visit, and that reading used.
    """

    wall: Whole
    day: Array
    mark: npt.NDArray[np.object_]
    inward_mm: Array
    settled: Flags


def _compared(readings: pa.Table, wall: Whole, walls: int) -> _Compared:
    """Held readings, each compared with its mark's last used value by the same method.

    A plumb line and a laser plane stand anywhere, so what their set-up's other marks moved in the median is taken off
    first; alone in its set-up such a reading cannot be compared. A mark that was read again at a later visit, and that
    reading used, is no longer in doubt: it is counted, but not compared.
    """
    day, mm = columns.days(readings["visit_date"]), columns.reals(readings["deflection_mm"])
    held = np.flatnonzero(columns.is_text(readings["state"], State.HELD) & (wall >= 0))
    asked = np.zeros(walls + 1, dtype=bool)
    asked[wall[held]] = True
    used = columns.is_text(readings["state"], State.USED) & asked[wall] & ~np.isnan(day) & ~np.isnan(mm)
    rows = np.concatenate([held, np.flatnonzero(used)])
    taken = readings.select(["mark", "method", "part", "setup"]).take(array_of(rows))
    wall, day, mm, is_used = wall[rows], day[rows], mm[rows], np.arange(len(rows)) >= len(held)
    mark, method, part = (columns.ranks(taken[name]) for name in ("mark", "method", "part"))
    series = columns.numbered(wall, mark, method)[0]
    levels = _Levels.of(series[is_used], day[is_used], mm[is_used])
    before, newest = levels.newest(series, day), levels.newest(series, np.full(len(rows), np.inf))
    setup = columns.numbered(wall, day, part, method, columns.whole(taken["setup"]))[0]
    shift = columns.medians(np.where(is_used, mm - before.mm, np.nan), setup)[setup]
    anywhere = np.isin(columns.codes(taken["method"], _STANDS_ANYWHERE), range(len(_STANDS_ANYWHERE)))
    inward = mm - np.where(np.isnan(before.mm), newest.mm, before.mm) - np.where(anywhere, shift, 0.0)
    settled = newest.day > day
    inward = np.where(settled, np.nan, inward)
    of_held = slice(len(held))
    names = taken["mark"].to_numpy()
    return _Compared(wall[of_held], day[of_held], names[of_held], inward[of_held], settled[of_held])


@dataclass(frozen=True)
class _Levels:
    """Means of values by series and day (levels,), in the order of both."""

    series: Whole
    day: Array
    mm: Array

    @classmethod
    def of(cls, series: Whole, day: Array, mm: Array) -> "_Levels":
        level, first = columns.numbered(series, day)
        return cls(series[first], day[first], columns.means(mm, level))

    def newest(self, series: Whole, before: Array) -> "_Levels":
        """Of each series its level of the newest day before one, of all where that is NaN; NaN where there is none."""
        low = self.day.min(initial=0.0)
        span = self.day.max(initial=0.0) - low + 2
        limit = np.where(np.isnan(before), np.inf, before)
        at = np.searchsorted(self.series * span + self.day - low, series * span + np.clip(limit - low, 0, span - 1)) - 1
        there = (at >= 0) & (np.append(self.series, -1)[at] == series)
        return _Levels(series, *(np.where(there, np.append(each, np.nan)[at], np.nan) for each in (self.day, self.mm)))


def _summed(held: _Compared, place: Whole, places: int) -> HeldColumns:
    """What is held at each place, by the number of the place of each held reading."""
    known = np.flatnonzero(~np.isnan(held.inward_mm))
    furthest = known[columns.leaders(place[known], -held.inward_mm[known])]
    inward, mark, day = np.full(places, np.nan), np.full(places, "", dtype=object), np.full(places, np.nan)
    for column, values in ((inward, held.inward_mm), (mark, held.mark), (day, held.day)):
        column[place[furthest]] = values[furthest]
    bare = np.isnan(held.inward_mm) & ~held.settled
    return HeldColumns(
        np.bincount(place, minlength=places), np.bincount(place[bare], minlength=places), inward, mark, day
    )
