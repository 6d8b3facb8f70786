"""Shares, medians and counts with their errors, against exact numbers, published tables and an independent library."""

import numpy as np
import pytest
from scipy import stats

from monitor.config import Variances
from monitor.study.shares import clustered_share, months, noise_dof, noise_spread, poisson_interval, share


@pytest.mark.parametrize(("hits", "of"), [(0, 10), (1, 20), (7, 30), (50, 50)])
def test_a_share_has_the_exact_binomial_interval(hits: int, of: int) -> None:
    found = share(np.arange(of) < hits)
    expected = stats.binomtest(hits, of).proportion_ci(method="exact")
    assert (found.value, found.of) == (hits / of, of)
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high))


def test_none_in_ten_may_still_be_one_in_three() -> None:
    """By hand: 1 - 0.025^(1/10)."""
    assert share([False] * 10).high == pytest.approx(1 - 0.025**0.1)


def test_nothing_to_take_a_share_of_is_unknown() -> None:
    assert np.isnan(share([]).value)
    assert np.isnan(clustered_share([0.0], [0.0]).value)


def test_walls_of_one_reading_are_the_plain_binomial_case() -> None:
    hits = [1.0] * 45 + [0.0] * 5
    one, plain = clustered_share(hits, [1.0] * 50), share(np.array(hits) > 0)
    assert one.value == plain.value
    # n - 1 for n in the variance between walls is the only difference
    assert (one.low, one.high) == pytest.approx((plain.low, plain.high), abs=0.002)


def test_marks_that_agree_within_their_wall_are_worth_one_each() -> None:
    hits, counts = np.array([9.0] * 45 + [0.0] * 5), np.full(50, 9.0)
    nine, one = clustered_share(hits, counts), clustered_share(hits / 9, counts / 9)
    assert nine.of == 450
    assert (nine.value, nine.low, nine.high) == pytest.approx((one.value, one.low, one.high))


def test_the_interval_of_a_clustered_share_holds_as_often_as_it_says() -> None:
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(400):
        chance = rng.beta(18, 2, 60)
        counts = rng.integers(1, 9, 60)
        found = clustered_share(rng.binomial(counts, chance), counts)
        held += found.low <= 0.9 <= found.high
    low, high = stats.binom.ppf([0.0005, 0.9995], 400, 0.95)
    assert low <= held <= max(high, 395)


def test_a_median_is_an_order_statistic_and_what_is_never_found_comes_last() -> None:
    assert months([3.0, 1.0, np.inf]).value == 3.0
    assert months([1.0, np.inf, np.inf]).value == np.inf
    assert months([1, 2, 3, 4, 5, 6, 7, 8, 9, 10], 0.9).value == 9


def test_the_interval_of_a_median_of_ten_is_the_tabled_pair_of_order_statistics() -> None:
    """Sign test tables (e.g. Conover, Practical Nonparametric Statistics): n = 10 gives the 2nd and 9th, 97.9 %."""
    found = months(np.arange(1.0, 11.0))
    assert (found.low, found.high) == (2.0, 9.0)


def test_the_interval_of_a_median_holds_as_often_as_it_says() -> None:
    rng = np.random.default_rng(5)
    draws = rng.exponential(size=(500, 25))
    held = [found.low <= np.log(2) <= found.high for found in map(months, draws)]
    assert np.mean(held) >= 0.95 - 0.03


@pytest.mark.parametrize(("count", "low", "high"), [(0, 0.0, 3.6889), (1, 0.0253, 5.5716), (10, 4.7954, 18.3904)])
def test_the_interval_of_a_count_is_the_tabled_one(count: int, low: float, high: float) -> None:
    """Garwood (1936), Biometrika 28, 437-442; values from memory, 0 by hand: -ln 0.025."""
    assert poisson_interval(count) == pytest.approx((low, high), abs=5e-5)


def test_the_spread_of_noises_and_the_degrees_of_freedom_that_stand_for_it_are_one_thing() -> None:
    assert noise_spread(noise_dof(0.4)) == pytest.approx(0.4)
    simulated = np.log(stats.chi2.rvs(15, size=200_000, random_state=1)).std() / 2
    assert noise_spread(Variances().scale_dof) == pytest.approx(simulated, rel=0.01)
    assert noise_dof(0.0) >= 1e5
