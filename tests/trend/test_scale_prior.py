"""The prior of the walls' residual scales: against scipy's F, on known truth, and where little is known."""

import numpy as np
import pytest
from scipy import optimize, stats

from monitor.config import Variances
from monitor.trend import scale_prior

DEFAULTS = Variances()


def drawn(periods: int, dof: float, scale: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Quadratic forms of walls whose own scale is scale x dof / chi-square(dof)."""
    rng = np.random.default_rng(seed)
    d = rng.integers(3, 40, periods).astype(float)
    return rng.chisquare(d) * scale * dof / rng.chisquare(dof, periods), d


def test_it_is_the_maximum_likelihood_of_f() -> None:
    q, d = drawn(300, 12.0, 0.9, 1)

    def loss(at: np.ndarray) -> float:
        dof, scale = np.exp(at)
        return -float((stats.f.logpdf(q / (d * scale), d, dof) - np.log(scale)).sum())

    want = np.exp(optimize.minimize(loss, [2.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-9}).x)
    assert scale_prior.estimate(q, d, DEFAULTS) == pytest.approx(tuple(want), rel=1e-3)


def test_known_truth_is_found_within_its_sampling_error() -> None:
    found = np.log([scale_prior.estimate(*drawn(600, 15.0, 1.0, seed), DEFAULTS) for seed in range(20)])
    spread = found.std(axis=0, ddof=1)
    assert np.abs(found.mean(axis=0) - np.log([15.0, 1.0])) == pytest.approx(0, abs=3 * spread.max() / np.sqrt(20))
    assert spread[0] < 0.25
    assert spread[1] < 0.05


def test_fewer_than_fifty_periods_that_tell_keep_the_defaults() -> None:
    q, d = drawn(49, 5.0, 3.0, 2)
    q, d = np.append(q, np.ones(500)), np.append(d, np.full(500, 2.0))
    assert scale_prior.estimate(q, d, DEFAULTS) == (15.0, 1.0)
    q, d = drawn(50, 5.0, 3.0, 2)
    assert scale_prior.estimate(q, d, DEFAULTS) != (15.0, 1.0)


def test_readings_that_rounding_made_equal_break_nothing() -> None:
    q, d = drawn(300, 12.0, 0.9, 3)
    q[:10] = 0.0
    dof, scale = scale_prior.estimate(q, d, DEFAULTS)
    assert 2 < dof < 20
    assert 0.5 < scale < 1.2


def test_walls_of_one_scale_reach_the_bound_of_no_difference() -> None:
    rng = np.random.default_rng(4)
    d = np.full(400, 30.0)
    dof, scale = scale_prior.estimate(rng.chisquare(30, 400), d, DEFAULTS)
    assert dof > 80
    assert scale == pytest.approx(1.0, abs=0.05)
