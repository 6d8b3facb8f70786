"""One period of a wall: rates, local deviations and yearly cycle from the sums of its visits and the priors.

Levels and rates are free; local deviations and the cycle are random. The fit works on any number of cases, and of
starting visits, side by side: leading axes are arbitrary.
"""

import numpy as np
import numpy.typing as npt

from monitor.config import Variances
from monitor.records import dataclass
from monitor.trend.blocks import RATES, Block, Layout
from monitor.trend.information import KEPT, Solution, Sums, accumulate, solve
from monitor.trend.shapes import NOTHING, Array, Flags
from monitor.trend.variances import LEAST, season_variance

LEAST_SHARE = 0.05
"""A component that keeps less of its information once the others are unknown too is not measured."""


@dataclass(frozen=True)
class Season:
    """Normal distribution of the cycle's two coefficients: mean (..., 2) and covariance (..., 2, 2), mm and mm^2."""

    mean: Array
    covariance: Array


@dataclass(frozen=True)
class Estimate:
    """All parameters of one period, given the variances.

    theta (..., P), covariance (..., P, P) before moderation; q: quadratic form of generalised least squares (...);
    d: readings less projected set-up columns less rank of the fixed effects (...); log_likelihood: restricted, up to
    a constant of the design (...); others: all parameters but the rates, were the rates known; rates,
    rates_information: of the rates once all others are unknown (..., R, R); link: how the others answer to the rates
    (..., R, O).
    """

    theta: Array
    covariance: Array
    q: Array
    d: Array
    log_likelihood: Array
    others: Solution
    rates: Solution
    rates_information: Array
    link: Array


@dataclass(frozen=True)
class Errors:
    """How well one period shows the rates of its marks, before moderation of the scale.

    mark_seen: marks where the method sees any movement; mark_measured (..., M); mark_covariance (..., M, M).
    """

    mark_seen: Flags
    mark_measured: Flags
    mark_covariance: Array

    @property
    def mark_se(self) -> Array:
        """Standard errors of the marks' rates before moderation, NaN where not measured."""
        variance = np.diagonal(self.mark_covariance, axis1=-2, axis2=-1)
        return np.sqrt(np.where(self.mark_measured, variance, np.nan))


@dataclass(frozen=True)
class Rates(Errors):
    """What one period shows, before moderation of the scale; NaN where nothing is measured.

    measured, rate, rate_se: of the components (..., 3); mark_rate (..., M); to_base: the marks' rates are the sums of
    the measured components (...); local_variance: of the local deviations (...).
    """

    measured: Flags
    rate: Array
    rate_se: Array
    mark_rate: Array
    to_base: Flags
    local_variance: Array


@dataclass(frozen=True)
class Fit(Rates):
    """The same with all it is made of.

    estimate: all parameters; mark_functional: the marks' rates as functionals of the parameters, 0 where not measured
    (..., M, P).
    """

    estimate: Estimate
    mark_functional: Array


def unknown_season(variances: Variances, cases: int) -> Season:
    """The cycle of walls that nothing is known of."""
    covariance = season_variance(variances) * np.eye(2)
    return Season(np.zeros((cases, 2)), np.broadcast_to(covariance, (cases, 2, 2)).copy())


def carried(season: Season, variances: Variances, periods: npt.NDArray[np.intp]) -> Season:
    """The cycle a number of periods later: damped towards the cycle of a wall that nothing is known of."""
    carry = variances.season_carry ** periods.astype(np.float64)
    fresh = (1 - carry**2)[:, None, None] * season_variance(variances) * np.eye(2)
    return Season(season.mean * carry[:, None], season.covariance * (carry**2)[:, None, None] + fresh)


def sums_of(block: Block) -> Sums:
    """Sums of each visit over [parameters, reading, bow shape], shape (B, V, ...)."""
    regressors = np.concatenate([block.design, block.deflection[..., None], block.bow[..., None]], axis=-1)
    return accumulate(regressors, block.weight, block.columns, block.free)


def estimate(
    total: Sums, layout: Layout, season: Season, local_variance: Array, rate_precision: float = 0.0
) -> Estimate:
    """Estimate all parameters of one period.

    total: sums over the visits; season: prior of the cycle; local_variance (...): of each local deviation, mm^2/yr^2;
    rate_precision: 0 for free rates, else 1 / variance of rates that are random about 0.
    """
    information, right, quadratic = _with_priors(total, layout, season, local_variance, rate_precision)
    o, r = slice(0, layout.others), layout.rates
    others = solve(information[..., o, o])
    link = information[..., r, o]
    solved = link @ others.inverse
    left = information[..., r, r] - solved @ np.swapaxes(link, -1, -2)
    left = _known(left, information[..., r, r])
    rates = solve(left)
    cross = -rates.inverse @ solved
    first = others.inverse - np.swapaxes(solved, -1, -2) @ cross
    covariance = np.concatenate(
        [
            np.concatenate([first, np.swapaxes(cross, -1, -2)], axis=-1),
            np.concatenate([cross, rates.inverse], axis=-1),
        ],
        axis=-2,
    )
    theta = (covariance @ right[..., None])[..., 0]
    free_rank = others.rank - (layout.marks + season.mean.shape[-1])
    d = total.count - free_rank - (0 if rate_precision else rates.rank)
    q = np.where(d > 0, np.maximum(quadratic - (theta * right).sum(axis=-1), 0.0), 0.0)
    priors = layout.marks * np.log(np.maximum(local_variance, LEAST)) + np.linalg.slogdet(season.covariance)[1]
    log_likelihood = -0.5 * (total.log_det + priors + others.log_det + rates.log_det + q + d * np.log(2 * np.pi))
    return Estimate(theta, covariance, q, d, log_likelihood, others, rates, left, solved)


