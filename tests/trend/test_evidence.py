"""The evidence against the mixture it stands for, its laws, and what it promises when nothing moves too fast."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from monitor.errors import TrendError
from monitor.trend.evidence import expected_false_flags, log_evidence, log_mixture, wall_log_evidence


def mixture_by_quadrature(b: float, se: float, r0: float, s: float, n: float, s02: float) -> float:
    """Likelihood of b under all rates above r0 over that under r0: both integrals numerical, from densities alone.

    The noise variance has the density of s / chi^2(n); the rate is r0 + g (sigma / s0) |N(0, 1)|, g = r0 / 2.
    """
    sigma = np.sqrt(s / n) * np.geomspace(1 / 8, 8, 4001)
    v = np.linspace(0, 9, 2001)[:, None]
    of_sigma = stats.chi2.pdf(s / sigma**2, n) * 2 * s / sigma**3
    rate = r0 + r0 / 2 * sigma / np.sqrt(s02) * v
    above = stats.norm.pdf(b, rate, se * sigma) * 2 * stats.norm.pdf(v)
    top = integrate.simpson(integrate.simpson(above, x=v, axis=0) * of_sigma, x=sigma)
    return float(top / integrate.simpson(stats.norm.pdf(b, r0, se * sigma) * of_sigma, x=sigma))


@pytest.mark.parametrize(
    ("b", "se", "r0", "s", "n", "s02"),
    [
        (4.0, 0.8, 1.5875, 21.0, 24.0, 1.0),
        (1.0, 0.5, 1.5875, 40.0, 33.0, 1.0),
        (3.0, 1.2, 3.175, 9.0, 15.0, 0.7),
        (-2.0, 0.9, 3.175, 30.0, 18.0, 1.4),
    ],
)
def test_evidence_is_the_likelihood_of_the_mixture_over_that_of_the_threshold(
    b: float, se: float, r0: float, s: float, n: float, s02: float
) -> None:
    oracle = mixture_by_quadrature(b, se, r0, s, n, s02)
    assert float(np.exp(log_evidence(b, se, r0, s, n, s02))) == pytest.approx(oracle, rel=1e-6)


@pytest.mark.parametrize(("z", "h", "n"), [(-60.0, 30.0, 1000.0), (-45.0, 3.0, 400.0), (-5.0, 200.0, 30.0)])
def test_evidence_keeps_its_digits_where_its_parts_are_beyond_all_floats(z: float, h: float, n: float) -> None:
    """e = E exp(z h v w - h^2 v^2 / 2), w = 1 / sigma at the threshold: w^2 (S + z^2) ~ chi^2(n + 1), u = h v."""
    s, middle, spread = n, n + 1, np.sqrt(2 * (n + 1))
    c = np.linspace(max(middle - 12 * spread, 1e-9), middle + 14 * spread, 2001)
    longest = min(9 * h, 60 / abs(z) * np.sqrt((s + z**2) / max(middle - 8 * spread, 1)))
    u = np.linspace(0, longest, 4001)[:, None]
    given_c = np.exp(z * u * np.sqrt(c / (s + z**2)) - u**2 / 2) * 2 * stats.norm.pdf(u / h) / h
    oracle = integrate.simpson(integrate.simpson(given_c, x=u, axis=0) * stats.chi2.pdf(c, n + 1), x=c)
    assert float(log_mixture(z, h, s, n)) == pytest.approx(np.log(oracle), abs=1e-6)


def test_the_far_tail_agrees_with_the_normal_tail_when_the_noise_is_known() -> None:
    """With endless degrees of freedom e = 2 k^-1/2 exp(z^2 h^2 / 2k) Phi(z h / sqrt k) (known variance)."""
    z, h, n = np.array([-39.0, -20.0, -1.0, 0.0, 3.0]), 1e4, 1e12
    k = 1 + h**2
    known = np.log(2) - np.log(k) / 2 + z**2 * h**2 / k / 2 + special.log_ndtr(z * h / np.sqrt(k))
    np.testing.assert_allclose(log_mixture(z, h, n, n), known, atol=2e-3)


def test_one_reading_that_says_nothing_of_the_rate_leaves_the_evidence_at_one() -> None:
    told = log_evidence([np.nan, 3.0, 3.0, 3.0], [1.0, np.nan, np.inf, 1e9], 1.5875, 20.0, 20.0, 1.0)
    np.testing.assert_allclose(told, 0.0, atol=1e-8)
    assert np.isfinite(told).all()
    with_nothing_fitted = log_evidence([np.nan, 3.0], 1.0, 1.5875, [np.nan, 20.0], [np.nan, 20.0], 1.0)
    assert with_nothing_fitted.tolist() == [0.0, log_evidence(3.0, 1.0, 1.5875, 20.0, 20.0, 1.0)]


def test_shapes_broadcast_walls_by_marks() -> None:
    many = log_evidence(np.full((2, 3), 4.0), np.full((2, 3), 0.8), [[1.5875], [3.175]], [[21.0], [30.0]], 24.0, 1.0)
    assert many.shape == (2, 3)
    assert many[1, 2] == log_evidence(4.0, 0.8, 3.175, 30.0, 24.0, 1.0)


@pytest.mark.parametrize("threshold", [0.0, -1.0, np.nan, np.inf])
def test_a_threshold_that_is_not_above_nought_is_refused(threshold: float) -> None:
    with pytest.raises(TrendError, match="threshold above 0"):
        log_evidence(1.0, 1.0, threshold, 20.0, 20.0, 1.0)


@pytest.mark.parametrize(
    ("se", "s", "n", "s02", "named"),
    [
        (0.0, 20.0, 20.0, 1.0, "standard error"),
        (-1.0, 20.0, 20.0, 1.0, "standard error"),
        (1.0, 0.0, 20.0, 1.0, "s_total"),
        (1.0, np.nan, 20.0, 1.0, "s_total"),
        (1.0, 20.0, 0.0, 1.0, "n_total"),
        (1.0, 20.0, 20.0, np.inf, "prior residual scale"),
    ],
)
def test_a_scale_that_cannot_be_is_refused_by_name(se: float, s: float, n: float, s02: float, named: str) -> None:
    with pytest.raises(TrendError, match=named):
        log_evidence(1.0, se, 1.5875, s, n, s02)


@pytest.mark.parametrize("share", [1.0, 0.5, 0.0])
def test_expected_evidence_is_at_most_one_at_and_below_the_threshold(share: float) -> None:
    """Seeded simulation of b and q with the noise scale drawn from its prior; limit: three standard errors."""
    rng = np.random.default_rng(20240307)
    r0, se, d0, d, s02, runs = 1.5875, 0.9, 15.0, 12.0, 0.8, 400_000
    sigma = np.sqrt(d0 * s02 / rng.chisquare(d0, runs))
    b = rng.normal(share * r0, se * sigma)
    q = sigma**2 * rng.chisquare(d, runs)
    e = np.exp(log_evidence(b, se, r0, d0 * s02 + q, d0 + d, s02))
    error = e.std() / np.sqrt(runs)
    assert e.mean() <= 1 + 3 * error
    if share == 1.0:
        assert e.mean() == pytest.approx(1.0, abs=4 * error)
    crossed = int((e >= 20).sum())
    assert stats.binomtest(crossed, runs, 0.05, alternative="greater").pvalue > 0.001


def test_evidence_grows_for_a_wall_above_the_threshold() -> None:
    rng = np.random.default_rng(5)
    b = rng.normal(3 * 1.5875, 0.5, 2000)
    assert np.mean(log_evidence(b, 0.5, 1.5875, 40.0, 40.0, 1.0) >= np.log(20)) > 0.95


RATES = st.floats(-20, 20)
SES = st.floats(0.02, 20)
SUMS = st.floats(0.5, 200)
DOFS = st.floats(1, 200)


@given(RATES, SES, SUMS, DOFS, st.floats(0.1, 8), st.floats(0, 8), st.floats(0.05, 5))
def test_a_higher_threshold_never_adds_evidence_at_a_given_prior_scale(
    b: float, se: float, s: float, n: float, r0: float, more: float, g: float
) -> None:
    low, high = (log_mixture((b - r) / se, g / se, s, n) for r in (r0, r0 + more))
    assert high <= low + 1e-9 * max(1.0, abs(float(low)))


@given(st.floats(0.01, 20), SES, SUMS, DOFS, st.floats(0.05, 1), st.floats(0, 40))
def test_a_visit_that_repeats_a_forecast_below_the_threshold_never_raises_the_evidence(
    below: float, se: float, s: float, n: float, shrink: float, readings: float
) -> None:
    """Same estimate below r0, smaller se, S unchanged, n grown.

    e = E exp(z h v w - h^2 v^2 / 2) with w^2 ~ chi^2(n + 1) / (S + z^2): for z < 0 both terms of the exponent fall
    with se (z w = -sqrt(chi^2 / (1 + S / z^2))), and w rises with n, so e falls for every v: the law is exact.
    """
    r0 = 1.5875
    before = log_evidence(r0 - below, se, r0, s, n, 1.0)
    after = log_evidence(r0 - below, se * shrink, r0, s, n + readings, 1.0)
    assert after <= before + 1e-9 * max(1.0, abs(float(before)))


@given(RATES, SES, SUMS, DOFS, st.floats(0.01, 100))
def test_evidence_does_not_depend_on_the_unit_of_length(b: float, se: float, s: float, n: float, c: float) -> None:
    """Two ways of scaling: the instruments' sds with everything else, or the residual scale in their stead."""
    plain = log_evidence(b, se, 1.5875, s, n, 0.9)
    np.testing.assert_allclose(log_evidence(b * c, se * c, 1.5875 * c, s, n, 0.9), plain, rtol=1e-8, atol=1e-8)
    np.testing.assert_allclose(
        log_evidence(b * c, se, 1.5875 * c, s * c**2, n, 0.9 * c**2), plain, rtol=1e-8, atol=1e-8
    )


