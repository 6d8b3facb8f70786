"""Shares and medians with the error that their number of walls leaves them."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special, stats

from monitor.records import dataclass

LEVEL = 0.95
"""Level of the two-sided interval beside every number of a study."""


@dataclass(frozen=True)
class Share:
    """A share, what it is a share of (a count), and its interval; NaN where there is nothing to take a share of."""

    value: float
    of: int
    low: float
    high: float


@dataclass(frozen=True)
class Months:
    """A median (or another quantile) in months with its interval; inf where that many are not found in time."""

    value: float
    of: int
    low: float
    high: float


UNKNOWN = Share(np.nan, 0, np.nan, np.nan)


def share(hits: ArrayLike) -> Share:
    """The share of True, with the exact binomial interval (Clopper & Pearson 1934)."""
    found = np.asarray(hits, dtype=bool)
    return _interval(float(found.mean()), len(found), float(len(found))) if len(found) else UNKNOWN


def clustered_share(hits: ArrayLike, counts: ArrayLike) -> Share:
    """The share of `hits` in `counts`, one entry of each per wall: a wall's marks (or months) are not independent.

    The interval is the binomial one for as many independent trials as would give the variance between walls (of the
    ratio estimator), at most the walls themselves where every wall agrees.
    """
    hit, count = np.asarray(hits, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    hit, count = hit[count > 0], count[count > 0]
    walls, total = len(count), float(count.sum())
    if not walls:
        return UNKNOWN
    value = float(hit.sum() / total)
    variance = float(((hit - value * count) ** 2).sum()) / total**2 * walls / max(walls - 1, 1)
    trials = value * (1 - value) / variance if variance > 0 else float(walls)
    return _interval(value, round(total), min(trials, total))


def months(found_after: Sequence[float], part: float = 0.5) -> Months:
    """The month by which `part` of all are found (inf: not found), with the exact interval of that order statistic."""
    values = np.sort(np.asarray(found_after, dtype=np.float64))
    n = len(values)
    if not n:
        return Months(np.nan, 0, np.nan, np.nan)
    tail = (1 - LEVEL) / 2
    low, high = int(stats.binom.ppf(tail, n, part)), int(stats.binom.ppf(1 - tail, n, part))
    at = min(max(int(np.ceil(part * n)) - 1, 0), n - 1)
    return Months(float(values[at]), n, float(values[max(low - 1, 0)]), float(values[high]) if high < n else np.inf)


def poisson_interval(count: int) -> tuple[float, float]:
    """Exact interval of the mean of a count (Garwood 1936)."""
    tail = (1 - LEVEL) / 2
    low = float(stats.chi2.ppf(tail, 2 * count)) / 2 if count else 0.0
    return low, float(stats.chi2.ppf(1 - tail, 2 * count + 2)) / 2


def noise_dof(spread: float) -> float:
    """Degrees of freedom of a chi-square whose logarithm spreads as that of a wall's noise variance does.

    spread: sd of the logarithm of the walls' noise sds; var log chi^2(d) = trigamma(d / 2) = (2 spread)^2.
    """
    if spread <= 0:
        return KNOWN_DOF
    wanted = (2 * spread) ** 2
    return float(optimize.brentq(lambda dof: float(special.polygamma(1, dof / 2)) - wanted, 1e-3, KNOWN_DOF))


def noise_spread(dof: float) -> float:
    """The reverse of `noise_dof`."""
    return float(np.sqrt(special.polygamma(1, dof / 2))) / 2


KNOWN_DOF = 1e5
"""Degrees of freedom of a noise scale that is as good as known."""


def _interval(value: float, of: int, trials: float) -> Share:
    tail = (1 - LEVEL) / 2
    hits = value * trials
    low = float(stats.beta.ppf(tail, hits, trials - hits + 1)) if hits > 0 else 0.0
    high = float(stats.beta.ppf(1 - tail, hits + 1, trials - hits)) if hits < trials else 1.0
    return Share(value, of, low, high)
