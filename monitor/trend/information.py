"""Information form of a linear model with set-up errors: what each visit adds to the running sums.

Readings of a visit: y = Z theta + U u + eps, eps ~ N(0, 1 / weight), u ~ N(0, 1) for columns given times their sd, u
unknown for free columns. With R the covariance of a visit's readings, free columns projected out (y, Z, R become N'y,
N'Z, N'RN with N'F = 0), the visit adds X'R^-1 X for X = [Z, y, ...] and log|R|. Sums of several visits, or of several
machines, merge by adding; added from the newest visit backwards they give the fit from every starting visit.
"""

import numpy as np
import numpy.typing as npt

from monitor.records import dataclass
from monitor.trend.shapes import Array

KEPT = 1e-10
"""Directions with less information than this, on the scale of unit diagonal, are not determined."""

SURE = 1e-6
"""Where no pivot on that scale is below this, no direction can have so little."""


@dataclass(frozen=True)
class Sums:
    """cross: X'R^-1 X, (..., Q, Q); log_det: log|R|, (...); count: readings less free columns, (...)."""

    cross: Array
    log_det: Array
    count: Array

    def total(self) -> "Sums":
        """All visits together; the visit is the last leading axis."""
        return Sums(self.cross.sum(axis=-3), self.log_det.sum(axis=-1), self.count.sum(axis=-1))

    def from_each_start(self) -> "Sums":
        """For each visit the sums of it and all later ones."""
        back = (slice(None, None, -1),)
        cross = np.cumsum(self.cross[(..., *back, slice(None), slice(None))], axis=-3)
        return Sums(
            cross[(..., *back, slice(None), slice(None))],
            np.cumsum(self.log_det[(..., *back)], axis=-1)[(..., *back)],
            np.cumsum(self.count[(..., *back)], axis=-1)[(..., *back)],
        )


def accumulate(regressors: Array, weight: Array, columns: Array, free: npt.NDArray[np.bool_]) -> Sums:
    """Sums of each visit.

    regressors X (..., N, Q), weight (..., N) with 0 for no reading, columns (..., N, K) times their sds, free (..., K).
    By Woodbury: R^-1 = W - W U (P + U'WU)^-1 U'W with W the weights and P = 1 for proper, 0 for free columns, which is
    exactly the limit of the projection N (N'RN)^-1 N'.
    """
    root = np.sqrt(weight)[..., None]
    x, u = regressors * root, columns * root
    used = free & (np.abs(u).sum(axis=-2) > 0)
    size = u.shape[-1]
    core = np.swapaxes(u, -1, -2) @ u
    core[..., np.arange(size), np.arange(size)] += np.where(used, 0.0, 1.0)
    lower = np.linalg.cholesky(core)
    half = np.linalg.solve(lower, np.swapaxes(u, -1, -2) @ x)
    whole = np.swapaxes(x, -1, -2) @ x
    cross = whole - np.swapaxes(half, -1, -2) @ half
    cross = _without_rounding(cross, np.diagonal(whole, axis1=-2, axis2=-1))
    log_core = 2 * np.log(np.diagonal(lower, axis1=-2, axis2=-1)).sum(axis=-1)
    log_weight = np.log(weight, where=weight > 0, out=np.zeros_like(weight)).sum(axis=-1)
    flat = np.where(used, (columns**2 * (weight > 0)[..., None]).sum(axis=-2), 1.0)
    return Sums(
        cross,
        log_core - log_weight - np.log(flat).sum(axis=-1),
        (weight > 0).sum(axis=-1) - used.sum(axis=-1).astype(np.float64),
    )


def _without_rounding(cross: Array, before: Array) -> Array:
    """Regressors that the set-up columns took out wholly hold only rounding errors: make them exactly 0."""
    left = np.diagonal(cross, axis1=-2, axis2=-1) > KEPT * before
    return np.where(left[..., :, None] & left[..., None, :], cross, 0.0)


