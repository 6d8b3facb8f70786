"""What a reinforcement did: the rate after it less the rate before, the step at the work, the take-up, each apart.

Difference of the rates: two fits of one wall share its yearly cycle and nothing else, and that is reckoned with exactly
(periods.cross). Each fit has a residual scale of its own; the difference's t has the degrees of freedom of Welch and
Satterthwaite (Satterthwaite 1946, Biometrics Bulletin 2, 110-114). The step at the work is what was read after it on
its day less what the period before foretells for that day, which holds the reading before the work. Where nothing was
read after it on its day, it is what the period after tells of that day, and the take-up is in it.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.config import Settings, Variances
from monitor.records import dataclass, replace
from monitor.schema.arrays import array_of
from monitor.terms import EventKind, LengthUnit, Part
from monitor.trend import bounds, columns, repair_words
from monitor.trend.aftermath import Contrast, Read, Reading, read_after, waiting
from monitor.trend.cases import WALL, Cases
from monitor.trend.columns import Array, Flags, Whole
from monitor.trend.periods import Period, carry, cross
from monitor.trend.repair_words import Row
from monitor.trend.variances import METHODS
from monitor.units import DAYS_PER_YEAR

PULL_BACK = "pull-back"
TOGETHER = "surface step and pull-back together"
_TIES = 9
"""Decimals of a rate or a swing: what differs beyond them are rounding errors, which must not choose."""
_WET = ("wet", "frost")
_TOLD = {"before": "mm_per_year", "after": "mm_per_year", "difference": "mm_per_year", "step": "mm", "take_up": "mm"}
"""What is told of a reinforcement, with the unit in the name of its column."""


@dataclass(frozen=True)
class Told:
    """An estimate with its squared standard error and the degrees of freedom of its t."""

    value: float
    variance: float
    dof: float


@dataclass(frozen=True)
class _Repair:
    """One reinforcement: the case after it, the mark it is told of, what is told, and the marks the step is told by.

    told: in the order of _TOLD. inward: whether the fitted cycle stood inward when the mark was last read before.
    """

    case: int
    mark: int
    told: tuple[Told | None, ...]
    step_by: frozenset[int]
    read_after: bool
    inward: bool


def repaired(cases: Cases) -> Flags:
    """A flag per case: whether its wall was reinforced."""
    last = np.zeros(len(cases.walls.row), dtype=np.intp)
    np.maximum.at(last, cases.table.wall, cases.table.period)
    return np.asarray(last[cases.table.wall] > 0)


def table(
    cases: Cases,
    periods: Mapping[int, Period],
    readings: pa.Table,
    events: pa.Table,
    walls: pa.Table,
    settings: Settings,
) -> pa.Table:
    """Table schema.REPAIRS: one row per reinforcement that lies between two periods of which one was fitted.

    periods: the fits by number of case (periods.kept). readings, events, walls: as the assessment takes them.
    """
    starts = np.flatnonzero(cases.table.period > 0)
    if not len(starts):
        return schema.empty("repairs")
    read = waiting(cases, settings.variances)
    made = []
    for case in starts.tolist():
        before, after = periods.get(case - 1) if _follows(cases, case) else None, periods.get(case)
        if before is not None or after is not None:
            made.append(_repair(case, before, after, read.get(case, []), int(cases.table.started_on[case]), settings))
    rows = _rows(cases, made, _untouched(cases, events))
    wet = _strapped_wet(cases, readings, np.array([one.case for one in made], dtype=np.intp))
    units = columns.taken(walls["unit"], cases.walls.row[cases.table.wall[[one.case for one in made]]]).to_pylist()
    span = np.nan_to_num((cases.table.last - cases.table.first) / DAYS_PER_YEAR)
    for row, one, was_wet, unit in zip(rows, made, wet, units, strict=True):
        first_season = (bool(was_wet) or one.inward) and span[one.case] < 1
        row["warning"] = repair_words.warning(row, bool(first_season))
        row["reason"] = repair_words.reason(row, unit or LengthUnit.INCH, settings.rules.take_up_days)
    return pa.Table.from_pylist(rows, schema=schema.REPAIRS)


def _follows(cases: Cases, case: int) -> bool:
    """Whether the case before it is the period before of the same wall."""
    own = cases.table
    return bool(case and own.wall[case - 1] == own.wall[case] and own.period[case - 1] == own.period[case] - 1)


def _rows(cases: Cases, made: Sequence[_Repair], untouched: Mapping[tuple[int, int], set[str]]) -> list[Row]:
    """Rows of the repairs, without their sentences; read_after: whether something was read after the work."""
    case = np.array([one.case for one in made], dtype=np.intp)
    table, names = cases.table, cases.marks.name.to_pylist()
    keys = pa.table({**cases.keys(case), "reinforced_on": columns.dates(table.started_on[case])}).to_pylist()
    bounded = _bounded([told for one in made for told in one.told])
    rows = []
    for number, (one, row) in enumerate(zip(made, keys, strict=True)):
        step = one.told[list(_TOLD).index("step")]
        declared = untouched.get((int(table.wall[one.case]), int(table.started_on[one.case])), set())
        pulled = {names[mark] for mark in one.step_by} <= declared
        row |= {"mark": names[one.mark], "step_kind": "" if step is None else PULL_BACK if pulled else TOGETHER}
        row["read_after"] = one.read_after
        own = bounded[number * len(_TOLD) : (number + 1) * len(_TOLD)]
        for (name, unit), (value, lower, upper) in zip(_TOLD.items(), own, strict=True):
            row |= {f"{name}_{unit}": value, f"{name}_lower": lower, f"{name}_upper": upper}
        rows.append(row)
    return rows


def _bounded(told: Sequence[Told | None]) -> list[tuple[float | None, float | None, float | None]]:
    """Value and one-sided 95 % bounds of each; None where it is not told."""
    known = [each for each in told if each is not None]
    value, variance, dof = np.array([(each.value, each.variance, each.dof) for each in known]).reshape(-1, 3).T
    reach = bounds.quantile(bounds.LEVEL, dof) * np.sqrt(variance)
    found = iter(zip(value.tolist(), (value - reach).tolist(), (value + reach).tolist(), strict=True))
    return [(None, None, None) if each is None else next(found) for each in told]


def _repair(
    case: int, before: Period | None, after: Period | None, read: Sequence[Reading], day: int, settings: Settings
) -> _Repair:
    """Numbers of one reinforcement."""
    mark = _mark(before, after)
    after_work = read_after(read, mark, day, settings.variances)
    step, step_by = _step(before, after, after_work, mark, day, settings.variances)
    told = {
        "before": _rate(before, mark),
        "after": _rate(after, mark),
        "difference": _difference(before, after, mark, settings.variances),
        "step": step,
        "take_up": _take_up(after, after_work, day, settings),
    }
    inward = _inward_half(before, mark)
    return _Repair(case, mark, tuple(told[name] for name in _TOLD), frozenset(step_by), bool(after_work), inward)


def _mark(before: Period | None, after: Period | None) -> int:
    """The mark of the largest rate before that is measured after too; where there is none, of the largest rate at all.

    So that rates are compared of one mark, and the step told of the same. A mark at a corner that a return wall holds
    stands still whatever is done, and is taken only where there is no other.
    """
    fitted = [period for period in (before, after) if period is not None]
    shared = set(fitted[0].rates).intersection(*(period.rates for period in fitted))
    apart = shared - {line.mark for line in fitted[0].lines if line.at_held_end}
    choices = [(fitted[0], apart), (fitted[0], shared), *((period, set(period.rates)) for period in fitted)]
    for period, marks in choices:
        if marks:
            return max(sorted(marks), key=lambda mark: round(period.rates[mark], _TIES))
    return min(fitted[0].marks)


def _rate(period: Period | None, mark: int) -> Told | None:
    if period is None or mark not in period.rates:
        return None
    variance = period.variance(period.rate[period.marks[mark]])
    return Told(period.rates[mark], variance, float(period.scale.dof))


def _difference(before: Period | None, after: Period | None, mark: int, variances: Variances) -> Told | None:
    """Rate after less rate before; None where one is not measured, or they are measured against different things."""
    if before is None or after is None or before.to_base != after.to_base:
        return None
    if mark not in before.rates or mark not in after.rates:
        return None
    return _less(after, after.rate[after.marks[mark]], before, before.rate[before.marks[mark]], variances)


def _less(after: Period, of_after: Array, before: Period, of_before: Array, variances: Variances) -> Told:
    """What one functional of the period after is more than one of the period before it."""
    parts = np.array([after.variance(of_after), before.variance(of_before)])
    together = of_after @ cross(after, before, carry(variances, 1)) @ of_before
    scales = float(np.sqrt(after.scale.variance * before.scale.variance))
    variance = float(parts.sum() - 2 * together * scales)
    dof = welch(parts, np.array([after.scale.dof, before.scale.dof], dtype=np.float64))
    return Told(after.value(of_after) - before.value(of_before), max(variance, 0.0), dof)


def welch(variances: Array, dof: Array) -> float:
    """Degrees of freedom of a sum of independent estimates with these squared standard errors."""
    return float(variances.sum() ** 2 / (variances**2 / dof).sum())


def _step(
    before: Period | None,
    after: Period | None,
    read: Sequence[Read],
    mark: int,
    day: int,
    variances: Variances,
) -> tuple[Told | None, set[int]]:
    """The step at the work, and the marks it is told by."""
    if before is None:
        return None, set()
    for one in read:
        foretold = one.contrast.foretold(before, day, newest=True)
        if foretold is not None:
            scale = before.scale
            variance = before.variance(foretold[1]) + one.variance * float(scale.variance)
            return Told(one.value_mm - foretold[0], variance, float(scale.dof)), set(one.contrast.weights)
    if after is None or read:
        return None, set()
    for method in range(len(METHODS)):
        alone = Contrast(method, {mark: 1.0})
        then, foretold = alone.foretold(after, day, newest=False), alone.foretold(before, day, newest=True)
        if then is not None and foretold is not None:
            told = _less(after, then[1], before, foretold[1], variances)
            return replace(told, value=then[0] - foretold[0]), {mark}
    return None, set()


def _take_up(after: Period | None, read: Sequence[Read], day: int, settings: Settings) -> Told | None:
    """Movement from the reading after the work to the end of the take-up window, the yearly cycle taken off.

    By the line of the period after, drawn back to that end, where it is determined; else by the window's last visit.
    """
    window = settings.rules.take_up_days
    if not window:
        return None
    for one in read:
        line = after and one.contrast.foretold(after, day + window, newest=False, cycle_day=day)
        if after and line:
            variance = after.variance(line[1]) + one.variance * float(after.scale.variance)
            return Told(line[0] - one.value_mm, variance, float(after.scale.dof))
    for one in read:
        if one.later is not None:
            scale = settings.variances.scale
            variance = (one.variance + one.later_variance) * scale
            return Told(one.later - one.value_mm, variance, settings.variances.scale_dof)
    return None


def _untouched(cases: Cases, events: pa.Table) -> dict[tuple[int, int], set[str]]:
    """Names of the marks declared untouched, by number of the wall and day of reinforcement."""
    of_kind = events.filter(pc.equal(events["kind"], pa.scalar(EventKind.REINFORCEMENT.value)))
    wall, day = _walls_of(cases, of_kind), columns.days(of_kind["event_date"])
    found: dict[tuple[int, int], set[str]] = {}
    for at, number, text in zip(wall.tolist(), day.tolist(), of_kind["marks_untouched"].to_pylist(), strict=True):
        if at >= 0 and not np.isnan(number):
            marks, key = set((text or "").split()), (at, int(number))
            found[key] = found.get(key, marks) & marks
    return found


def _strapped_wet(cases: Cases, readings: pa.Table, case: Whole) -> Flags:
    """Whether wet or frost was noted at the last visit before the reinforcement of each of those cases."""
    noted = readings.filter(array_of(~columns.is_text(readings["weather"], "")))
    noted = noted.select([*WALL, "visit_date", "part", "weather"])
    wall, day = _walls_of(cases, noted), columns.days(noted["visit_date"])
    usable = (wall >= 0) & ~np.isnan(day)
    on_day = usable & columns.is_text(noted["part"], Part.BEFORE)
    of, start = cases.table.wall[case], cases.table.started_on[case]
    last = np.full(len(case), -1)
    for rows, until, since in ((usable, start - 1, -np.inf), (on_day, start, start)):
        newest = _newest(np.flatnonzero(rows), wall, day, of, until)
        there = (newest >= 0) & (np.append(day, np.nan)[newest] >= since)
        last = np.where(there, newest, last)
    return np.asarray(np.append(columns.codes(noted["weather"], _WET), -1)[last] >= 0)


def _newest(rows: Whole, wall: Whole, day: Array, of: Whole, until: Array) -> Whole:
    """The last of the rows that is of each wall and of a day up to and with one, -1 for none (walls asked for,)."""
    rows = rows[np.lexsort((day[rows], wall[rows]))]
    low = min(day[rows].min(initial=0.0), until.min(initial=0.0))
    span = max(day[rows].max(initial=0.0), until.max(initial=0.0)) - low + 1
    at = np.searchsorted(wall[rows] * span + day[rows] - low, of * span + until - low, side="right") - 1
    found = np.append(rows, -1)[at]
    return np.where((at >= 0) & (np.append(wall, -1)[found] == of), found, -1)


def _walls_of(cases: Cases, rows: pa.Table) -> Whole:
    """Number of the wall of each row, -1 for one that is not among the cases."""
    walls = pa.table({"house": cases.walls.house, "wall": cases.walls.wall})
    return columns.places(rows, walls, WALL)


def _inward_half(before: Period | None, mark: int) -> bool:
    """Whether the fitted cycle stood inward at the mark when it was last read before the work."""
    if before is None:
        return False
    line = [line for line in before.lines if line.mark == mark][-1:]
    season = before.layout.season
    swung = [before.reading(each, before.last_day)[season] @ before.estimate.theta[season] for each in line]
    return any(round(float(mm), _TIES) > 0 for mm in swung)
