"""What is kept of a period's fit so that two periods of one wall can be held against each other.

The newer of two periods starts from the yearly cycle that the older one left, so their estimates are not independent.
With C the newer one's covariance, C_s its prior of the cycle (the older one's posterior, damped by rho) and D the older
one's covariance, the covariance of the newer estimate's errors with the older one's is C[:, s] C_s^-1 rho D[s, :]: what
an error of the older cycle does to the newer estimate. Given the variances this is exact.
"""

from collections.abc import Iterator
from functools import cached_property
from typing import NamedTuple, TypeVar

import numpy as np

from monitor.config import Variances
from monitor.records import dataclass, replace
from monitor.trend.blocks import Layout
from monitor.trend.bounds import Scale
from monitor.trend.cases import Cases, at_held_end
from monitor.trend.columns import Array, Flags
from monitor.trend.fit import Estimate, Season
from monitor.trend.information import Solution
from monitor.trend.portfolio import Fitted
from monitor.trend.shapes import BOW
from monitor.units import DAYS_PER_YEAR

T = TypeVar("T", Estimate, Solution, Season, Scale)


class Line(NamedTuple):
    """A mark by one method on one level: numbers of level and mark, what was taken off the level, shapes as seen.

    mark: as in Cases.marks; number: within the case.
    """

    mark: int
    method: int
    level: int
    number: int
    center_mm: float
    at_held_end: bool
    seen: Array


@dataclass(frozen=True)
class Period:
    """One fitted case on its own: arrays without the leading axis of the block.

    estimate, season (the prior of its cycle), scale: as in the fit. to_base: its marks' rates are relative to the
    wall's base. marks: number within the case of each mark; rate (M, P): the marks' rates as functionals, with
    measured (M,). lines: the oldest first. time0: the day that times count from; last_day: of the last visit that
    counts.
    """

    layout: Layout
    estimate: Estimate
    season: Season
    scale: Scale
    to_base: bool
    marks: dict[int, int]
    rate: Array
    measured: Flags
    lines: list[Line]
    time0: int
    last_day: int

    @cached_property
    def rates(self) -> dict[int, float]:
        """Rate of each mark that is measured, mm/yr."""
        rates = (self.rate @ self.estimate.theta).tolist()
        return {mark: rates[number] for mark, number in self.marks.items() if self.measured[number]}

    def reading(self, line: Line, day: int, cycle_day: int | None = None) -> Array:
        """The reading that a line foretells for a day, less its center, as a functional of the parameters (P,).

        cycle_day: the day whose place in the yearly cycle it has, where that is another.
        """
        layout, seen = self.layout, line.seen
        elapsed = (day - self.time0) / DAYS_PER_YEAR
        cycle = 2 * np.pi * (day if cycle_day is None else cycle_day) / DAYS_PER_YEAR
        functional = np.zeros(layout.size)
        functional[line.level] = 1
        functional[layout.local.start + line.number] = elapsed
        functional[layout.season] = seen[BOW] * np.array([np.cos(cycle), np.sin(cycle)])
        functional[layout.rates] = seen * elapsed
        return functional

    def value(self, functional: Array) -> float:
        """What a functional of the parameters is estimated to be."""
        return float(functional @ self.estimate.theta)

    def variance(self, functional: Array) -> float:
        """Its squared standard error, with the moderated scale."""
        return float(functional @ self.estimate.covariance @ functional * self.scale.variance)

    def determined(self, functional: Array) -> bool:
        """Whether its levels and its rates are determined."""
        found, others = self.estimate, slice(0, self.layout.others)
        on_rates = functional[self.layout.rates] - found.link @ functional[others]
        return bool(found.others.determined(functional[None, others])[0] and found.rates.determined(on_rates[None])[0])


def kept(cases: Cases, done: Fitted, wanted: Flags) -> Iterator[tuple[int, Period]]:
    """The wanted cases (a flag per case) of a block, with their numbers."""
    block, rows = done.block, cases.rows
    own = np.flatnonzero(wanted[block.cases][block.place[0]])
    if not len(own):
        return
    b, last = block.place[0][own], np.zeros(len(block.cases), dtype=np.int64)
    np.maximum.at(last, b, rows.day[block.rows[own]])
    first = np.sort(np.unique(b * block.layout.levels + block.level[own], return_index=True)[1])
    of, row, level = b[first], block.rows[own[first]], block.level[own[first]]
    mark = rows.mark[row]
    columns = (mark, rows.method[row], level, block.mark[own[first]], block.center[of, level], at_held_end(cases, mark))
    lines = list(map(Line, *(column.tolist() for column in columns), cases.seen[row]))
    present, start = np.unique(of, return_index=True)
    for case, since, until in zip(present.tolist(), start, np.append(start[1:], len(of)), strict=True):
        yield int(block.cases[case]), _period(done, case, lines[since:until], int(last[case]))


def cross(newer: Period, older: Period, carry: float) -> Array:
    """Covariance (P newer, P older), before moderation, of the errors of two periods, the one following the other."""
    new, old = newer.layout.season, older.layout.season
    answers = newer.estimate.covariance[:, new] @ np.linalg.inv(newer.season.covariance)
    return np.asarray(carry * answers @ older.estimate.covariance[old, :])


def carry(variances: Variances, periods: int) -> float:
    """How much of the yearly cycle stays over so many reinforcements."""
    return float(variances.season_carry**periods)


def _period(done: Fitted, b: int, lines: list[Line], last_day: int) -> Period:
    fit = done.fit
    solved = {name: _at(getattr(fit.estimate, name), b) for name in ("others", "rates")}
    return Period(
        layout=done.block.layout,
        estimate=replace(_at(fit.estimate, b), **solved),
        season=_at(done.season, b),
        scale=_at(done.scale, b),
        to_base=bool(fit.to_base[b]),
        marks={line.mark: line.number for line in lines},
        rate=fit.mark_functional[b],
        measured=fit.mark_measured[b],
        lines=lines,
        time0=int(done.block.time0[b]),
        last_day=last_day,
    )


def _at(whole: T, b: int) -> T:
    """One case of arrays that lead with the case; what is no array is left as it is."""
    values = {name: value[b] if isinstance(value, np.ndarray) else value for name, value in vars(whole).items()}
    return type(whole)(**values)
