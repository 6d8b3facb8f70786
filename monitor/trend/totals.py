"""Total inward deflection of each wall at its latest visit, by whatever reference that visit's readings have.

A string line reads to the line between its ends, a plumb line to the lowest mark of its column, a laser plane to its
end marks, and a distance meter what has changed since a zero whose total was entered. What has no reference is not
known.
"""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor.config import END_REACH_MM, Rules
from monitor.records import dataclass, fields, replace
from monitor.schema.arrays import array_of
from monitor.terms import EventKind, Method, Part, State
from monitor.trend import columns
from monitor.trend.coded import PARTS, parts_of_day
from monitor.trend.columns import Array, Column, Flags, Whole

_WALL = ["house", "wall"]
FOOT = "the foot of the wall"
REFERENCE = {
    Method.STRING: "the line between the wall's ends",
    Method.PLUMB: FOOT,
    Method.LASER: "the laser's end marks",
    Method.METER: "the zero reading plus the entered total",
}
"""What a method's total is measured against; of what the reference itself does, a total knows nothing."""

_BY_NAME = sorted(REFERENCE)
"""Methods in the order that decides between two of them with one total at one mark."""


def totals(
    readings: pa.Table, walls: pa.Table, marks: pa.Table, rules: Rules, events: pa.Table | None = None
) -> pa.Table:
    """One row per wall of `walls`: house, wall, total_mm, total_mark, total_reference, total_limit_mm,
    zero_total_mm.

    readings, walls, marks, events: columns of the schemas of those names; only used readings count, and of the events
    those that change a reference, for across them a distance meter's change since zero is not known. total_mm is the
    largest inward deflection over the marks of the latest visit, each the mean of its set-ups, and of several methods
    the largest; null, with total_mark and total_reference '', where no method of that visit has a reference.
    """
    visits, places, names = _visits(readings, walls), _places(marks), columns.distinct(readings["mark"])
    latest = _read(readings, visits, visits.last, marks, names)
    length_mm, zero_mm = columns.reals(walls["length_mm"]), columns.reals(walls["zero_total_mm"])
    parts = [
        _to_ends(latest.by(Method.STRING), places, length_mm, whole_setup=False, unread_end=0.0),
        _to_ends(latest.by(Method.LASER), places, length_mm, whole_setup=True, unread_end=np.nan),
    ]
    if len((plumbed := latest.by(Method.PLUMB)).mm):
        parts.append(_to_lowest(plumbed, places, _lowest(marks, walls, places, visits.last)))
    if len((metered := latest.by(Method.METER)).mm):
        first = _read(readings, visits, visits.first, marks, names).by(Method.METER)
        parts.append(_since_zero(metered, first, np.where(_changed(events, walls, visits), np.nan, zero_mm)))
    largest = _largest(parts)
    at = pc.index_in(array_of(np.arange(len(walls))), value_set=array_of(largest.wall))
    references = pa.array([REFERENCE[method] for method in _BY_NAME])
    limit = columns.reals(walls["limit_mm"])
    return pa.table(
        {
            **{name: walls[name] for name in _WALL},
            "total_mm": array_of(largest.mm).take(at),
            "total_mark": pc.fill_null(names.take(array_of(largest.name)).take(at), ""),
            "total_reference": pc.fill_null(references.take(array_of(largest.method)).take(at), ""),
            "total_limit_mm": array_of(np.where(np.isnan(limit), rules.total_limit_mm, limit)),
            "zero_total_mm": walls["zero_total_mm"],
        }
    )


def first_visits(readings: pa.Table) -> pa.Table:
    """Used readings of each wall's first day that have a deflection: of a day of work those before it, if any."""
    known = columns.is_text(readings["state"], State.USED) & ~np.isnan(columns.reals(readings["deflection_mm"]))
    used = readings.filter(array_of(known))
    wall, first = columns.groups(used, _WALL)
    visit = 2 * columns.days(used["visit_date"]) + columns.is_text(used["part"], Part.AFTER)
    earliest = np.full(len(first), np.inf)
    np.fmin.at(earliest, wall, visit)
    return used.filter(array_of(visit == earliest[wall]))


