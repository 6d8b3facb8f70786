"""How likely a wall of an assumed rate gets a verdict once planned visits are made: by the law of its estimates.

Estimates are normal about the assumed rates with the covariance of the design; the residual scale known so far stands
for the true one, and what further readings add to it is drawn with it.
"""

from collections.abc import Callable
from functools import cache

import numpy as np
import numpy.typing as npt

from monitor.config import Rules, Variances
from monitor.records import dataclass
from monitor.trend import bounds, evidence, restarts, special, spread
from monitor.trend.columns import Whole
from monitor.trend.designs import Seen
from monitor.trend.parts import Starts
from monitor.trend.shapes import BOW, Array, Flags

_MOST = 1e6
_STEPS = np.linspace(-4.0, 4.0, 17)


@dataclass(frozen=True)
class Shown:
    """What a design shows. fit: of the design; phi (B, M, 3): shapes at its marks; scale: variance of the residual
    scale; dof, then: degrees of freedom now and once its visits are made (B,).
    """

    fit: Seen
    phi: Array
    scale: Array
    dof: Array
    then: Array

    @property
    def measured(self) -> Flags:
        """Whether the rate of any mark is measured."""
        return np.asarray(self.fit.mark_measured.any(axis=-1))

    @property
    def leading(self) -> npt.NDArray[np.intp]:
        """Number (B,) of the measured mark that sees most of the bow, or of all shapes where none is seen."""
        return np.asarray(np.where(self.fit.mark_measured, _weight(self.phi), -1.0).argmax(axis=-1))

    @property
    def se(self) -> Array:
        """Standard error of the leading mark's rate with the scale known so far, NaN where nothing is measured."""
        return np.asarray(self.fit.mark_se[np.arange(len(self.scale)), self.leading] * np.sqrt(self.scale))


def holding(shown: Shown, threshold: Array, asked: Flags) -> Array:
    """Chance (B,) that the upper bound of a wall of which no mark moves lies below the threshold (B,).

    asked (B,): of which walls; 0 for the others.
    """
    chance = np.zeros(len(threshold))
    of = np.flatnonzero(asked & shown.measured)
    if len(of):
        fit = shown.fit
        covariance, mark_se, measured = fit.mark_covariance[of], fit.mark_se[of], fit.mark_measured[of]
        chance[of] = _below(
            covariance, mark_se, measured, shown.scale[of], shown.dof[of], shown.then[of], threshold[of]
        )
    return chance


def _below(
    covariance: Array, mark_se: Array, measured: Flags, scale: Array, dof: Array, then: Array, threshold: Array
) -> Array:
    """The same of walls of which a rate is measured."""
    marks = mark_se.shape[-1]
    normal = _draws(marks + 1)
    values, vectors = np.linalg.eigh(covariance)
    # the symmetric root: the only one that a last digit of the covariance does not turn
    root = vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :] @ np.swapaxes(vectors, -1, -2)
    estimates = root @ normal[:, :marks].T
    added = _chi_square((then - dof)[:, None], normal[:, marks])
    reach = bounds.quantile(bounds.LEVEL, then)[:, None] * np.sqrt((dof[:, None] + added) / then[:, None])
    upper = estimates[:, 0] + np.where(measured[:, :1], reach * mark_se[:, :1], -np.inf)
    for mark in range(1, marks):
        its = slice(mark, mark + 1)
        of_mark = estimates[:, mark] + np.where(measured[:, its], reach * mark_se[:, its], -np.inf)
        np.maximum(upper, of_mark, out=upper)
    return np.asarray((upper < (threshold / np.sqrt(scale))[:, None]).mean(axis=-1))


def moving(shown: Shown, starting: tuple[Starts, Flags], rate: Array, threshold: Array, rules: Rules,
           variances: Variances) -> Array:  # fmt: skip
    """Chance (B,) that a wall whose leading mark moves at `rate` (B,), mm/yr, has the evidence that moving asks for.

    starting: the same design from each visit on (B, V), and which of them start. Given the estimate from all visits,
    those from later ones are expected to be the same, and the other marks' where the leading one's puts them; all are
    put there, so that the chance is rather too small than too large.
    """
    fit, b = shown.fit, np.arange(len(rate))
    weight = _weight(shown.phi)
    most = weight[b, shown.leading]
    share = weight / np.where(most > 0, most, 1.0)[:, None]
    covariance = fit.mark_covariance[b, shown.leading]
    variance = covariance[b, shown.leading]
    per_se = covariance / np.sqrt(np.where(variance > 0, variance, 1.0))[:, None]
    per_se = per_se * np.sqrt(shown.scale)[:, None]
    fits, starts = starting

    def log_e(step: Array) -> Array:
        """Evidence (B,) at so many standard errors of the leading mark's rate."""
        estimate = np.where(fit.mark_measured, rate[:, None] * share + step[:, None] * per_se, np.nan)
        of_marks = evidence.log_evidence(
            estimate[:, None],
            fits.mark_se,
            threshold[:, None, None],
            (shown.scale * shown.then)[:, None, None],
            shown.then[:, None, None],
            variances.scale,
        )
        return restarts.added(np.where(starts, evidence.wall_log_evidence(of_marks, fits.mark_seen), -np.inf))

    return np.where(shown.measured, special.ndtr(-_crossing(log_e, len(rate), -np.log(rules.alpha))), 0.0)


def _weight(phi: Array) -> Array:
    """How much each mark sees of the bow, or of all shapes where no mark of the wall sees any."""
    bow = np.abs(phi[..., BOW])
    return np.where(bow.max(axis=-1, keepdims=True) > 0, bow, np.abs(phi).sum(axis=-1))


def _crossing(value: Callable[[Array], Array], count: int, limit: float) -> Array:
    """The step (B,) from which on a rising function of steps reaches the limit; infinite where it does nowhere.

    On straight lines between the function's values at _STEPS, of which the two about the limit are found by halving.
    """

    def at(number: Whole) -> Array:
        return np.maximum(value(_STEPS[number]), -_MOST)  # -inf where nothing starts yet

    low, high = np.zeros(count, dtype=np.intp), np.full(count, len(_STEPS) - 1)
    at_low, at_high = at(low), at(high)
    first, never = at_low >= limit, at_high < limit
    while (wide := high - low > 1).any():
        middle = (low + high) // 2
        there = at(middle)
        above = there >= limit
        low, at_low = np.where(wide & ~above, middle, low), np.where(wide & ~above, there, at_low)
        high, at_high = np.where(wide & above, middle, high), np.where(wide & above, there, at_high)
    part = np.clip((limit - at_low) / np.where(at_high > at_low, at_high - at_low, 1.0), 0.0, 1.0)
    step = _STEPS[low] + part * (_STEPS[high] - _STEPS[low])
    return np.where(first, -np.inf, np.where(never, np.inf, step))


def _chi_square(dof: Array, normal: Array) -> Array:
    """Draws of chi-square from normal ones, 0 where there are no degrees of freedom (Wilson and Hilferty 1931)."""
    some = np.maximum(dof, 1e-9)
    cube = np.maximum(1 - 2 / (9 * some) + normal * np.sqrt(2 / (9 * some)), 0.0)
    return np.where(dof > 0, dof * (cube * cube * cube), 0.0)


@cache
def _draws(size: int) -> Array:
    """Standard normal draws (DRAWS, size), evenly spread over all of them (Sobol)."""
    return np.asarray(special.ndtri(spread.points(size)))
