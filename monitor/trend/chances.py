"""How likely a wall of an assumed rate gets a verdict once planned visits are made: by the law of its estimates.

Estimates are normal about the assumed rates with the covariance of the design; the residual scale known so far stands
for the true one, and what further readings add to it is drawn with it.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy import special

from monitor.config import Rules, Variances
from monitor.trend import bounds, evidence, restarts
from monitor.trend.fit import Fit
from monitor.trend.shapes import BOW, Array, Flags

DRAWS = 512
"""Evenly spread draws behind a chance; the same for every wall, so that equal walls get equal chances."""

_MOST = 1e6
_STEPS = np.linspace(-4.0, 4.0, 17)


@dataclass(frozen=True)
class Shown:
    """What a design shows. fit: of the design; phi (B, M, 3): shapes at its marks; scale: variance of the residual
    scale; dof, then: degrees of freedom now and once its visits are made (B,).
    """

    fit: Fit
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


def holding(shown: Shown, threshold: Array) -> Array:
    """Chance (B,) that the upper bound of a wall of which no mark moves lies below the threshold (B,)."""
    fit, marks = shown.fit, shown.phi.shape[-2]
    normal = _draws(marks + 1)
    values, vectors = np.linalg.eigh(fit.mark_covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :]
    estimates = normal[:, :marks] @ np.swapaxes(root, -1, -2)
    added = _chi_square((shown.then - shown.dof)[:, None], normal[:, marks])
    reach = bounds.quantile(bounds.LEVEL, shown.then)[:, None] * np.sqrt(
        (shown.dof[:, None] + added) / shown.then[:, None]
    )
    upper = estimates + reach[..., None] * fit.mark_se[:, None, :]
    upper = np.where(fit.mark_measured[:, None, :], upper, -np.inf).max(axis=-1) * np.sqrt(shown.scale)[:, None]
    return np.where(shown.measured, (upper < threshold[:, None]).mean(axis=-1), 0.0)


def moving(shown: Shown, starting: tuple[Fit, Flags], rate: Array, threshold: Array, rules: Rules,
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
    apart = _STEPS[:, None] * (per_se * np.sqrt(shown.scale)[:, None])[:, None]
    estimate = np.where(fit.mark_measured[:, None], (rate[:, None] * share)[:, None] + apart, np.nan)
    fits, starts = starting
    of_marks = evidence.log_evidence(
        estimate[:, :, None],
        fits.mark_se[:, None],
        threshold[:, None, None, None],
        (shown.scale * shown.then)[:, None, None, None],
        shown.then[:, None, None, None],
        variances.scale,
    )
    terms = np.where(starts[:, None], evidence.wall_log_evidence(of_marks, fits.mark_seen[:, None]), -np.inf)
    log_e = restarts.added(terms)
    return np.where(shown.measured, special.ndtr(-_crossing(log_e, -np.log(rules.alpha))), 0.0)


def _weight(phi: Array) -> Array:
    """How much each mark sees of the bow, or of all shapes where no mark of the wall sees any."""
    bow = np.abs(phi[..., BOW])
    return np.where(bow.max(axis=-1, keepdims=True) > 0, bow, np.abs(phi).sum(axis=-1))


def _crossing(values: Array, limit: float) -> Array:
    """The step (B,) from which on the rising values (B, steps) reach the limit; infinite where none does."""
    values = np.maximum(values, -_MOST)  # -inf where nothing starts yet
    reached = values >= limit
    at = np.maximum(reached.argmax(axis=-1), 1)
    b = np.arange(len(values))
    low, high = values[b, at - 1], values[b, at]
    part = np.clip((limit - low) / np.where(high > low, high - low, 1.0), 0.0, 1.0)
    step = _STEPS[at - 1] + part * (_STEPS[at] - _STEPS[at - 1])
    return np.where(reached.any(axis=-1), np.where(reached[:, 0], -np.inf, step), np.inf)


def _chi_square(dof: Array, normal: Array) -> Array:
    """Draws of chi-square from normal ones, 0 where there are no degrees of freedom (Wilson and Hilferty 1931)."""
    some = np.maximum(dof, 1e-9)
    cube = np.maximum(1 - 2 / (9 * some) + normal * np.sqrt(2 / (9 * some)), 0.0)
    return np.where(dof > 0, dof * cube**3, 0.0)


@cache
def _draws(size: int) -> Array:
    """Standard normal draws (DRAWS, size), evenly spread over all of them (Sobol)."""
    from scipy.stats import qmc  # half a second, and only a plan of visits needs it

    return np.asarray(special.ndtri(qmc.Sobol(size, rng=np.random.default_rng(1)).random(DRAWS)))
