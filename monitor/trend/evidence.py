"""Evidence that an inward rate exceeds its threshold: a mixture likelihood ratio valid however often one looks.

The ratio weighs all rates above the threshold r0 by a half-normal prior of scale g = r0 / 2 (in units of the wall's own
noise) against the rate r0 itself (Robbins 1970, Ann. Math. Statist. 41, 1397-1409), the wall's noise scale integrated
out over its posterior. Its expectation is at most 1 wherever the true rate is at or below the threshold.
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from monitor.errors import TrendError

Reals: TypeAlias = NDArray[np.float64]

_TAIL = 1e-250
"""Below this the distribution function of t is taken from its series, so that its logarithm does not end at log 0."""


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
    _positive("standard error of a rate", s[tells])
    _positive("residual scale's sum s_total", total[tells])
    _positive("degrees of freedom n_total", dof[tells])
    _positive("prior residual scale", s02[tells])
    log_e = np.zeros(b.shape)
    z = (b[tells] - r0[tells]) / s[tells]
    reach = r0[tells] / 2 / (np.sqrt(s02[tells]) * s[tells])
    log_e[tells] = log_mixture(z, reach, total[tells], dof[tells])
    return log_e


def log_mixture(z: ArrayLike, reach: ArrayLike, s_total: ArrayLike, n_total: ArrayLike) -> Reals:
    """Logarithm of the half-normal mixture likelihood ratio with the noise scale integrated out.

    With a noise variance sigma^2 ~ s_total / chi^2(n_total), z ~ N(v h sigma, sigma^2) and v half-normal (the mixture)
    or v = 0 (the threshold itself): z = (estimate - threshold) / se, h = `reach` = prior scale / se. All broadcast.
    """
    z, h, s, n = (np.asarray(a, dtype=np.float64) for a in (z, reach, s_total, n_total))
    k = 1 + h**2
    d = s + z**2 / k
    shift = (h / np.sqrt(k)) * (z / np.sqrt(d)) * np.sqrt(n + 1)
    return np.asarray(
        np.log(2) - np.log(k) / 2 + (n + 1) / 2 * np.log1p((h**2 / k) * (z**2 / d)) + _log_t(shift, n + 1)
    )


def wall_log_evidence(log_e: ArrayLike, mask: ArrayLike) -> Reals:
    """Logarithm of the mean of e over the masked marks of the last axis.

    A mark that tells nothing (log_e 0.0 or NaN) counts as 1; where no mark is masked the wall tells nothing: 0.0.
    """
    values, chosen = np.broadcast_arrays(np.nan_to_num(np.asarray(log_e, dtype=np.float64), nan=0.0), mask)
    chosen = chosen.astype(bool)
    count = chosen.sum(axis=-1)
    if values.shape[-1] == 0:
        return np.zeros(values.shape[:-1])
    total = special.logsumexp(np.where(chosen, values, -np.inf), axis=-1)
    return np.asarray(np.where(count > 0, total - np.log(np.maximum(count, 1)), 0.0))


def expected_false_flags(exceed_chance: ArrayLike) -> float:
    """Expected number of false ones in a list of walls flagged for their rate: the sum of 1 - exceed_chance.

    exceed_chance: per wall of the list, the posterior chance that its largest rate is above its threshold; one that is
    not known (NaN) counts as a false flag in full. Raises TrendError for a chance outside 0 to 1.
    """
    chance = np.nan_to_num(np.asarray(exceed_chance, dtype=np.float64), nan=0.0)
    if bool(np.any((chance < 0) | (chance > 1))):
        raise TrendError("A chance lies outside 0 to 1.", got=str(chance[(chance < 0) | (chance > 1)].flat[0]))
    return float(np.sum(1 - chance))


def _log_t(x: Reals, dof: Reals) -> Reals:
    """Logarithm of the distribution function of Student's t, right far beyond where the function itself is 0.

    For x < 0, T = I_w(dof/2, 1/2) / 2 with w = dof / (dof + x^2); in the far tail that
    incomplete beta function is its hypergeometric series (Abramowitz & Stegun 26.5.23), turned (15.3.5) alternating:
    its j-th term is below the one before by more than 1000 / (2 j + 1) there, so eight terms leave nothing.
    """
    x, dof = np.broadcast_arrays(x, dof)
    lower = special.stdtr(dof, -np.abs(x))
    far = lower < _TAIL
    near = np.where(far, 0.5, lower)
    out = np.where(x > 0, np.log1p(-np.where(far, 0.0, lower)), np.log(near))
    far &= x < 0
    if bool(far.any()):
        a, ratio = dof[far] / 2, x[far] ** 2 / dof[far]
        term = series = np.ones_like(a)
        for j in range(8):
            term = -term * (j + 0.5) / (a + 1 + j) / ratio
            series = series + term
        log_w, log_rest = -np.log1p(ratio), np.log(ratio) - np.log1p(ratio)
        out[far] = -np.log(2 * a) - special.betaln(a, 0.5) + a * log_w - log_rest / 2 + np.log(series)
    return np.asarray(out)


def _positive(name: str, values: Reals) -> None:
    good = np.isfinite(values) & (values > 0)
    if not bool(good.all()):
        raise TrendError(f"The {name} must be above 0.", got=str(values[~good].flat[0]))
