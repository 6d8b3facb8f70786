"""The company's own variances: restricted maximum likelihood over its walls, with weak priors at the defaults.

All sds are estimated together on their logarithms, each with a log-normal prior around its default, so that the first
wall already gets sensible intervals and what no reading tells about stays at its default.
"""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
from msgspec import structs
from scipy import optimize

from monitor.config import Variances
from monitor.records import dataclass, replace
from monitor.trend import parameters, scale_prior, screening, technicians
from monitor.trend.cases import Cases
from monitor.trend.columns import Whole
from monitor.trend.likelihood import At, Likelihood, setups_by_method
from monitor.trend.portfolio import fitted
from monitor.trend.shapes import Array, Flags

PRIOR_LOG_SD = 0.7
"""Log sd of the priors: twice or half the default is one sd off (practice from memory, no source)."""

SAMPLE = 600
"""Walls that are enough: the sds of 600 walls are known to a few percent."""

LONGEST = 5.0
"""No log sd goes further than this in one climb: a factor of 150."""

CLIMBED = 0.05
"""Done where no sd would go further than about this share of its standard error."""

LEAST_INFORMATION = 0.01
MOST_STEPS = 60
ROUNDS = 2
"""Times that the walls' speeds are taken anew from the sds."""


@dataclass(frozen=True)
class Estimated:
    """Variances with what is behind them.

    walls, readings: counting ones that were used; by_method: walls and set-ups of each method; log_se: standard errors
    of the log sds that are estimated, prior included, by the names of parameters.name.
    """

    variances: Variances
    walls: int
    readings: int
    by_method: Mapping[str, tuple[int, int]]
    log_se: Mapping[str, float]


@dataclass(frozen=True)
class Found:
    """sds, log_se: vectors of parameters; what the walls say there."""

    sds: Array
    at: At
    log_se: Array


def estimate(
    cases: Cases,
    defaults: Variances,
    *,
    sample: int = SAMPLE,
    seed: int = 0,
    ruled: Flags | None = None,
    technician: Whole | None = None,
) -> Estimated:
    """Estimate the variances from a random sample of the walls that have a counting reading.

    Of each row of Cases.rows: whether a person has ruled on it, so that it is never taken for a misread, and its
    technician. The same cases and seed give the same numbers.
    """
    rows = sampled(cases, sample, seed)
    ruled = np.zeros(len(cases.rows), dtype=bool) if ruled is None else ruled
    technician = np.full(len(cases.rows), -1) if technician is None else technician
    cases = _usual(of_rows(cases, rows), defaults, ruled[rows], technician[rows])
    counting = cases.rows.counts
    walls = len(np.unique(cases.table.wall[cases.rows.case[counting]]))
    if not walls:
        return Estimated(defaults, 0, 0, {}, {})
    likelihood = Likelihood(cases, defaults)
    found = climb(likelihood, parameters.to_vector(defaults), parameters.free(defaults))
    free = parameters.free(defaults)
    variances = parameters.from_vector(defaults, found.sds)
    dof, scale = scale_prior.estimate(found.at.q, found.at.d, defaults)
    return Estimated(
        structs.replace(variances, scale_dof=dof, scale=scale),
        walls,
        int(counting.sum()),
        setups_by_method(cases),
        {parameters.name(int(n)): float(found.log_se[n]) for n in np.flatnonzero(free)},
    )


def _usual(cases: Cases, defaults: Variances, ruled: Flags, technician: Whole) -> Cases:
    """The cases without what is no noise: misreads, a newest visit that stands apart, a technician's habit."""
    screened = screening.screen(cases, defaults, ruled)
    cases = screening.without_apart(screening.without(cases, screened), screened)
    told = technicians.joined([technicians.sums(cases, done, technician) for done in fitted(cases, defaults)])
    return technicians.without(cases, told, technician)


def climb(likelihood: Likelihood, defaults: Array, free: Flags, prior_log_sd: float = PRIOR_LOG_SD) -> Found:
    """The largest penalised likelihood over the free sds, from the defaults up; infinite prior_log_sd: no prior."""
    sds = defaults
    for _ in range(ROUNDS):
        likelihood.refresh_speed(sds)
        sds = _climbed(likelihood, sds, defaults, free, prior_log_sd)
    at = likelihood.at(sds)
    log_se = np.zeros_like(sds)
    log_se[free] = np.sqrt(np.diag(np.linalg.pinv(_information(at, free, prior_log_sd))))
    return Found(sds, at, log_se)


def _climbed(likelihood: Likelihood, start: Array, defaults: Array, free: Flags, prior_log_sd: float) -> Array:
    """One climb by bounded quasi-Newton steps, on log sds in units of their standard errors."""
    first = likelihood.at(start)
    unit = 1 / np.sqrt(np.maximum(np.diag(_information(first, free, prior_log_sd)), LEAST_INFORMATION))
    height = first.log_likelihood.sum()
    whole = start.copy()

    def below(steps: Array) -> tuple[float, Array]:
        whole[free] = start[free] * np.exp(steps * unit)
        at = likelihood.at(whole) if np.any(steps) else first
        off = np.log(whole[free] / defaults[free])
        gradient = at.score[:, free].sum(axis=0) - off / prior_log_sd**2
        loss = height - at.log_likelihood.sum() + (off**2).sum() / prior_log_sd**2 / 2
        return float(loss), -gradient * unit

    reach = LONGEST / unit
    found = optimize.minimize(
        below,
        np.zeros(len(unit)),
        jac=True,
        method="L-BFGS-B",
        bounds=list(zip(-reach, reach, strict=True)),
        options={"gtol": CLIMBED, "ftol": 0.0, "maxiter": MOST_STEPS},
    )
    whole[free] = start[free] * np.exp(found.x * unit)
    return whole


def _information(at: At, free: Flags, prior_log_sd: float) -> Array:
    """Information on the free log sds: of the walls' scores, which are independent, and the prior."""
    score = at.score[:, free]
    return np.asarray(score.T @ score + np.eye(int(free.sum())) / prior_log_sd**2)


def sampled(cases: Cases, most: int, seed: int) -> npt.NDArray[np.intp]:
    """Rows of at most so many walls that have a counting reading, drawn by the seed from the walls in order."""
    wall = cases.table.wall[cases.rows.case]
    has = np.unique(wall[cases.rows.counts])
    chosen = has if len(has) <= most else np.random.default_rng(seed).choice(has, most, replace=False)
    return np.flatnonzero(np.isin(wall, chosen))


def of_rows(cases: Cases, rows: npt.NDArray[np.intp]) -> Cases:
    """The cases that have those rows, with them alone."""
    wanted, number = np.unique(cases.rows.case[rows], return_inverse=True)
    some = replace(cases.rows.take(rows), case=number.astype(np.intp))
    return replace(cases, table=cases.table.take(wanted), rows=some)
