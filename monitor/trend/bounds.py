"""From estimates to bounds: moderation of the residual scale, one-sided 95 % bounds, the wall's pair."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from monitor.config import Variances
from monitor.records import dataclass
from monitor.trend import special
from monitor.trend.fit import Rates
from monitor.trend.shapes import Array, Flags

TIES = 9
"""Decimals to which two marks' rates are alike: of two alike the first by name speaks for the wall."""

LEVEL = 0.95
"""Level of every one-sided bound that is shown."""


@dataclass(frozen=True)
class Scale:
    """Moderated residual scale: sum = d0 s0^2 + q, dof = d0 + d, variance = sum / dof; all (...)."""

    sum: Array
    dof: Array

    @property
    def variance(self) -> Array:
        """The factor that all variances are multiplied by."""
        return self.sum / self.dof


@dataclass(frozen=True)
class Pair:
    """One-sided bounds, NaN where nothing is measured."""

    lower: Array
    upper: Array


@dataclass(frozen=True)
class WallPair:
    """The wall's pair, and the number (-1 where nothing is measured) and rate of its governing mark, all (...)."""

    governing: npt.NDArray[np.intp]
    rate: Array
    lower: Array
    upper: Array
    exceed_chance: Array


def moderated(q: Array, d: Array, variances: Variances) -> Scale:
    """Scale of a period from its quadratic form and degrees of freedom, and the prior of all walls."""
    return Scale(variances.scale_dof * variances.scale + q, variances.scale_dof + d)


def quantile(level: Array | float, dof: Array) -> Array:
    """Quantile of t; of the normal for infinite degrees of freedom."""
    dof = np.asarray(dof, dtype=np.float64)
    if np.ndim(level) == 0:  # few distinct numbers of degrees of freedom, and each costs microseconds
        dof, place = np.unique(dof, return_inverse=True)
        return np.where(np.isinf(dof), special.ndtri(level), special.stdtrit(dof, level))[place]
    return np.asarray(special.stdtrit(dof, level))


def pair(estimate: Array, se: Array, scale: Scale) -> Pair:
    """Bounds of estimates (..., M) with standard errors before moderation."""
    reach = (quantile(LEVEL, scale.dof) * np.sqrt(scale.variance))[..., None] * se
    return Pair(estimate - reach, estimate + reach)


def effective_number(covariance: Array, measured: Flags) -> Array:
    """Effective number of marks: sum of [l >= 1] + l - floor l over the eigenvalues l of their correlation."""
    variance = np.where(measured, np.diagonal(covariance, axis1=-2, axis2=-1), np.inf)
    root = 1 / np.sqrt(np.where(variance > 0, variance, np.inf))
    values = np.linalg.eigvalsh(covariance * root[..., :, None] * root[..., None, :])
    values = np.maximum(np.round(values, 9), 0.0)
    return np.asarray(((values >= 1) + values - np.floor(values)).sum(axis=-1))


def wall_pair(fit: Rates, scale: Scale, threshold: Array, preferred: Sequence[Flags] = ()) -> WallPair:
    """The wall's pair: the largest lower bound at level 1 - 0.05 / M, the largest upper bound at 0.95.

    preferred: marks (..., M) among which the governing mark is sought first, the most preferred first; the pair is of
    all measured marks.

    exceed_chance is the largest of the marks' own posterior chances to be above the threshold: never more than the
    chance that the largest rate is, so that false flags are rather counted too many than too few.
    """
    any_measured = fit.mark_measured.any(axis=-1)
    number = np.where(any_measured, effective_number(fit.mark_covariance, fit.mark_measured), 1.0)
    spread = fit.mark_se * np.sqrt(scale.variance)[..., None]
    strict = quantile(1 - (1 - LEVEL) / np.maximum(number, 1.0), scale.dof)[..., None]
    plain = quantile(LEVEL, scale.dof)[..., None]
    above = special.stdtr(scale.dof[..., None], (fit.mark_rate - threshold[..., None]) / spread)
    lower = _largest(fit.mark_rate - strict * spread)
    governing = np.where(any_measured, _governing(fit, lower, preferred), -1)
    return WallPair(
        governing,
        np.where(any_measured, np.take_along_axis(fit.mark_rate, governing[..., None], -1)[..., 0], np.nan),
        lower,
        _largest(fit.mark_rate + plain * spread),
        _largest(above),
    )


def _governing(fit: Rates, wall_lower: Array, preferred: Sequence[Flags]) -> npt.NDArray[np.intp]:
    """The mark of the largest rate in the first group that has a measured mark and can speak for the wall.

    A group whose largest rate lies under the wall's lower bound cannot: some other mark is shown to be faster.
    """
    rate = np.round(fit.mark_rate, TIES)
    found = np.where(fit.mark_measured, rate, -np.inf).argmax(axis=-1)
    for group in reversed(preferred):
        rates = np.where(fit.mark_measured & group, rate, -np.inf)
        found = np.where(rates.max(axis=-1) >= wall_lower, rates.argmax(axis=-1), found)
    return np.asarray(found)


def _largest(values: Array) -> Array:
    """Largest along the last axis of those that are not NaN; NaN where all are."""
    largest = np.where(np.isnan(values), -np.inf, values).max(axis=-1)
    return np.asarray(np.where(np.isfinite(largest), largest, np.nan))
