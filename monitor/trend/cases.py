"""From facts to cases: one case is a wall in one period, with the readings that its rate is fitted to.

A visit is one date and part of that day. Every reading carries its stretch: the readings of a mark that share one
level. Each method has stretches of its own; readings by two methods on one day are tied by what they share, the day's
wall (rate, cycle, wobble, local deviation), not by a common level. A set-up of the model is one row of a string, one
column of a plumb line, else one typed set-up, within a visit.
"""

from datetime import date
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from monitor.config import END_REACH_MM, Rules
from monitor.records import dataclass, replace
from monitor.schema.arrays import array_of
from monitor.terms import Method
from monitor.trend import coded as facts
from monitor.trend import stretches
from monitor.trend.coded import Coded, Days, Marks, Read, Walls
from monitor.trend.columns import Array, Column, Flags, Whole, dates, different, one, ranks, taken
from monitor.trend.shapes import Array as Shapes
from monitor.trend.stretches import Starts
from monitor.trend.variances import METHODS
from monitor.units import DAYS_PER_YEAR

WALL = ["house", "wall"]
CASE = [*WALL, "period"]
STRING, PLUMB = METHODS.index(Method.STRING), METHODS.index(Method.PLUMB)


@dataclass(frozen=True)
class Table:
    """The cases by wall and period; all (cases,). Days are whole days since 1970-01-01, NaN where there is none.

    wall: number; is_current: the wall's newest period; started_on; method: number of that of the latest visit, -1 where
    nothing was read; visits, visits_all: those that count for the rate, and all; used, held: readings; first, last: of
    the visits that count; last_all: of all; threshold: mm/yr.
    """

    wall: Whole
    period: Whole
    is_current: Flags
    started_on: Array
    method: Whole
    visits: Whole
    visits_all: Whole
    used: Whole
    held: Whole
    first: Array
    last: Array
    last_all: Array
    threshold: Array

    def __len__(self) -> int:
        return len(self.wall)

    def take(self, which: Whole | Flags) -> "Table":
        """Some of them."""
        return Table(**{name: values[which] for name, values in vars(self).items()})


@dataclass(frozen=True)
class Rows:
    """The used readings, sorted by case, visit, method, set-up and mark; all (rows,).

    reading: row of the table of readings; mark, method, part: numbers; stretch: 0, 1, ... per mark, by first day;
    visit, setup: numbers over all rows; placing: the row of a string, the column of a plumb line, else 0; breaks:
    events before it that broke its level; counts: whether it counts for the rate.
    """

    reading: Whole
    case: Whole
    mark: Whole
    method: Whole
    part: Whole
    stretch: Whole
    visit: Whole
    setup: Whole
    placing: Whole
    breaks: Whole
    day: Days
    counts: Flags
    deflection_mm: Array
    step_mm: Array
    error_factor: Array

    def __len__(self) -> int:
        return len(self.case)

    def take(self, which: Whole | Flags) -> "Rows":
        """Some of them."""
        return Rows(**{name: values[which] for name, values in vars(self).items()})


@dataclass(frozen=True)
class Cases:
    """Cases and their used readings; ids: of all readings of the table that they are from."""

    walls: Walls
    marks: Marks
    table: Table
    rows: Rows
    ids: Column

    @cached_property
    def seen(self) -> Shapes:
        """Shapes as each reading's own method sees them, shape (rows, 3)."""
        return seen_by(self.marks, self.rows.mark, self.rows.method)

    def keys(self, cases: Whole | None = None) -> dict[str, pa.Array]:
        """House, wall and period of all cases or of some, as columns."""
        wall, period = (self.table.wall, self.table.period)
        if cases is not None:
            wall, period = wall[cases], period[cases]
        at = array_of(wall)
        return {
            "house": self.walls.house.take(at),
            "wall": self.walls.wall.take(at),
            "period": array_of(period.astype(np.int32)),
        }

    def reading_ids(self, rows: Whole) -> pa.Array:
        """Ids of the readings of some rows."""
        return one(self.ids).take(array_of(self.rows.reading[rows]))

    def mark_names(self, marks: Whole) -> pa.Array:
        """Names of marks by their numbers, '' for -1."""
        return pc.fill_null(taken(self.marks.name, marks), "")

    def told(self) -> dict[str, pa.Array]:
        """Columns of schema.WALL_RESULTS that need no fit, method aside, which is that of the latest visit here."""
        table = self.table
        latest = facts.method_words(table.method)
        usual = self.walls.method.take(array_of(table.wall))
        span = np.nan_to_num((table.last - table.first) / DAYS_PER_YEAR)
        whole = {
            "visits": table.visits,
            "visits_all": table.visits_all,
            "readings_used": table.used,
            "readings_held": table.held,
        }
        return {
            **self.keys(),
            "is_current": array_of(table.is_current),
            "started_on": dates(table.started_on),
            "method": pc.coalesce(latest, usual),
            **{name: array_of(values.astype(np.int32)) for name, values in whole.items()},
            "first_visit": dates(table.first),
            "last_visit": dates(table.last_all),
            "span_years": array_of(span),
            "threshold_mm_per_year": array_of(table.threshold),
        }


