"""Is the newest visit a jump: a one-step forecast from all the period's earlier readings.

The newest visit is given a step in the bow shape. With P the inverse covariance of the period's readings, fixed
effects taken out, a = P y and phi the bow shape on the newest visit's readings: step = phi'a / phi'P phi,
z = phi'a / sqrt(phi'P phi), judged against the residual scale without it. The components' rates are random about 0
here: a free rate would swallow the jump at a short record.
"""

import numpy as np

from monitor.config import Variances
from monitor.records import dataclass
from monitor.trend import special
from monitor.trend.parts import Part
from monitor.trend.shapes import Array

LEAST_VISITS = 2
LEAST_BOW = 0.2
"""A visit that saw less than this share of the bow at every mark (an end mark alone) cannot tell a step of it: an error
of a reading would be told as five times that, or more."""

MOST_SCALE_DOF = 50.0
"""The prior of the residual scale weighs at most this much here: one wall's wild scatter is no jump."""


@dataclass(frozen=True)
class Jump:
    """step_mm and its one-sided p (B,); NaN where it cannot be judged."""

    step_mm: Array
    p: Array


def jump(done: Part, variances: Variances) -> Jump:
    """Judge the newest counting visit of each case."""
    found = done.step()
    judged = (done.last + 1 >= LEAST_VISITS) & (found.bow >= LEAST_BOW)
    kept = np.where(judged, found.kept, np.nan)
    z = found.shifted / np.sqrt(kept)
    prior_dof = min(variances.scale_dof, MOST_SCALE_DOF)
    dof = prior_dof + found.d - 1
    rest = np.maximum(prior_dof * variances.scale + found.q - z**2, 0.0)
    with np.errstate(divide="ignore"):
        p = special.stdtr(dof, -z / np.sqrt(rest / dof))
    return Jump(found.shifted / kept, np.asarray(np.where(dof > 0, p, np.nan)))
