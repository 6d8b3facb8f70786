"""Student's t against the height of its density: what the evidence of a rate needs of it, for many rates at once.

The ratio T(x) / (1 + x^2 / dof)^(-dof / 2), T the distribution function, is a smooth function of the sine
|x| / sqrt(dof + x^2) for x < 0, without the many powers of ten that T itself runs through. Its logarithm is taken from
polynomials on short pieces of the sine, made once for each degrees of freedom, of which a company's walls have few. So
a value does not depend on what stands beside it.
"""

from functools import lru_cache

import numpy as np

from monitor.trend import special
from monitor.trend.columns import Whole
from monitor.trend.shapes import Array

DEGREE = 7
"""Of the polynomial of a piece."""
PIECES = 4.0
"""Times the root of the degrees of freedom: pieces between sine 0 and 1, each a part of one bend of the curve."""
MOST = 10_000.0
"""Degrees of freedom from which on the incomplete beta function is taken, value by value."""

_TAIL = 1e-250
"""Below this the distribution function is taken from its series, so that its logarithm does not end at log 0."""

_NODES = np.cos(np.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1)) / 2
_FROM_NODES = np.linalg.inv(np.vander(_NODES, DEGREE + 1, increasing=True))
"""Coefficients of the polynomial on -1/2 to 1/2 from its values at Chebyshev's points."""


def log_over_height(u: Array, dof: Array) -> Array:
    """Logarithm of T(x) (1 + x^2 / dof)^(dof / 2), x = u sqrt(dof), T of Student's t with dof; they broadcast."""
    each, which = np.unique(dof, return_inverse=True)
    which = which.reshape(np.shape(dof))
    height = dof / 2 * np.log1p(u**2)
    few = each < MOST
    if few.all():
        below = _by_pieces(np.abs(u) / np.sqrt(1 + u**2), each, which)
    else:
        below = height + _log_t(-np.abs(u) * np.sqrt(dof), dof)
        if few.any():
            by_pieces = _by_pieces(np.abs(u) / np.sqrt(1 + u**2), np.where(few, each, 1.0), which)
            below = np.where(few[which], by_pieces, below)
    return np.asarray(np.where(u > 0, height + np.log1p(-np.exp(below - height)), below))


def _by_pieces(sine: Array, each: Array, which: Whole) -> Array:
    """The logarithm at minus the sine, for the degrees of freedom each[which]."""
    made = [_pieces(dof) for dof in each.tolist()]
    counts = np.array([one.shape[1] for one in made])
    coefficients = np.concatenate(made, axis=1) if made else np.zeros((DEGREE + 1, 0))
    count, first = counts[which], (np.cumsum(counts) - counts)[which]
    place = sine * count
    piece = np.minimum(place.astype(np.intp), count - 1)
    place = place - (piece + 0.5)
    piece = piece + first
    out: Array = coefficients[DEGREE].take(piece)
    for power in range(DEGREE - 1, -1, -1):
        out = out * place + coefficients[power].take(piece)
    return out


@lru_cache(maxsize=1024)
def _pieces(dof: float) -> Array:
    """Coefficients of the pieces' polynomials (DEGREE + 1, pieces)."""
    pieces = int(np.ceil(PIECES * np.sqrt(dof)))
    at = (np.arange(pieces)[:, None] + 0.5 + _NODES) / pieces
    tangent = at / np.sqrt(1 - at**2)
    value = dof / 2 * np.log1p(tangent**2) + _log_t(-tangent * np.sqrt(dof), np.full_like(at, dof))
    return np.asarray((value[:, None, :] * _FROM_NODES).sum(axis=-1).T)


def _log_t(x: Array, dof: Array) -> Array:
    """Logarithm of the distribution function of Student's t at x <= 0, right far beyond where the function itself is 0.

    T = I_w(dof/2, 1/2) / 2 with w = dof / (dof + x^2); in the far tail that
    incomplete beta function is its hypergeometric series (Abramowitz & Stegun 26.5.23), turned (15.3.5) alternating:
    its j-th term is below the one before by more than 1000 / (2 j + 1) there, so eight terms leave nothing.
    """
    x, dof = np.broadcast_arrays(x, dof)
    lower = special.stdtr(dof, x)
    far = lower < _TAIL
    out = np.array(np.log(np.where(far, 0.5, lower)))
    if bool(far.any()):
        a, ratio = dof[far] / 2, x[far] ** 2 / dof[far]
        term = series = np.ones_like(a)
        for j in range(8):
            term = -term * (j + 0.5) / (a + 1 + j) / ratio
            series = series + term
        log_w, log_rest = -np.log1p(ratio), np.log(ratio) - np.log1p(ratio)
        out[far] = -np.log(2 * a) - special.betaln(a, 0.5) + a * log_w - log_rest / 2 + np.log(series)
    return out
