"""Evidence that an inward rate exceeds its threshold: a mixture likelihood ratio valid however often one looks.

The ratio weighs all rates above the threshold r0 by a half-normal prior of scale g = r0 / 2 (in units of the wall's own
noise) against the rate r0 itself (Robbins 1970, Ann. Math. Statist. 41, 1397-1409), the wall's noise scale integrated
out over its posterior. Its expectation is at most 1 wherever the true rate is at or below the threshold.
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.errors import TrendError
from monitor.trend import student

Reals: TypeAlias = NDArray[np.float64]


def log_evidence(
    estimate: ArrayLike, se: ArrayLike, threshold: ArrayLike, s_total: ArrayLike, n_total: ArrayLike, scale: ArrayLike
) -> Reals:
    """Natural logarithm of the evidence that a rate exceeds `threshold`; all arguments broadcast.

    estimate, se: rate and its standard error before moderation of the scale, mm/yr; an estimate or se that is NaN or
    infinite tells nothing and gives 0.0. threshold: r0 > 0, mm/yr. s_total: d0 s0^2 + q of the period's whole fit;
    n_total: its degrees of freedom d0 + d; scale: s0^2, the prior of the residual variance scale.
    Raises TrendError where the threshold, a telling se, s_total, n_total or scale is not above 0.
    """
    b, s, r0, total, dof, s02 = np.broadcast_arrays(
        *(np.asarray(a, dtype=np.float64) for a in (estimate, se, threshold, s_total, n_total, scale))
    )
    if not bool(np.all((r0 > 0) & np.isfinite(r0))):
        raise TrendError(
            "The evidence rule needs a threshold above 0.",
            got=str(r0[~((r0 > 0) & np.isfinite(r0))].flat[0]),
            mend="Set the inward rate that asks for a decision to a number above 0.",
        )
    tells = np.isfinite(b) & np.isfinite(s)
    _positive("standard error of a rate", s, tells)
    _positive("residual scale's sum s_total", total, tells)
    _positive("degrees of freedom n_total", dof, tells)
    _positive("prior residual scale", s02, tells)
    if not tells.all():
        b, s, r0, total, dof, s02 = (np.where(tells, each, 1.0) for each in (b, s, r0, total, dof, s02))
    log_e = log_mixture((b - r0) / s, r0 / (2 * np.sqrt(s02) * s), total, dof)
    return np.where(tells, log_e, 0.0)


def log_mixture(z: ArrayLike, reach: ArrayLike, s_total: ArrayLike, n_total: ArrayLike) -> Reals:
    """Logarithm of the half-normal mixture likelihood ratio with the noise scale integrated out.

    With a noise variance sigma^2 ~ s_total / chi^2(n_total), z ~ N(v h sigma, sigma^2) and v half-normal (the mixture)
    or v = 0 (the threshold itself): z = (estimate - threshold) / se, h = `reach` = prior scale / se. All broadcast.
    """
    z, h, s, n = (np.asarray(a, dtype=np.float64) for a in (z, reach, s_total, n_total))
    k = 1 + h**2
    shift = z * h / np.sqrt(k * s + z**2)
    return np.asarray(np.log(2) - np.log(k) / 2 + student.log_over_height(shift, n + 1))


def wall_log_evidence(log_e: ArrayLike, mask: ArrayLike) -> Reals:
    """Logarithm of the mean of e over the masked marks of the last axis.

    A mark that tells nothing (log_e 0.0 or NaN) counts as 1; where no mark is masked the wall tells nothing: 0.0.
    """
    values, chosen = np.broadcast_arrays(np.nan_to_num(np.asarray(log_e, dtype=np.float64), nan=0.0), mask)
    chosen = chosen.astype(bool)
    count = chosen.sum(axis=-1)
    largest = values.max(axis=-1, where=chosen, initial=-np.inf)
    largest = np.where(count > 0, largest, 0.0)
    total = np.exp(np.where(chosen, values - largest[..., None], -np.inf)).sum(axis=-1)
    return np.asarray(largest + np.log(np.where(count > 0, total / np.maximum(count, 1), 1.0)))


def expected_false_flags(exceed_chance: ArrayLike) -> float:
    """Expected number of false ones in a list of walls flagged for their rate: the sum of 1 - exceed_chance.

    exceed_chance: per wall of the list, the posterior chance that its largest rate is above its threshold; one that is
    not known (NaN) counts as a false flag in full. Raises TrendError for a chance outside 0 to 1.
    """
    chance = np.nan_to_num(np.asarray(exceed_chance, dtype=np.float64), nan=0.0)
    if bool(np.any((chance < 0) | (chance > 1))):
        raise TrendError("A chance lies outside 0 to 1.", got=str(chance[(chance < 0) | (chance > 1)].flat[0]))
    return float(np.sum(1 - chance))


def _positive(name: str, values: Reals, tells: NDArray[np.bool_]) -> None:
    bad = ~(np.isfinite(values) & (values > 0)) & tells
    if bool(bad.any()):
        raise TrendError(f"The {name} must be above 0.", got=str(values[bad].flat[0]))