def fit(total: Sums, layout: Layout, phi: Array, season: Season, variances: Variances) -> Fit:
    """Fit one period: a first pass without the moving wall's share of the local deviation, then the pass with it."""
    omega = np.full(total.count.shape, max(variances.local_mm_per_year**2, LEAST))
    first = fit_given(total, layout, phi, season, omega)
    if not variances.local_share:
        return first
    largest = largest_square(first.mark_rate, first.mark_se)
    local_variance = omega + variances.local_share**2 * largest
    return fit_given(total, layout, phi, season, local_variance)


def fit_given(total: Sums, layout: Layout, phi: Array, season: Season, local_variance: Array) -> Fit:
    """Fit one period with the variance of its local deviations given (...), mm^2/yr^2."""
    return _rates(estimate(total, layout, season, local_variance), layout, phi, local_variance)


def season_of(estimated: Estimate, layout: Layout) -> Season:
    """The cycle as this period leaves it known."""
    s = layout.season
    return Season(estimated.theta[..., s], estimated.covariance[..., s, s])


def _with_priors(
    total: Sums, layout: Layout, season: Season, local_variance: Array, rate_precision: float
) -> tuple[Array, Array, Array]:
    """Information, right-hand side and quadratic form with the priors added."""
    p = layout.size
    information, right = total.cross[..., :p, :p].copy(), total.cross[..., :p, p].copy()
    local = np.arange(layout.local.start, layout.local.stop)
    information[..., local, local] += 1 / np.maximum(local_variance, LEAST)[..., None]
    precision = np.linalg.inv(season.covariance)
    pulled = (precision @ season.mean[..., None])[..., 0]
    information[..., layout.season, layout.season] += precision
    right[..., layout.season] += pulled
    rates = np.arange(layout.others, p)
    information[..., rates, rates] += rate_precision
    return information, right, total.cross[..., p, p] + (pulled * season.mean).sum(axis=-1)


def _known(left: Array, whole: Array) -> Array:
    """The rates' information once the others are unknown, exactly 0 where only rounding errors are left of it."""
    known = np.diagonal(left, axis1=-2, axis2=-1) > KEPT * np.diagonal(whole, axis1=-2, axis2=-1)
    return np.where(known[..., :, None] & known[..., None, :], left, 0.0)


def _measured(estimated: Estimate) -> Flags:
    """Components in the row space that keep their share of information once the others are unknown too."""
    inside = estimated.rates.determined(np.broadcast_to(np.eye(RATES), estimated.rates.inverse.shape))
    information = np.diagonal(estimated.rates_information, axis1=-2, axis2=-1)
    alone = information * np.diagonal(estimated.rates.inverse, axis1=-2, axis2=-1)
    return np.asarray(inside & (alone > 0) & (alone * LEAST_SHARE <= 1))


def _rates(estimated: Estimate, layout: Layout, phi: Array, local_variance: Array) -> Fit:
    """Rates of components and marks with what of them is measured."""
    measured = _measured(estimated)
    whole, seen = _functionals(layout, phi)
    determined = _determined(estimated, layout, whole)
    to_base = np.any(seen & ~determined, axis=-1)
    part = phi * measured[..., None, :]
    summed, summed_seen = _functionals(layout, part)
    functional = np.where(to_base[..., None, None], summed, whole)
    mark_measured = np.where(to_base[..., None], summed_seen, seen & determined)
    functional = functional * mark_measured[..., None]
    mark_rate = (functional @ estimated.theta[..., None])[..., 0]
    mark_covariance = functional @ estimated.covariance @ np.swapaxes(functional, -1, -2)
    rates = layout.rates
    variance = np.diagonal(estimated.covariance[..., rates, rates], axis1=-2, axis2=-1)
    return Fit(
        measured=measured,
        rate=np.where(measured, estimated.theta[..., rates], np.nan),
        rate_se=np.sqrt(np.where(measured, variance, np.nan)),
        mark_seen=seen,
        mark_measured=mark_measured,
        mark_rate=np.where(mark_measured, mark_rate, np.nan),
        mark_covariance=mark_covariance,
        to_base=to_base,
        local_variance=local_variance,
        estimate=estimated,
        mark_functional=functional,
    )


def _functionals(layout: Layout, phi: Array) -> tuple[Array, Flags]:
    """The marks' rates, phi . rate + local, as functionals (..., M, P), and whether the method sees them at all."""
    functional = np.zeros((*phi.shape[:-1], layout.size))
    marks = np.arange(layout.marks)
    functional[..., marks, layout.local.start + marks] = 1
    functional[..., layout.rates] = phi
    return functional, np.any(np.abs(phi) > NOTHING, axis=-1)


def _determined(estimated: Estimate, layout: Layout, functional: Array) -> Flags:
    """Whether functionals of local deviations (never undetermined) and rates are determined."""
    on_rates = functional[..., layout.rates] - functional[..., : layout.others] @ np.swapaxes(estimated.link, -1, -2)
    return estimated.rates.determined(on_rates)


def largest_square(mark_rate: Array, mark_se: Array) -> Array:
    """Square of the largest absolute rate of a mark (..., M; NaN not measured), less its squared error, at least 0."""
    size = np.where(np.isnan(mark_rate), -1.0, np.abs(mark_rate))
    largest = size.argmax(axis=-1)[..., None]
    rate = np.take_along_axis(mark_rate, largest, axis=-1)[..., 0]
    se = np.take_along_axis(mark_se, largest, axis=-1)[..., 0]
    return np.maximum(np.nan_to_num(rate**2 - se**2), 0.0)
