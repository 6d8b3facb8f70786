"""What the visits to come would show: the readings so far with planned ones behind them, through the same engine.

The planned visits are laid behind the wall's own, each with the marks, methods and set-ups of its latest full visit and
readings of no meaning (designs). The wall's residual scale is the one known so far.
"""

from collections.abc import Iterator
from datetime import date

import numpy as np
import pyarrow as pa

from monitor.config import Rules, Settings, Variances
from monitor.records import dataclass, replace
from monitor.schema.arrays import array_of
from monitor.terms import Part as DayPart
from monitor.trend.blocks import Packer
from monitor.trend.cases import WALL, Cases, cases_of, packed
from monitor.trend.coded import PARTS, Coded, Read
from monitor.trend.columns import Rows, Whole, dates, day_number, having, places
from monitor.trend.designs import Design, Laid, Seen, Short, starting
from monitor.trend.fit import Season, unknown_season
from monitor.trend.layouts import alike
from monitor.trend.parts import Part, Starts
from monitor.trend.schedule import intervals, planned_visits, with_months
from monitor.trend.shapes import Array, Flags
from monitor.trend.variances import LEAST

HORIZON = 8
"""Planned visits that are looked ahead."""

_RECENT = 3
"""Visits among which the one with most marks stands for a full visit (the newest of several alike)."""


@dataclass(frozen=True)
class Known:
    """What the readings so far told of each case: covariance of the cycle's prior, residual scale (sum and dof)."""

    season: Array
    sum: Array
    dof: Array

    @classmethod
    def nothing(cls, cases: Cases, variances: Variances) -> "Known":
        """What is known of cases before any reading."""
        count = len(cases.table)
        dof = np.full(count, variances.scale_dof)
        return cls(unknown_season(variances, count).covariance, dof * variances.scale, dof)

    def learn(self, part: Part, settled: Flags) -> None:
        """Take in the fits of a part's settled cases (B,)."""
        of = part.cases[settled]
        self.season[of] = part.before.covariance[settled]
        self.sum[of], self.dof[of] = part.scale.sum[settled], part.scale.dof[settled]


@dataclass(frozen=True)
class Future:
    """Cases of equal shape with their planned visits; the arrays lead with the case.

    base: their numbers in the cases they were made from. day (B, V): of each visit, the planned ones behind the `now`
    visits that were made; planned: number of planned visits that count for the rate. scale (variance) and dof: as known
    now; threshold: mm/yr.
    """

    base: Whole
    design: Design
    day: Array
    now: Whole
    planned: Whole
    scale: Array
    dof: Array
    threshold: Array

    def fit(self, visits: Whole, local_variance: Array, *, twice: bool = False) -> Seen:
        """The fit once that many planned visits (B,) are made, or the first of them with two set-ups where `twice`.

        local_variance (B,): of the local deviations, mm^2/yr^2.
        """
        if twice:
            return self.design.fit_twice(self.now, local_variance)
        return self.design.fit(self.now + visits, local_variance)

    def fits_from_each_start(self, visits: Whole, local_variance: Array) -> tuple[Starts, Flags]:
        """The same from each visit on, shapes (B, V, ...), and which visits are starting visits: all but the newest."""
        made = self.now + visits
        return self.design.fits_from_each_start(made, local_variance), np.arange(starting(made)) < (made - 1)[:, None]


def planned_days(wall_results: pa.Table, walls: pa.Table, judged_on: date, rules: Rules) -> pa.Table:
    """Days of the visits to come of every current period: house, wall, visit_on, number (0 for the next visit).

    wall_results: needs house, wall, is_current, started_on, last_visit. A visit that is due already is made on the day
    of judging.
    """
    rows = Rows(with_months(wall_results, walls))
    current = rows.only(rows.flag("is_current"))
    started, last = current.day("started_on"), current.day("last_visit")
    planned = planned_visits(started, last, intervals(current), rules, not_before=judged_on, count=HORIZON)
    case, number = np.nonzero(~np.isnan(planned))
    of = wall_results.select(WALL).take(array_of(current.at[case]))
    return having(of, visit_on=dates(planned[case, number]), number=array_of(number.astype(np.int32)))