@dataclass(frozen=True)
class Solution:
    """Weighted least squares from an information matrix that may be singular.

    inverse: a generalised inverse (..., P, P); lost: projector, on scaled parameters, to what is not determined
    (..., P, P); scale: scaled = parameter / scale (..., P); rank (...); log_det: of the information on what is
    determined, up to a constant of the design (...).
    """

    inverse: Array
    lost: Array
    scale: Array
    rank: Array
    log_det: Array

    def determined(self, functional: Array) -> npt.NDArray[np.bool_]:
        """Whether linear functionals (..., M, P) of the parameters are determined; a functional of 0 is not."""
        scaled = functional * self.scale[..., None, :]
        lost = (scaled @ self.lost * scaled).sum(axis=-1)
        return np.asarray(lost < 1e-8 * (scaled**2).sum(axis=-1))


def solve(information: Array) -> Solution:
    """Invert information matrices (..., P, P) on unit diagonal, dropping directions below KEPT."""
    diagonal = np.diagonal(information, axis1=-2, axis2=-1)
    scale = 1 / np.sqrt(np.where(diagonal > 0, diagonal, 1.0))
    scaled = information * scale[..., :, None] * scale[..., None, :]
    return _of_full_rank(scaled, scale) or _of_any_rank(scaled, scale)


def _of_full_rank(scaled: Array, scale: Array) -> Solution | None:
    """The same where all matrices, parameters without information aside, are far from singular; None where one is not.

    It costs a third.
    """
    none = np.diagonal(scaled, axis1=-2, axis2=-1) <= 0
    lost = none[..., :, None] * np.eye(scaled.shape[-1])
    try:
        pivots = np.diagonal(np.linalg.cholesky(scaled + lost), axis1=-2, axis2=-1)
    except np.linalg.LinAlgError:
        return None
    if not np.all(pivots**2 > SURE):
        return None
    inverse = np.linalg.inv(scaled + lost) - lost
    inverse = (inverse + np.swapaxes(inverse, -1, -2)) / 2 * scale[..., :, None] * scale[..., None, :]
    log_det = 2 * (np.log(pivots) - np.log(scale)).sum(axis=-1)
    return Solution(inverse, lost, scale, (~none).sum(axis=-1), log_det)


def _of_any_rank(scaled: Array, scale: Array) -> Solution:
    values, vectors = np.linalg.eigh(scaled)
    kept = values > KEPT
    inverse_values = np.where(kept, 1 / np.where(kept, values, 1.0), 0.0)
    turned = np.swapaxes(vectors, -1, -2)
    inverse = (vectors * inverse_values[..., None, :]) @ turned * scale[..., :, None] * scale[..., None, :]
    lost = (vectors * ~kept[..., None, :]) @ turned
    return Solution(inverse, lost, scale, kept.sum(axis=-1), _log_det(values, vectors, kept, scale))


def _log_det(values: Array, vectors: Array, kept: npt.NDArray[np.bool_], scale: Array) -> Array:
    """Logarithm of the product of the information's eigenvalues above 0, in the parameters' own units."""
    log_kept = np.log(np.where(kept, values, 1.0)).sum(axis=-1) - 2 * np.log(scale).sum(axis=-1)
    null = vectors * ~kept[..., None, :] * scale[..., :, None]
    gram = np.swapaxes(null, -1, -2) @ null
    size = gram.shape[-1]
    gram[..., np.arange(size), np.arange(size)] += kept
    return np.asarray(log_kept + np.linalg.slogdet(gram)[1])


def free_offsets(residual: Array, weight: Array, columns: Array, free: npt.NDArray[np.bool_]) -> Array:
    """What the free columns put into each reading (..., N), estimated from the readings less what the model says."""
    root = np.sqrt(weight)[..., None]
    u = columns * root
    used = free & (np.abs(u).sum(axis=-2) > 0)
    size = u.shape[-1]
    core = np.swapaxes(u, -1, -2) @ u
    core[..., np.arange(size), np.arange(size)] += np.where(used, 0.0, 1.0)
    error = np.linalg.solve(core, np.swapaxes(u, -1, -2) @ (residual[..., None] * root))
    return np.asarray((columns @ (error * used[..., None]))[..., 0])
