"""Is the newest visit a jump: a one-step forecast from all the period's earlier readings.

The newest visit is given a step in the bow shape. With P the inverse covariance of the period's readings, fixed
effects taken out, a = P y and phi the bow shape on the newest visit's readings: step = phi'a / phi'P phi,
z = phi'a / sqrt(phi'P phi), judged against the residual scale without it. The components' rates are random about 0
here: a free rate would swallow the jump at a short record.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from monitor.config import Variances
from monitor.trend.blocks import Block
from monitor.trend.fit import Season, estimate
from monitor.trend.information import KEPT, Sums
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


def jump(visits: Sums, block: Block, season: Season, variances: Variances) -> Jump:
    """Judge the newest counting visit of each case. visits: sums of each visit (B, V, ...)."""
    size = block.layout.size
    prior = variances.jump_rate_mm_per_year**2
    local = np.full(len(block.cases), variances.local_mm_per_year**2 + variances.local_share**2 * prior)
    total = visits.total()
    found = estimate(total, block.layout, season, local, rate_precision=1 / prior)
    newest = visits.cross[np.arange(len(block.cases)), block.last]
    on_theta, on_reading, own = newest[:, :size, size + 1], newest[:, size, size + 1], newest[:, size + 1, size + 1]
    shifted = on_reading - (on_theta * found.theta).sum(axis=-1)
    kept = own - (on_theta[:, None, :] @ found.covariance @ on_theta[:, :, None])[:, 0, 0]
    bow = np.where(block.weight > 0, np.abs(block.bow), 0.0)[np.arange(len(block.cases)), block.last].max(axis=-1)
    judged = (block.last + 1 >= LEAST_VISITS) & (kept > KEPT * own) & (bow >= LEAST_BOW)
    kept = np.where(judged, kept, np.nan)
    z = shifted / np.sqrt(kept)
    prior_dof = min(variances.scale_dof, MOST_SCALE_DOF)
    dof = prior_dof + found.d - 1
    rest = np.maximum(prior_dof * variances.scale + found.q - z**2, 0.0)
    with np.errstate(divide="ignore"):
        p = stats.t.sf(z / np.sqrt(rest / dof), dof)
    return Jump(shifted / kept, np.asarray(np.where(judged & (dof > 0), p, np.nan)))