def build(
    readings: pa.Table, walls: pa.Table, marks: pa.Table, events: pa.Table, rules: Rules, judged_on: date
) -> Cases:
    """Cases of all walls, from readings and events up to and with `judged_on`.

    Every registered wall has a case for its newest period, also where nothing was read in it. A held reading without a
    date is counted in the newest period. TrendError where a used reading has no deflection, date or known method.
    """
    return cases_of(facts.coded(readings, walls, marks, events, judged_on), rules)


def cases_of(found: Coded, rules: Rules) -> Cases:
    """The same from facts as numbers."""
    read, starts = found.read, stretches.reinforcements(found.events)
    period = stretches.periods(read, starts)
    breaks = stretches.breaks(read, found.events)
    newest = np.zeros(len(found.walls.row), dtype=np.intp)
    np.maximum.at(newest, starts.wall, starts.period)
    size = int(max(newest.max(initial=0), period.max(initial=0))) + 1
    own = read.wall * size + period
    keys = different(np.concatenate([np.arange(len(newest)) * size + newest, own]))
    case = np.searchsorted(keys, own)
    start = _start_of(keys, size, starts)
    rows = _rows(found, case, period, breaks, start, rules)
    held = np.bincount(case[read.held], minlength=len(keys))
    return Cases(found.walls, found.marks, _table(keys, size, rows, held, start, rules), rows, read.ids)


def of_walls(cases: Cases, walls: Flags) -> Cases:
    """The same cases, of which only the readings of some walls (a flag each) count."""
    counts = cases.rows.counts & walls[cases.table.wall[cases.rows.case]]
    return replace(cases, rows=replace(cases.rows, counts=counts))


def at_held_end(cases: Cases, marks: Whole) -> Flags:
    """Whether marks stand at a corner that a return wall holds: such a mark hardly moves, whatever the wall does."""
    x_mm, wall = cases.marks.x_mm[marks], cases.marks.wall[marks]
    left = (x_mm <= END_REACH_MM) & ~cases.walls.left_free[wall]
    right = (x_mm >= cases.walls.length_mm[wall] - END_REACH_MM) & ~cases.walls.right_free[wall]
    return np.asarray(left | right)


def seen_by(marks: Marks, mark: Whole, method: Whole) -> Shapes:
    """Shapes at marks as methods see them, shape (n, 3)."""
    return np.where((method == STRING)[:, None], marks.seen_on_wall[mark], marks.seen[mark])


def latest_method(case: Whole, visit: Whole, method: Whole, cases: int) -> Whole:
    """Method of the newest visit of each case: of several that with most readings, then the first in METHODS."""
    last = np.zeros(cases, dtype=np.intp)
    np.maximum.at(last, case, visit)
    now = visit == last[case]
    size = len(METHODS)
    count = np.bincount(case[now] * size + method[now], minlength=cases * size).reshape(cases, size)
    return np.asarray(count.argmax(axis=1))


def runs(*keys: npt.NDArray[np.integer]) -> Whole:
    """Number rows that are sorted by those keys 0, 1, ...: a new number where any of them changes."""
    new = np.zeros(len(keys[0]), dtype=np.intp)
    for each in keys:
        new[1:] |= each[1:] != each[:-1]
    return np.cumsum(new)


def packed(*keys: npt.NDArray[np.integer]) -> Whole:
    """One whole number per row, in the order of the keys, the first of them first."""
    found = np.zeros(len(keys[0]), dtype=np.intp)
    for each in keys:
        least = int(each.min(initial=0))
        span = int(each.max(initial=0)) - least + 1
        if len(found) and (int(found.max()) + 1) * span >= 2**62:  # beyond what fits: only their order is kept
            found = np.unique(found, return_inverse=True)[1].astype(np.intp)
        found = found * span + (each - least)
    return found


def _start_of(keys: Whole, size: int, starts: Starts) -> Array:
    """Day of the reinforcement that each case starts with, NaN for none."""
    day = np.full(len(keys), np.nan)
    begun = starts.wall * size + starts.period
    there = np.isin(begun, keys)
    day[np.searchsorted(keys, begun[there])] = starts.day[there]
    return day