@dataclass(frozen=True)
class _Visits:
    """Used readings that have a deflection and a day: row, wall and visit (rows,), the visit as a number that sorts.

    first, last: the first and the last visit of each wall (walls,), infinite where it has none.
    """

    row: Whole
    wall: Whole
    when: Array
    first: Array
    last: Array


def _visits(readings: pa.Table, walls: pa.Table) -> _Visits:
    wall = columns.places(readings, walls, _WALL)
    when = len(PARTS) * columns.days(readings["visit_date"]) + parts_of_day(readings["part"])
    used = columns.is_text(readings["state"], State.USED) & (wall >= 0)
    row = np.flatnonzero(used & ~np.isnan(when) & ~np.isnan(columns.reals(readings["deflection_mm"])))
    wall, when = wall[row], when[row]
    first, last = np.full(len(walls), np.inf), np.full(len(walls), -np.inf)
    np.minimum.at(first, wall, when)
    np.maximum.at(last, wall, when)
    return _Visits(row, wall, when, first, last)


def _day(visit: Array) -> Array:
    return np.floor(visit / len(PARTS))


@dataclass(frozen=True)
class _Places:
    """Where marks stand, one more than the register has: the last is a mark that is not in it, of which all is unknown.

    line, column: numbers of the row and of the column within the register, by name, else by place.
    """

    x_mm: Array
    z_mm: Array
    line: Whole
    column: Whole


def _places(marks: pa.Table) -> _Places:
    x_mm, z_mm = (np.append(columns.reals(marks[name]), np.nan) for name in ("x_mm", "z_mm"))
    return _Places(x_mm, z_mm, _named(marks["row"], z_mm), _named(marks["column"], x_mm))


def _named(names: Column, place_mm: Array) -> Whole:
    is_named = np.append(~columns.is_text(names, ""), False)
    return np.where(is_named, -1 - np.append(columns.ranks(names), 0), np.unique(place_mm, return_inverse=True)[1])


@dataclass(frozen=True)
class _Read:
    """Readings (rows,): numbers of wall, method and set-up, of the mark's name and its place, and a length."""

    wall: Whole
    method: Whole
    setup: Whole
    name: Whole
    place: Whole
    mm: Array

    def where(self, chosen: Flags | Whole) -> "_Read":
        """The chosen readings."""
        return replace(self, **{each.name: getattr(self, each.name)[chosen] for each in fields(self)})

    def by(self, method: Method) -> "_Read":
        """The readings by one method."""
        return self.where(self.method == _BY_NAME.index(method))


def _read(readings: pa.Table, visits: _Visits, visit: Array, marks: pa.Table, names: pa.Array) -> _Read:
    """The used readings of one visit of each wall."""
    chosen = visits.when == visit[visits.wall]
    taken = readings.select([*_WALL, "mark", "method", "setup", "deflection_mm"]).take(array_of(visits.row[chosen]))
    return _Read(
        wall=visits.wall[chosen],
        method=columns.codes(taken["method"], _BY_NAME),
        setup=columns.whole(taken["setup"]),
        name=columns.codes(taken["mark"], names),
        place=columns.places(taken, marks, [*_WALL, "mark"]),
        mm=columns.reals(taken["deflection_mm"]),
    )


