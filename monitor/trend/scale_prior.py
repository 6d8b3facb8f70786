"""The prior of the walls' residual scales: how much noisier one wall may be than another.

A period's quadratic form q on d degrees of freedom, over d s0^2, is F(d, d0) where the walls' own scales are s0^2 times
an inverse chi-square over d0. Maximum likelihood; moments of log(q / d) (Smyth 2004) fail, as rounding makes q = 0.
"""

import numpy as np
from scipy import optimize

from monitor.config import Variances
from monitor.trend import special
from monitor.trend.shapes import Array

LEAST_DOF = 3
LEAST_PERIODS = 50
DOF_BOUNDS = (2.0, 200.0)
"""d0 beyond 200 is no different from walls of one scale: the bounds' t is the normal."""
SCALE_BOUNDS = (0.05, 20.0)


def estimate(q: Array, d: Array, defaults: Variances) -> tuple[float, float]:
    """(d0, s0^2) from the quadratic forms and degrees of freedom of fitted periods.

    The defaults where fewer than LEAST_PERIODS have LEAST_DOF degrees of freedom.
    """
    tells = d >= LEAST_DOF
    if tells.sum() < LEAST_PERIODS:
        return defaults.scale_dof, defaults.scale
    q, d = q[tells], d[tells]

    def loss(at: Array) -> float:
        return -log_likelihood(q, d, *map(float, np.exp(at)))

    found = optimize.minimize(
        loss,
        np.log([defaults.scale_dof, defaults.scale]),
        method="L-BFGS-B",
        bounds=[tuple(np.log(DOF_BOUNDS)), tuple(np.log(SCALE_BOUNDS))],
    )
    dof, scale = np.exp(found.x)
    return float(dof), float(scale)


def log_likelihood(q: Array, d: Array, dof: float, scale: float) -> float:
    """Sum of the log densities of q, less (d / 2 - 1) log q, which holds no parameter and is infinite at q = 0."""
    total = dof * scale
    each = -special.betaln(d / 2, dof / 2) - d / 2 * np.log(total) - (d + dof) / 2 * np.log1p(q / total)
    return float(each.sum())
