"""Restarted evidence: that a wall moves above its threshold now, whenever it began to.

From every starting visit but the newest the wall's evidence is taken from that visit and all later ones, and the sum
over the starting visits is the restarted evidence (Shiryaev-Roberts; Shin, Ramdas & Rinaldo, "E-detectors"): each
term's expectation is at most 1 for a wall that never exceeds the threshold, so the sum reaches 1/alpha on average at
most once in 1/alpha visits. A wall that held for years and then moves is found from the starting visits since it
moves, however long it held before; the largest term dates that onset.

A starting visit that tells nothing yet has evidence 1, so visits that follow each other quickly would add up to any
sum: of still walls read each fortnight nine in ten would be called moving after a year. The sum therefore counts only
where one starting visit speaks LEAST_PEAK to 1 by itself, else the largest term does: never more than the sum, so the
promise holds, and the median delay of walls that fail late stays as it is.

The fits from all starting visits come from one sweep of sums, from the newest visit backwards. The residual scale and
the local deviations' variance are those of the whole period's fit: both describe the wall, not a stretch of its visits,
and a fit of two visits could tell neither.
"""

import numpy as np
import numpy.typing as npt

from monitor.config import Variances
from monitor.records import dataclass
from monitor.trend import evidence
from monitor.trend.parts import Part
from monitor.trend.shapes import Array

LEAST_PEAK = 3.0
"""Evidence that one starting visit must reach by itself before all are added up."""


@dataclass(frozen=True)
class Restarted:
    """Restarted evidence of B cases of at most V visits.

    log_evidence (B,): natural logarithm of the sum (of the largest term, where no term reaches LEAST_PEAK), 0 where
    nothing is measured or there is no starting visit. terms (B, V): of the wall's evidence from each starting visit,
    -inf where none starts. onset (B,): the starting visit of the largest term (the later of two alike), -1 for none.
    """

    log_evidence: Array
    terms: Array
    onset: npt.NDArray[np.intp]


def restarted(done: Part, threshold: Array, variances: Variances) -> Restarted:
    """The restarted evidence of the block's cases against their thresholds (B,), mm/yr."""
    fits = done.from_each_start()
    log_e = evidence.log_evidence(
        fits.mark_rate,
        fits.mark_se,
        threshold[:, None, None],
        done.scale.sum[:, None, None],
        done.scale.dof[:, None, None],
        variances.scale,
    )
    return _summed(done, evidence.wall_log_evidence(log_e, fits.mark_seen))


def _summed(done: Part, terms: Array) -> Restarted:
    """Add up the evidence of the starting visits."""
    measured = np.asarray(done.fit.mark_measured.any(axis=-1))
    starts = np.asarray((np.arange(terms.shape[-1]) < done.last[:, None]) & measured[:, None])
    terms = np.where(starts, terms, -np.inf)
    tells = np.asarray(starts.any(axis=-1))
    latest_of_largest = terms.shape[-1] - 1 - terms[:, ::-1].argmax(axis=-1)
    return Restarted(np.where(tells, added(terms), 0.0), terms, np.where(tells, latest_of_largest, -1))


def added(terms: Array) -> Array:
    """Logarithm of the restarted evidence of terms (..., V), -inf where none starts."""
    largest = terms.max(axis=-1)
    return np.asarray(np.where(largest >= np.log(LEAST_PEAK), np.logaddexp.reduce(terms, axis=-1), largest))
