"""What visits can show: pure functions of standard errors, which depend on dates, marks and instruments, not readings.

`se` is the moderated standard error of a rate in mm/yr, `dof` its degrees of freedom (inf where the noise is known);
both are arrays or numbers. Days are whole numbers since 1970-01-01, NaN where there is none.
"""

import numpy as np
import numpy.typing as npt

from monitor.config import Rules
from monitor.errors import TrendError
from monitor.trend import special
from monitor.trend.columns import Array, Flags, Whole
from monitor.trend.schedule import add_months

LEVEL = 0.95
"""Level of each one-sided bound."""
POWER = 0.80
"""Chance that a planned visit should give of settling what it is planned for."""

_STEPS = 3
_REACH = 1e-5


def noncentrality(dof: npt.ArrayLike, level: float = LEVEL, power: float = POWER) -> Array:
    """How many standard errors a rate must lie beyond a limit so that its bound passes the limit with chance `power`.

    Exact, by the non-central t: the upper tail alone, so that a two-sided test is `level` = 0.975 with its negligible
    other tail dropped (the distribution function there is not computable in floats).
    """
    _between("level", level, 0.5, 1)
    _between("power", power, 0.5, 1)
    dofs = np.asarray(dof, dtype=np.float64)
    if not np.all(dofs > 0):
        raise TrendError("The degrees of freedom must be above 0.", got=str(dof))
    known = np.isinf(dofs)
    distinct, number = np.unique(np.where(known, 1.0, dofs), return_inverse=True)
    critical = special.stdtrit(distinct, level)
    # The library's inverse is good to 1e-4 or better; a few of Newton's steps on its distribution function are exact.
    found = special.nctdtrinc(distinct, 1 - power, critical)
    for _ in range(_STEPS):
        value, beyond = (special.nctdtr(distinct, at, critical) for at in (found, found * (1 + _REACH)))
        found = found - (value - (1 - power)) * found * _REACH / (beyond - value)
    return np.where(known, special.ndtri(level) + special.ndtri(power), found[number].reshape(dofs.shape))


def detectable_rate(se: npt.ArrayLike, dof: npt.ArrayLike, threshold: npt.ArrayLike = 0.0) -> Array:
    """Smallest true rate, mm/yr, whose lower bound passes `threshold` with 80 % chance."""
    ses = np.asarray(se, dtype=np.float64)
    if not np.all(np.isfinite(ses) & (ses > 0)):
        raise TrendError("A standard error must be a number above 0.", got=str(se))
    return np.asarray(np.add(threshold, noncentrality(dof) * ses))


def earliest_holding(first_visit: Array, visits: Whole, planned: Array, rules: Rules) -> Array:
    """First planned day on which a period has visits and months enough to be called holding, whatever they show.

    For periods in which nothing was read yet, so that no design foretells what their visits show.

    first_visit: the first visit that counts (walls,), NaN where there is none yet; visits: those that count so far;
    planned: days of the visits to come (walls, planned), rising, NaN for one that does not count. Returns (walls,), NaN
    where the planned visits are too few.
    """
    counts = ~np.isnan(planned)
    made = visits[:, None] + counts.cumsum(axis=1)
    first = np.where(np.isnan(first_visit), np.fmin.reduce(planned, axis=1, initial=np.nan), first_visit)
    ready = counts & enough(first[:, None], made, planned, rules)
    return np.asarray(np.fmin.reduce(np.where(ready, planned, np.nan), axis=1, initial=np.nan))


def enough(first_visit: Array, visits: Whole, last_visit: Array, rules: Rules) -> Flags:
    """Whether visits that count, from the first day to the last, are enough for holding, whatever they show."""
    return (visits >= rules.holding_visits) & (last_visit >= add_months(first_visit, rules.holding_months))


def _between(name: str, value: float, low: float, high: float) -> None:
    if not low < value < high:
        raise TrendError(f"The {name} must lie between {low} and {high}.", got=str(value))
