"""How likely honest readings of a still wall would all equal the last visit's."""

from math import erf, exp, pi, sqrt

from monitor.config import Variances
from monitor.terms import Method

_STEPS = 400
_WIDTH = 6.0


def copy_chance(count: int, step_mm: float, method: Method) -> float:
    """Chance that `count` readings noted in steps of `step_mm` repeat those of another visit of a still wall.

    Two readings of one mark differ by a set-up error that all share and a reading error of their own; both fall on the
    same step with the chance that a difference D leaves, E[max(0, 1 - |D| / step)]. The shared error is integrated out.
    """
    sds = Variances().methods[method]
    own_mm = sqrt(2) * sds.reading_mm
    shared_mm = sqrt(2) * (sds.offset_mm or 0.0)
    if not shared_mm:
        return _equal_chance(0.0, own_mm, step_mm) ** count
    width = 2 * _WIDTH / _STEPS
    grid = [-_WIDTH + width * (i + 0.5) for i in range(_STEPS)]
    return sum(
        width * exp(-z * z / 2) / sqrt(2 * pi) * _equal_chance(z * shared_mm, own_mm, step_mm) ** count for z in grid
    )


def _equal_chance(mean: float, sd: float, step: float) -> float:
    """E[max(0, 1 - |D| / step)] of a normal difference D: the second difference of E[max(D - k, 0)], over the step."""
    return (_excess(mean + step, sd) - 2 * _excess(mean, sd) + _excess(mean - step, sd)) / step


def _excess(mean: float, sd: float) -> float:
    """E[max(X, 0)] of a normal X."""
    z = mean / sd
    return sd * exp(-z * z / 2) / sqrt(2 * pi) + mean * (1 + erf(z / sqrt(2))) / 2