def _to_ends(read: _Read, places: _Places, length_mm: Array, *, whole_setup: bool, unread_end: float) -> _Read:
    """Deflection less the line between the ends of its set-up; an end that was not read stands at `unread_end`.

    A row takes its own end marks where they were read; with `whole_setup`, else the mean of all end marks of that side
    in its set-up.
    """
    x_mm, wall_mm = places.x_mm[read.place], length_mm[read.wall]
    within = [columns.numbered(read.wall, read.setup, places.line[read.place])[0]]
    if whole_setup:
        within = [columns.numbered(read.wall, read.setup)[0], *within]
    at_left, at_right = x_mm <= END_REACH_MM, x_mm >= wall_mm - END_REACH_MM

    def at(end: Flags, values: Array, found: float | Array) -> Array:
        for group in within:
            mean = columns.means(np.where(end, values, np.nan), group)[group]
            found = np.where(np.isnan(mean), found, mean)
        return np.asarray(found)

    left_mm, right_mm = (at(end, read.mm, unread_end) for end in (at_left, at_right))
    left_x, right_x = at(at_left, x_mm, 0.0), at(at_right, x_mm, wall_mm)
    reach = (x_mm - left_x) / (right_x - left_x)
    # With no place along the wall a string still stands at its stand-off, unless an end says otherwise.
    line = left_mm + (right_mm - left_mm) * np.where(left_mm != right_mm, reach, 0.0)
    return replace(read, mm=read.mm - line).where(~(at_left | at_right))


def _to_lowest(read: _Read, places: _Places, lowest_mm: Array) -> _Read:
    """Deflection less that of the lowest mark of the column in the same set-up; not known where that was not read.

    lowest_mm: by place of a mark, the height of the lowest mark of its column.
    """
    at_base = places.z_mm[read.place] == lowest_mm[read.place]
    group = columns.numbered(read.wall, read.setup, places.column[read.place])[0]
    base = columns.means(np.where(at_base, read.mm, np.nan), group)[group]
    return replace(read, mm=read.mm - base).where(~at_base)


def _lowest(marks: pa.Table, walls: pa.Table, places: _Places, last: Array) -> Array:
    """By place of a mark, the height of the lowest of its column that stands on the day of its wall's latest visit."""
    wall = columns.places(marks, walls, _WALL)
    day = _day(np.append(last, -np.inf))[wall]
    gone = (columns.days(marks["retired_on"]) < day) | (columns.days(marks["set_on"]) > day)
    column, firsts = columns.numbered(wall, places.column[:-1])
    standing = (wall >= 0) & ~gone & np.isfinite(day) & ~np.isnan(places.z_mm[:-1])
    lowest = np.full(len(firsts), np.inf)
    np.minimum.at(lowest, column[standing], places.z_mm[:-1][standing])
    unknown = places.column[:-1] == places.column[-1]
    return np.append(np.where(unknown, np.nan, lowest[column]), np.nan)


def _changed(events: pa.Table | None, walls: pa.Table, visits: _Visits) -> Flags:
    """Whether a reference of each wall was changed from the day of its first visit to that of its latest (walls,)."""
    changed = np.zeros(len(walls), dtype=bool)
    if events is not None:
        of_kind = events.filter(pc.equal(events["kind"], pa.scalar(EventKind.REFERENCE_CHANGE.value)))
        wall, day = columns.places(of_kind, walls, _WALL), columns.days(of_kind["event_date"])
        within = (wall >= 0) & (day >= _day(visits.first)[wall]) & (day <= _day(visits.last)[wall])
        changed[wall[within]] = True
    return changed


def _since_zero(read: _Read, first: _Read, zero_mm: Array) -> _Read:
    """Zero total plus the change since the wall's first visit, for marks read by distance meter at both.

    first: what was read by it at that visit. zero_mm: the zero total of each wall, NaN where the change is not known.
    """
    both = columns.numbered(np.append(read.wall, first.wall), np.append(read.name, first.name))[0]
    now = np.arange(len(both)) < len(read.mm)
    before = columns.means(np.where(now, np.nan, np.append(read.mm, first.mm)), both)[both[now]]
    return replace(read, mm=zero_mm[read.wall] + read.mm - before)


def _largest(parts: Sequence[_Read]) -> _Read:
    """The largest known total of each wall that has one, a mark's the mean of its set-ups by one method."""
    read = replace(parts[0], **{each.name: np.concatenate([getattr(part, each.name) for part in parts])
                                for each in fields(_Read)})  # fmt: skip
    read = read.where(~np.isnan(read.mm))
    group, first = columns.numbered(read.wall, read.method, read.name)
    marks = replace(read.where(first), mm=columns.means(read.mm, group))
    return marks.where(columns.leaders(marks.wall, -marks.mm, marks.name, marks.method))