def brought_forward(ahead: pa.Table, wall_results: pa.Table, judged_on: date) -> pa.Table:
    """The days of visits to come of those walls alone whose next visit is due sooner than their schedule has it.

    ahead: as planned_days gives it; wall_results: judged, with the day it is due, on which or, where that is past, on
    the day of judging the next visit is made; the later ones stand.
    """
    current = wall_results.filter(array_of(Rows(wall_results).flag("is_current")))
    days, at = Rows(ahead), places(ahead, current, WALL)
    due = np.where(at < 0, np.nan, np.append(Rows(current).day("due_on"), np.nan)[at])
    sooner, planned = np.maximum(due, day_number(judged_on)), days.day("visit_on")
    earlier = (days.count("number") == 0) & (sooner < planned)
    moved = having(ahead, visit_on=dates(np.where(earlier, sooner, planned)))
    return moved.filter(array_of(places(ahead, ahead.filter(array_of(earlier)), WALL) >= 0))


def futures(cases: Cases, known: Known, facts: Coded, ahead: pa.Table, settings: Settings) -> Iterator[Future]:
    """The current cases of walls with days ahead in which anything was read, block by block, with their planned visits.

    facts: those that the cases are of; ahead: as planned_days gives it.
    """
    walls = pa.table({"house": cases.walls.house, "wall": cases.walls.wall})
    wall, day = places(ahead, walls, WALL), Rows(ahead).day("visit_on")
    planned = np.zeros(len(cases.walls.row), dtype=bool)
    planned[wall[wall >= 0]] = True
    current = (cases.table.is_current & planned[cases.table.wall])[cases.rows.case]
    template = _standing(cases, _full_visit(cases, current))
    if not len(template[0]):
        return
    made = np.flatnonzero(current)
    typed = facts.read.typed[np.searchsorted(facts.read.reading, cases.rows.reading)]
    read = _read(cases, typed, made, template, wall, day)
    extended = cases_of(replace(facts, read=read), settings.rules)
    is_planned = extended.rows.reading >= len(made)
    base = np.searchsorted(*_keys(cases, extended))
    wanted = np.flatnonzero(extended.table.is_current & planned[extended.table.wall])
    packer = Packer(extended, settings.variances)
    short = packer.complete[wanted]
    days = extended.rows.day.astype(np.float64)
    for each in alike(packer, wanted[short]):
        own = base[each.cases]
        rows, day, _ = packer.grid(each.cases, each.visits, each.marks)
        ahead_too = is_planned[rows.reshape(len(own), each.visits, each.marks)[:, :, 0]]
        season = Season(np.zeros((len(own), 2)), known.season[own])
        yield _future(cases, known, own, Short.of(each, day, season), day.T, ahead_too)
    for block in packer.blocks(wanted[~short]):
        own, shape = base[block.cases], block.weight.shape[:2]
        at, ahead_too = np.full(shape, np.nan), np.zeros(shape, dtype=bool)
        at[block.place[:2]], ahead_too[block.place[:2]] = days[block.rows], is_planned[block.rows]
        season = Season(np.zeros((len(own), 2)), known.season[own])
        yield _future(cases, known, own, Laid.of(block, season), at, ahead_too)


def _future(cases: Cases, known: Known, base: Whole, design: Design, day: Array, ahead: Flags) -> Future:
    """day (B, V): NaN where there is no visit; ahead (B, V): the planned ones."""
    return Future(
        base=base,
        design=design,
        day=day,
        now=(~np.isnan(day) & ~ahead).sum(axis=1),
        planned=ahead.sum(axis=1),
        scale=known.sum[base] / known.dof[base],
        dof=known.dof[base],
        threshold=cases.table.threshold[base],
    )


