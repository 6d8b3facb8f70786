"""The company's own variances: restricted maximum likelihood over its walls, with weak priors at the defaults.

All sds are estimated together on their logarithms, each with a log-normal prior around its default, so that the first
wall already gets sensible intervals and what no reading tells about stays at its default.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import optimize

from monitor.config import Variances
from monitor.trend import parameters, scale_prior, screening
from monitor.trend.cases import WALL, Cases
from monitor.trend.likelihood import At, Likelihood, setups_by_method
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
    cases: Cases, defaults: Variances, *, sample: int = SAMPLE, seed: int = 0, ruled: Flags | None = None
) -> Estimated:
    """Estimate the variances from a random sample of the walls that have a counting reading.

    ruled: rows of Cases.rows that a person has decided on, which are never taken for misreads (rows,). Misreads are
    set aside first. The same cases and seed give the same numbers.
    """
    cases, ruled = sampled(cases, sample, seed, ruled)
    cases = screening.without(cases, screening.screen(cases, defaults, ruled))
    counting = cases.rows["counts"].to_numpy(bool)
    walls = len(cases.rows.loc[counting, WALL].drop_duplicates())
    if not walls:
        return Estimated(defaults, 0, 0, {}, {})
    likelihood = Likelihood(cases, defaults)
    found = climb(likelihood, parameters.to_vector(defaults), parameters.free(defaults))
    free = parameters.free(defaults)
    variances = parameters.from_vector(defaults, found.sds)
    dof, scale = scale_prior.estimate(found.at.q, found.at.d, defaults)
    return Estimated(
        variances.model_copy(update={"scale_dof": dof, "scale": scale}),
        walls,
        int(counting.sum()),
        setups_by_method(cases.rows),
        {parameters.name(int(n)): float(found.log_se[n]) for n in np.flatnonzero(free)},
    )


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


def sampled(cases: Cases, most: int, seed: int, ruled: Flags | None = None) -> tuple[Cases, Flags]:
    """The cases of at most so many walls that have a counting reading, drawn by the seed from the walls in order."""
    wall = cases.table.groupby(WALL, sort=True).ngroup().to_numpy(np.intp)
    case = cases.rows["case"].to_numpy(np.intp)
    has = np.unique(wall[case[cases.rows["counts"].to_numpy(bool)]])
    chosen = has if len(has) <= most else np.random.default_rng(seed).choice(has, most, replace=False)
    return _of(cases, np.isin(wall, chosen), ruled)


def _of(cases: Cases, wanted: Flags, ruled: Flags | None) -> tuple[Cases, Flags]:
    case = cases.rows["case"].to_numpy(np.intp)
    source = np.flatnonzero(wanted[case])
    number = np.cumsum(wanted) - 1
    rows = cases.rows.iloc[source].reset_index(drop=True)
    rows = rows.assign(case=number[case[source]])
    table = cases.table[wanted].reset_index(drop=True)
    kept = np.zeros(len(source), dtype=bool) if ruled is None else ruled[source]
    return Cases(table=table.assign(case=np.arange(len(table))), rows=pd.DataFrame(rows), seen=cases.seen[source]), kept