@settings(max_examples=300)
@given(RATES, st.floats(1e-6, 1e6), SUMS, st.floats(0.5, 1e6), st.floats(1e-4, 1e3))
def test_evidence_is_always_a_number(b: float, se: float, s: float, n: float, s02: float) -> None:
    assert np.isfinite(log_evidence(b, se, 1.5875, s, n, s02))


def test_a_wall_is_the_mean_over_its_chosen_marks() -> None:
    log_e = np.log([[30.0, 2.0, 100.0], [1e-3, 7.0, 5.0]])
    got = wall_log_evidence(log_e, np.array([[True, True, False], [False, False, False]]))
    np.testing.assert_allclose(got, [np.log(16.0), 0.0], rtol=1e-12)


def test_a_mark_that_tells_nothing_counts_as_one_in_the_mean() -> None:
    assert float(wall_log_evidence([np.log(39.0), np.nan], [True, True])) == pytest.approx(np.log(20.0))
    assert float(wall_log_evidence([np.log(39.0), 0.0], [True, True])) == pytest.approx(np.log(20.0))


def test_a_wall_of_enormous_evidence_does_not_overflow() -> None:
    assert float(wall_log_evidence([2000.0, 0.0], [True, True])) == pytest.approx(2000.0 - np.log(2.0))
    assert wall_log_evidence(np.zeros((3, 0)), np.zeros((3, 0), dtype=bool)).tolist() == [0.0, 0.0, 0.0]


def test_expected_false_flags_is_the_sum_of_what_speaks_against_each() -> None:
    assert expected_false_flags([0.99, 0.95, 1.0]) == pytest.approx(0.06)
    assert expected_false_flags([]) == 0.0
    assert expected_false_flags([0.9, np.nan]) == pytest.approx(1.1)
    with pytest.raises(TrendError, match="outside 0 to 1"):
        expected_false_flags([1.2])