def _keys(cases: Cases, extended: Cases) -> tuple[Whole, Whole]:
    """One number for the wall and period of each case, of the cases and of the extended ones."""
    both = [
        np.concatenate(pair) for pair in zip(*((x.table.wall, x.table.period) for x in (cases, extended)), strict=True)
    ]
    key = packed(*both)
    return key[: len(cases.table)], key[len(cases.table) :]


def local_variance(variances: Variances, rate: Array) -> Array:
    """Variance of the local deviations of walls whose largest rate is known (B,), mm^2/yr^2."""
    return np.asarray(np.maximum(variances.local_mm_per_year**2, LEAST) + (variances.local_share * rate) ** 2)


def _full_visit(cases: Cases, current: Flags) -> Whole:
    """Rows of the latest full visit of each case, each mark once by each method; current: rows (rows,) to look at."""
    rows = np.flatnonzero(current)
    if not len(rows):
        return rows
    case, visit, mark = cases.rows.case[rows], cases.rows.visit[rows], cases.rows.mark[rows]
    seen = np.unique(packed(visit, mark), return_index=True)[1]
    visits, size = np.unique(visit[seen], return_counts=True)
    of = case[np.searchsorted(visit, visits)]
    newer = np.searchsorted(of, of, side="right") - np.arange(len(of))
    recent = newer <= _RECENT
    order = np.lexsort((visits[recent], size[recent], of[recent]))
    last = np.append(np.diff(of[recent][order]) != 0, True)
    full = visits[recent][order][last]
    rows = rows[np.isin(visit, full)]
    first = np.unique(packed(cases.rows.case[rows], cases.rows.mark[rows], cases.rows.method[rows]), return_index=True)
    return rows[np.sort(first[1])]


def _standing(cases: Cases, template: Whole) -> tuple[Whole, Whole]:
    """Rows of the template and the marks they stand for: retired ones left out, or read as what replaces them."""
    mark = cases.rows.mark[template]
    mark = np.where(np.isnan(cases.marks.retired_on[mark]), mark, cases.marks.heir[mark])
    template, mark = template[mark >= 0], mark[mark >= 0]
    first = np.sort(np.unique(packed(mark, cases.rows.method[template]), return_index=True)[1])
    return template[first], mark[first]


def _read(cases: Cases, typed: Whole, made: Whole, template: tuple[Whole, Whole], wall: Whole, day: Array) -> Read:
    """The rows made so far, and behind them those of the planned visits: the template on each of its wall's days.

    typed: set-ups of the cases' rows as they were typed.
    """
    rows, (of, mark) = cases.rows, template
    own = cases.marks.wall[mark]
    order = np.argsort(wall, kind="stable")
    first, last = np.searchsorted(wall[order], own), np.searchsorted(wall[order], own, side="right")
    size = last - first
    planned = np.repeat(np.arange(len(of)), size)
    visit = order[np.arange(len(planned)) - np.repeat(np.cumsum(size) - size, size) + np.repeat(first, size)]
    both = np.concatenate([made, of[planned]])
    now = np.arange(len(both)) < len(made)
    marks = np.concatenate([rows.mark[made], mark[planned]])
    return Read(
        ids=pa.array([""] * len(both)),
        reading=np.arange(len(both)),
        held=np.zeros(len(both), dtype=bool),
        wall=cases.marks.wall[marks],
        mark=marks,
        method=rows.method[both],
        typed=typed[both],
        part=np.where(now, rows.part[both], PARTS[DayPart.NONE]),
        day=np.concatenate([rows.day[made], day[visit].astype(np.int64)]),
        deflection_mm=rows.deflection_mm[both],
        step_mm=rows.step_mm[both],
        error_factor=np.where(now, rows.error_factor[both], 1.0),
    )
