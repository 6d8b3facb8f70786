"""What is kept of a period's fit so that two periods of one wall can be held against each other.

The newer of two periods starts from the yearly cycle that the older one left, so their estimates are not independent.
With C the newer one's covariance, C_s its prior of the cycle (the older one's posterior, damped by rho) and D the older
one's covariance, the covariance of the newer estimate's errors with the older one's is C[:, s] C_s^-1 rho D[s, :]: what
an error of the older cycle does to the newer estimate. Given the variances this is exact.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor.config import Variances
from monitor.trend.blocks import Layout
from monitor.trend.bounds import Scale
from monitor.trend.cases import Cases
from monitor.trend.fit import Estimate, Season
from monitor.trend.information import Solution
from monitor.trend.portfolio import Fitted
from monitor.trend.shapes import BOW, Array, Flags
from monitor.units import DAYS_PER_YEAR

Whole = npt.NDArray[np.intp]
_PLACE = ["x_mm", "length_mm", "left_free", "right_free"]

T = TypeVar("T", Estimate, Solution, Season, Scale)


@dataclass(frozen=True)
class Period:
    """One fitted case on its own: arrays without the leading axis of the block.

    estimate, season (the prior of its cycle), scale: as in the fit. to_base: its marks' rates are relative to the
    wall's base. marks: number of each mark; rate (M, P): the marks' rates as functionals, with measured (M,).
    lines: one row per mark, method and level, oldest first: mark, method_code, level, number (of the mark), center,
    x_mm, length_mm, left_free, right_free. seen: the shapes of those rows (rows, 3). time0: the day that times count
    from; last_day: the day of the last visit that counts.
    """

    layout: Layout
    estimate: Estimate
    season: Season
    scale: Scale
    to_base: bool
    marks: dict[str, int]
    rate: Array
    measured: Flags
    lines: pd.DataFrame
    seen: Array
    time0: int
    last_day: int

    def reading(self, line: int, day: int, cycle_day: int | None = None) -> Array:
        """The reading that a line foretells for a day, less its center, as a functional of the parameters (P,).

        cycle_day: the day whose place in the yearly cycle it has, where that is another.
        """
        layout, row, seen = self.layout, self.lines.iloc[line], self.seen[line]
        elapsed = (day - self.time0) / DAYS_PER_YEAR
        cycle = 2 * np.pi * (day if cycle_day is None else cycle_day) / DAYS_PER_YEAR
        functional = np.zeros(layout.size)
        functional[int(row["level"])] = 1
        functional[layout.local.start + int(row["number"])] = elapsed
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


def kept(cases: Cases, done: Fitted, wanted: npt.NDArray[np.bool_]) -> Iterator[tuple[int, Period]]:
    """The wanted cases (a flag per case) of a block, with their numbers."""
    block = done.block
    chosen = np.flatnonzero(wanted[block.cases])
    if not len(chosen):
        return
    rows = cases.rows.iloc[block.rows][["mark", "method_code", *_PLACE]]
    rows = rows.assign(b=block.place[0], level=block.level, number=block.mark, row=block.rows)
    rows = rows[np.isin(block.place[0], chosen)].drop_duplicates(["b", "mark", "method_code", "level"])
    for _, lines in rows.groupby("b", sort=True):
        b = int(lines["b"].iloc[0])
        yield int(block.cases[b]), _period(cases, done, b, lines.reset_index(drop=True))


def cross(newer: Period, older: Period, carry: float) -> Array:
    """Covariance (P newer, P older), before moderation, of the errors of two periods, the one following the other."""
    new, old = newer.layout.season, older.layout.season
    answers = newer.estimate.covariance[:, new] @ np.linalg.inv(newer.season.covariance)
    return np.asarray(carry * answers @ older.estimate.covariance[old, :])


def carry(variances: Variances, periods: int) -> float:
    """How much of the yearly cycle stays over so many reinforcements."""
    return float(variances.season_carry**periods)


def _period(cases: Cases, done: Fitted, b: int, lines: pd.DataFrame) -> Period:
    fit, block = done.fit, done.block
    return Period(
        layout=block.layout,
        estimate=replace(_at(fit.estimate, b), others=_at(fit.estimate.others, b), rates=_at(fit.estimate.rates, b)),
        season=_at(done.season, b),
        scale=_at(done.scale, b),
        to_base=bool(fit.to_base[b]),
        marks={mark: int(number) for mark, number in zip(lines["mark"], lines["number"], strict=True)},
        rate=fit.mark_functional[b],
        measured=fit.mark_measured[b],
        lines=lines.assign(center=block.center[b, lines["level"]]),
        seen=cases.seen[lines["row"].to_numpy(np.intp)],
        time0=int(block.time0[b]),
        last_day=int(cases.rows["day"].iloc[block.rows[block.place[0] == b]].max()),
    )


def _at(whole: T, b: int) -> T:
    """One case of arrays that lead with the case; what is no array is left as it is."""
    values = {field.name: getattr(whole, field.name) for field in fields(whole)}
    return replace(whole, **{name: value[b] for name, value in values.items() if isinstance(value, np.ndarray)})
