"""A share of few walls with its honest range: how many in a hundred, if these were drawn from many like them."""

from scipy.stats import binomtest

from monitor.trend.bounds import LEVEL


def share_range(hits: int, walls: int) -> tuple[float, float]:
    """Lower and upper bound of a share, each one-sided 95 %: exact by the binomial distribution.

    Clopper & Pearson, Biometrika 26 (1934), 404-413. ValueError where there are fewer walls than hits, or none.
    """
    found = binomtest(hits, walls).proportion_ci(confidence_level=2 * LEVEL - 1, method="exact")
    return float(found.low), float(found.high)
