"""What visits can show: pure functions of standard errors, which depend on dates, marks and instruments, not readings.

`se` is the moderated standard error of a rate in mm/yr, `dof` its degrees of freedom (inf where the noise is known).
"""

from collections.abc import Sequence
from datetime import date
from functools import cache

import numpy as np
from scipy import optimize, stats

from monitor.config import Rules
from monitor.errors import TrendError
from monitor.trend.columns import Array, Flags, Whole
from monitor.trend.schedule import add_months

LEVEL = 0.95
"""Level of each one-sided bound."""
POWER = 0.80
"""Chance that a planned visit should give of settling what it is planned for."""


@cache
def noncentrality(dof: float, level: float = LEVEL, power: float = POWER) -> float:
    """How many standard errors a rate must lie beyond a limit so that its bound passes the limit with chance `power`.

    Exact, by the non-central t: the upper tail alone, so that a two-sided test is `level` = 0.975 with its negligible
    other tail dropped (the distribution function there is not computable in floats).
    """
    _between("level", level, 0.5, 1)
    _between("power", power, 0.5, 1)
    if not dof > 0:
        raise TrendError("The degrees of freedom must be above 0.", got=str(dof))
    if np.isinf(dof):
        return float(stats.norm.ppf(level) + stats.norm.ppf(power))
    critical = stats.t.ppf(level, dof)
    # A non-centrality of 0 has the power 1 - level; one this large has more than any power below 1 - 1e-6.
    top = critical * (1 + 8 / np.sqrt(dof)) + 8
    return float(optimize.brentq(lambda nc: stats.nct.sf(critical, dof, nc) - power, 0.0, top, xtol=1e-10))


def quick_noncentrality(dof: float, level: float = LEVEL, power: float = POWER) -> float:
    """`noncentrality` by quantiles alone: t of the level plus z of the power (1 % small at 10 degrees of freedom)."""
    if not dof > 0:
        raise TrendError("The degrees of freedom must be above 0.", got=str(dof))
    return float(stats.t.ppf(level, dof) + stats.norm.ppf(power))


def detectable_rate(se: float, dof: float, threshold: float = 0.0) -> float:
    """Smallest true rate, mm/yr, whose lower bound passes `threshold` with 80 % chance."""
    _telling(se)
    return threshold + noncentrality(dof) * se


def can_be_holding(se: float, dof: float, threshold: float, rate: float = 0.0) -> bool:
    """Whether a wall of that true rate (0: truly still) has its upper bound below `threshold` with 80 % chance."""
    _telling(se)
    return noncentrality(dof) * se <= threshold - rate


def first_settling(
    planned: Sequence[date], ses: Sequence[float], dofs: Sequence[float], threshold: float
) -> date | None:
    """First planned day by which a truly still wall is called holding with 80 % chance; None where no planned day does.

    ses, dofs: the standard error and the degrees of freedom of the rate once that day's visit is made.
    """
    for day, se, dof in zip(planned, ses, dofs, strict=True):
        if can_be_holding(se, dof, threshold):
            return day
    return None


def earliest_holding(first_visit: Array, visits: Whole, planned: Array, rules: Rules) -> Array:
    """First planned day on which a period has visits and months enough to be called holding, whatever they show.

    For periods in which nothing was read yet, so that no design foretells what their visits show. Days are whole
    numbers since 1970-01-01.

    first_visit: the first visit that counts (walls,), NaN where there is none yet; visits: those that count so far;
    planned: days of the visits to come (walls, planned), rising, NaN for one that does not count. Returns (walls,), NaN
    where the planned visits are too few.
    """
    counts = ~np.isnan(planned)
    made = visits[:, None] + counts.cumsum(axis=1)
    first = np.where(np.isnan(first_visit), np.fmin.reduce(planned, axis=1, initial=np.nan), first_visit)
    ready = counts & enough(first[:, None], made, planned, rules)
    return np.fmin.reduce(np.where(ready, planned, np.nan), axis=1, initial=np.nan)


def enough(first_visit: Array, visits: Whole, last_visit: Array, rules: Rules) -> Flags:
    """Whether visits that count, from the first day to the last, are enough for holding, whatever they show."""
    return (visits >= rules.holding_visits) & (last_visit >= add_months(first_visit, rules.holding_months))


def _telling(se: float) -> None:
    if not (np.isfinite(se) and se > 0):
        raise TrendError("A standard error must be a number above 0.", got=str(se))


def _between(name: str, value: float, low: float, high: float) -> None:
    if not low < value < high:
        raise TrendError(f"The {name} must lie between {low} and {high}.", got=str(value))
