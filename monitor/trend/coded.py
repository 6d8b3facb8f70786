"""Facts as whole numbers: walls, marks, methods and events by number, so that nothing is matched by its name again.

Walls are numbered in the order of house and wall, marks in that of wall and name; both from 0.
"""

from collections.abc import Iterable, Sequence
from datetime import date

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from monitor.errors import TrendError, Where
from monitor.records import dataclass, replace
from monitor.schema.arrays import array_of
from monitor.terms import End, Part, State
from monitor.trend import shapes
from monitor.trend.columns import (
    Array,
    Column,
    Flags,
    Whole,
    codes,
    day_number,
    days,
    different,
    is_text,
    numbers,
    one,
    ranks,
    reals,
    taken,
)
from monitor.trend.variances import METHODS

Days = npt.NDArray[np.int64]

PARTS = {Part.BEFORE: 0, Part.NONE: 1, Part.AFTER: 2}
"""The parts of a day in their order."""

_LONG_AGO = -10_000_000
"""Day of an event without one: before everything."""


@dataclass(frozen=True)
class Walls:
    """Walls that are registered or read, in order; all (walls,).

    house, wall, method (the usual one, '' unknown): texts; row: of the register, the last of several, -1 for none.
    Lengths in mm, NaN where not known.
    """

    house: pa.Array
    wall: pa.Array
    method: pa.Array
    row: Whole
    length_mm: Array
    clear_height_mm: Array
    crack_height_mm: Array
    left_free: Flags
    right_free: Flags


@dataclass(frozen=True)
class Marks:
    """Marks that are registered on one of the walls, or read, in order; all (marks,).

    line, upright: which of them share a row (one string) and a column (one plumb line) of their wall: numbers.
    retired_on: last day it was good, NaN while it is; heir: the mark that replaces it, -1 for none. seen, seen_on_wall
    (marks, 3): shapes there as a method sees them that stands apart from the wall, or on it.
    """

    wall: Whole
    name: pa.Array
    x_mm: Array
    z_mm: Array
    line: Whole
    upright: Whole
    retired_on: Array
    heir: Whole
    seen: Array
    seen_on_wall: Array


@dataclass(frozen=True)
class Read:
    """Used and held readings up to the day, in the order of their table; all (rows,).

    ids: of all readings of the table; reading: row of that table; held: not used; mark: number; typed: the set-up as
    typed; part: of the day.
    """

    ids: Column
    reading: Whole
    held: Flags
    wall: Whole
    mark: Whole
    method: Whole
    typed: Whole
    part: Whole
    day: Days
    deflection_mm: Array
    step_mm: Array
    error_factor: Array

    def but(self, aside: Whole) -> "Read":
        """The same with those readings held too, given by their rows in the table."""
        return replace(self, held=self.held | np.isin(self.reading, aside))


@dataclass(frozen=True)
class Events:
    """Events up to the day, by wall and day; all (events,).

    kind: words; of_all: no mark is named; named: the marks named, as pairs of event and mark (pairs,).
    """

    wall: Whole
    day: Days
    kind: npt.NDArray[np.object_]
    method: Whole
    of_all: Flags
    named: tuple[Whole, Whole]


@dataclass(frozen=True)
class Coded:
    """All that an assessment asks of the facts."""

    walls: Walls
    marks: Marks
    read: Read
    events: Events


def method_words(numbers: Whole) -> pa.Array:
    """Words of methods by their numbers, null for -1."""
    return taken(pa.array([str(method) for method in METHODS]), numbers)


def part_words(numbers: Whole) -> pa.Array:
    """Words of parts of a day by their numbers."""
    return taken(pa.array([str(part) for part in PARTS]), numbers)


def parts_of_day(column: Column) -> Whole:
    """Parts of a day (rows,) as numbers in their order; a word that is none counts as none."""
    part = codes(column, list(PARTS))
    return np.where(part < 0, PARTS[Part.NONE], part)


def _coded_alike(columns: Sequence[Column]) -> tuple[list[Whole], pa.Array]:
    """Columns of texts as numbers in the order of all their texts, null as '', and those texts."""
    every = pa.concat_arrays([pc.fill_null(one(column).cast(pa.string()), "") for column in columns])
    coded = every.dictionary_encode()
    order = np.asarray(pc.sort_indices(coded.dictionary), dtype=np.intp)
    rank = np.empty(len(order), dtype=np.intp)
    rank[order] = np.arange(len(order))
    numbers = rank[np.asarray(coded.indices, dtype=np.intp)]
    ends = np.cumsum([len(column) for column in columns])[:-1]
    return np.split(numbers, ends), coded.dictionary.take(array_of(order))