def _rows(found: Coded, case: Whole, period: Whole, breaks: Whole, start: Array, rules: Rules) -> Rows:
    """The used readings in their order, with what is numbered over all of them."""
    read, marks = found.read, found.marks
    used = np.flatnonzero(~read.held)
    used = used[_order(read, case, used)]
    mark, method, day, part = (values[used] for values in (read.mark, read.method, read.day, read.part))
    of, period, breaks = case[used], period[used], breaks[used]
    visit = runs(of, day, part)
    placing = np.where(method == STRING, marks.line[mark], np.where(method == PLUMB, marks.upright[mark], 0))
    since = day - np.nan_to_num(start[of], nan=-np.inf)
    return Rows(
        reading=read.reading[used],
        case=of,
        mark=mark,
        method=method,
        part=part,
        stretch=_stretch(mark, period, method, breaks, day, part),
        visit=visit,
        setup=_setups(visit, method, read.typed[used], placing),
        placing=placing,
        breaks=breaks,
        day=day,
        counts=~(since < rules.take_up_days),
        deflection_mm=read.deflection_mm[used],
        step_mm=read.step_mm[used],
        error_factor=read.error_factor[used],
    )


def _order(read: Read, case: Whole, used: Whole) -> Whole:
    """Order of the used readings: by case, visit, method, set-up and mark, then by value and id."""
    key = packed(*(values[used] for values in (case, read.day, read.part, read.method, read.typed, read.mark)))
    if np.all(key[1:] > key[:-1]):
        return np.arange(len(used))
    value = read.deflection_mm[used]
    order = np.lexsort((value, key))
    alike = (np.diff(key[order]) == 0) & (np.diff(value[order]) == 0)
    if not alike.any():
        return order
    tied = np.append(alike, False) | np.append(False, alike)
    number = np.zeros(len(used), dtype=np.intp)
    number[order[tied]] = ranks(one(read.ids).take(array_of(read.reading[used[order[tied]]])))
    return np.lexsort((number, value, key))


def _setups(visit: Whole, method: Whole, typed: Whole, placing: Whole) -> Whole:
    """Number of each row's set-up, in the order of visits."""
    group = runs(visit, method, typed)
    split = (group[1:] == group[:-1]) & (placing[1:] != placing[:-1])
    if not split.any():
        return group
    return np.unique(packed(group, placing), return_inverse=True)[1].astype(np.intp)


def _stretch(mark: Whole, period: Whole, method: Whole, breaks: Whole, day: Days, part: Whole) -> Whole:
    """Stretch of each row: 0, 1, ... per mark, by first day."""
    if not (period.any() or breaks.any()) and (len(method) == 0 or (method == method[0]).all()):
        return np.zeros(len(mark), dtype=np.intp)
    _, row, of = np.unique(packed(mark, period, method, breaks), return_index=True, return_inverse=True)
    first_day, first_part = np.full(len(row), np.iinfo(np.int64).max), np.full(len(row), max(facts.PARTS.values()))
    np.minimum.at(first_day, of, day)
    np.minimum.at(first_part, of, part)
    order = np.lexsort((breaks[row], method[row], first_part, first_day, period[row], mark[row]))
    number = np.empty(len(row), dtype=np.intp)
    sorted_mark = mark[row][order]
    number[order] = np.arange(len(row)) - np.searchsorted(sorted_mark, sorted_mark)
    return np.asarray(number[of])


def _table(keys: Whole, size: int, rows: Rows, held: Whole, start: Array, rules: Rules) -> Table:
    """One entry per case with all that needs no fit."""
    wall, period = np.divmod(keys, size)
    count = len(keys)
    first, last = _ends(rows.case, rows.day, count)
    counting = np.flatnonzero(rows.counts)
    first_counting, last_counting = _ends(rows.case[counting], rows.day[counting], count)
    method = np.where(np.isnan(last), -1, latest_method(rows.case, rows.visit, rows.method, count))
    return Table(
        wall=wall,
        period=period,
        is_current=np.append(wall[1:] != wall[:-1], [True] * min(count, 1)).astype(bool),
        started_on=np.where(np.isnan(start), first, start),
        method=method,
        visits=_visits(rows.case[counting], rows.visit[counting], count),
        visits_all=_visits(rows.case, rows.visit, count),
        used=np.bincount(rows.case[counting], minlength=count),
        held=held,
        first=first_counting,
        last=last_counting,
        last_all=last,
        threshold=np.array([rules.threshold(number) for number in range(size)])[period],
    )


def _ends(case: Whole, day: Days, count: int) -> tuple[Array, Array]:
    """First and last day of each case, whose rows are sorted by case and day; NaN for none."""
    first, last = np.searchsorted(case, np.arange(count)), np.searchsorted(case, np.arange(count), side="right")
    there = last > first
    ends = np.full((2, count), np.nan)
    ends[0, there], ends[1, there] = day[first[there]], day[last[there] - 1]
    return ends[0], ends[1]


def _visits(case: Whole, visit: Whole, count: int) -> Whole:
    """Number of visits of each case, whose rows are sorted by visit."""
    return np.bincount(case[np.flatnonzero(np.diff(visit, prepend=-1))], minlength=count)