def coded(readings: pa.Table, walls: pa.Table, marks: pa.Table, events: pa.Table, judged_on: date) -> Coded:
    """The facts up to and with a day. readings: each once, with its state after all rulings.

    TrendError where a used reading has no deflection, date or known method.
    """
    today = day_number(judged_on)
    state = codes(readings["state"], (State.USED, State.HELD))
    when = days(readings["visit_date"])
    when = np.where(np.isnan(when) & (state == 1), today, when)
    kept = np.flatnonzero((state >= 0) & ~(when > today))
    held, when = state[kept] == 1, when[kept]
    texts = {name: one(readings[name]).take(array_of(kept)) for name in ("house", "wall", "mark")}
    registered, read_walls, of_marks, of_events = _wall_numbers(texts, walls, marks, events)
    wall, house_names, wall_names, number = read_walls
    method = codes(one(readings["method"]).take(array_of(kept)), METHODS)
    real = {name: reals(readings[name])[kept] for name in ("deflection_mm", "step_mm", "error_factor", "setup")}
    _check(readings, kept[~held & ((method < 0) | ~np.isfinite(real["deflection_mm"]) | np.isnan(when))])
    known = _walls(walls, registered, house_names, wall_names, number)
    (mark_name, placed_name, replaced), names = _coded_alike([texts["mark"], marks["mark"], marks["replaces"]])
    size = len(names) + 1
    own, at = wall * size + mark_name, of_marks >= 0
    key = different(np.concatenate([own, of_marks[at] * size + placed_name[at]]))
    mark = np.searchsorted(key, own)
    placed = _last(of_marks * size + placed_name, at, key)
    heir = _last(of_marks * size + replaced, at & ~is_text(marks["replaces"], ""), key)
    heir = np.where(heir >= 0, np.searchsorted(key, (of_marks * size + placed_name)[heir]), -1)
    read = Read(
        ids=readings["reading_id"],
        reading=kept,
        held=held,
        wall=wall,
        mark=mark,
        method=method,
        typed=np.nan_to_num(real["setup"], nan=1.0).astype(np.intp),
        part=parts_of_day(readings["part"])[kept],
        day=np.nan_to_num(when).astype(np.int64),
        **{name: real[name] for name in ("deflection_mm", "step_mm", "error_factor")},
    )
    found = _marks(known, key // size, names.take(array_of(key % size)), marks, placed, heir)
    return Coded(known, found, read, _events(events, of_events, found, today))


_Read = tuple[Whole, pa.Array, pa.Array, int]


def _wall_numbers(
    texts: dict[str, pa.Array], walls: pa.Table, marks: pa.Table, events: pa.Table
) -> tuple[Whole, _Read, Whole, Whole]:
    """Number of the wall of each row of the register, of readings, marks and events; -1 where it is no such wall."""
    tables = (walls, texts, marks, events)
    house, houses = _coded_alike([table["house"] for table in tables])
    wall, names = _coded_alike([table["wall"] for table in tables])
    own, read, of_marks, of_events = (h * (len(names) + 1) + w for h, w in zip(house, wall, strict=True))
    keys = different(np.concatenate([own, read]))
    numbers = [np.searchsorted(keys, each) for each in (own, read, of_marks, of_events)]
    of_marks, of_events = (
        np.where((at < len(keys)) & (keys[np.minimum(at, len(keys) - 1)] == key), at, -1) if len(keys) else key * 0 - 1
        for at, key in zip(numbers[2:], (of_marks, of_events), strict=True)
    )
    pair = np.divmod(keys, len(names) + 1)
    told = (numbers[1], houses.take(array_of(pair[0])), names.take(array_of(pair[1])), len(keys))
    return numbers[0], told, of_marks, of_events


def _last(keys: Whole, usable: Flags, wanted: Whole) -> Whole:
    """The last row of each wanted key among the usable ones, -1 for none."""
    rows = np.flatnonzero(usable)
    rows = rows[np.argsort(keys[rows], kind="stable")]
    at = np.searchsorted(keys[rows], wanted, side="right") - 1
    found = rows[np.maximum(at, 0)] if len(rows) else np.full(len(wanted), -1)
    there = (at >= 0) & (keys[found] == wanted) if len(rows) else np.zeros(len(wanted), dtype=bool)
    return np.where(there, found, -1)


def _walls(walls: pa.Table, registered: Whole, house: pa.Array, wall: pa.Array, count: int) -> Walls:
    row = _last(registered, registered >= 0, np.arange(count))
    sizes = {name: reals(taken(walls[name], row)) for name in ("length_mm", "clear_height_mm", "crack_height_mm")}
    for name in ("length_mm", "clear_height_mm"):
        sizes[name] = np.where(sizes[name] > 0, sizes[name], np.nan)
    left, right = (is_text(taken(walls[f"{side}_end"], row), End.FREE) for side in ("left", "right"))
    method = pc.fill_null(taken(walls["method"], row), "")
    return Walls(house=house, wall=wall, method=method, row=row, left_free=left, right_free=right, **sizes)


def _marks(walls: Walls, wall: Whole, name: pa.Array, marks: pa.Table, placed: Whole, heir: Whole) -> Marks:
    x_mm, z_mm = (reals(taken(marks[axis], placed)) for axis in ("x_mm", "z_mm"))
    line = ranks(_or_number(taken(marks["row"], placed), z_mm))
    upright = ranks(_or_number(taken(marks["column"], placed), x_mm))
    seen, on_wall = (
        shapes.seen_shapes(
            x_mm=x_mm,
            z_mm=z_mm,
            length_mm=walls.length_mm[wall],
            height_mm=walls.clear_height_mm[wall],
            crack_mm=walls.crack_height_mm[wall],
            left_free=walls.left_free[wall],
            right_free=walls.right_free[wall],
            on_wall=np.full(len(wall), stands),
        )
        for stands in (False, True)
    )
    retired_on = days(taken(marks["retired_on"], placed))
    return Marks(wall, name, x_mm, z_mm, line, upright, retired_on, heir, seen, on_wall)


def _or_number(names: pa.Array, number: Array) -> pa.Array:
    """A name, or the number where there is none."""
    named = pc.fill_null(pc.not_equal(names, ""), False)
    return pc.if_else(named, names, pc.fill_null(numbers(number).cast(pa.string()), ""))


def _events(events: pa.Table, wall: Whole, marks: Marks, today: int) -> Events:
    day = np.nan_to_num(days(events["event_date"]), nan=_LONG_AGO).astype(np.int64)
    kept = np.flatnonzero((wall >= 0) & (day <= today))
    kept = kept[np.lexsort((day[kept], wall[kept]))]
    columns = (one(events[name]).take(array_of(kept)) for name in ("kind", "marks"))
    kind, named = (np.array(pc.fill_null(column, "").to_pylist(), dtype=object) for column in columns)
    method = codes(one(events["method"]).take(array_of(kept)), METHODS)
    of_wall = wall[kept]
    pairs = [(e, mark) for e, text in enumerate(named) for mark in _numbers(text.split(), int(of_wall[e]), marks)]
    return Events(of_wall, day[kept], kind, method, named == "", _columns(pairs))


def _numbers(names: Iterable[str], wall: int, marks: Marks) -> list[int]:
    """Numbers of the marks of a wall by their names; a mark that was never read has none."""
    wanted = set(names)
    if not wanted:
        return []
    first, last = (int(at) for at in np.searchsorted(marks.wall, [wall, wall + 1]))
    return [first + n for n, name in enumerate(marks.name.slice(first, last - first).to_pylist()) if name in wanted]


def _columns(pairs: Sequence[tuple[int, int]]) -> tuple[Whole, Whole]:
    both = np.array(pairs, dtype=np.intp).reshape(-1, 2)
    return both[:, 0], both[:, 1]


def _check(readings: pa.Table, wrong: Whole) -> None:
    if not len(wrong):
        return
    first = readings.slice(int(wrong[0]), 1).to_pylist()[0]
    raise TrendError(
        f"A used reading of mark {first['mark']} cannot enter the model.",
        where=Where(file=first.get("source_name") or "", wall=f"{first['house']}-{first['wall']}"),
        got=f"method '{first['method']}', deflection {first['deflection_mm']} mm, date {first['visit_date']}",
        expected=f"one of {', '.join(METHODS)}, a finite deflection, and a date",
        mend=f"Reject or correct the reading {first['reading_id']}.",
    )
