"""Bounds by hand and from published tables."""

from types import SimpleNamespace

import numpy as np
import pytest

from monitor.config import Variances
from monitor.trend.bounds import Scale, effective_number, moderated, pair, quantile, wall_pair


@pytest.mark.parametrize(
    ("dof", "two_sided", "one_sided"),
    [(1, 12.7062, 6.31375), (2, 4.30265, 2.91999), (3, 3.18245, 2.35336), (5, 2.57058, 2.01505), (10, 2.22814, 1.81246),
     (20, 2.08596, 1.72472), (30, 2.04227, 1.69726)],
)  # fmt: skip
def test_quantiles_of_t_are_those_of_the_tables(dof: int, two_sided: float, one_sided: float) -> None:
    """Any table of t, e.g. NIST/SEMATECH e-Handbook 1.3.6.7."""
    assert float(quantile(0.975, np.array(float(dof)))) == pytest.approx(two_sided, abs=5.1e-5)
    assert float(quantile(0.95, np.array(float(dof)))) == pytest.approx(one_sided, abs=5.1e-6)


def test_bounds_of_a_mark_by_hand() -> None:
    """d0 5 and s0^2 1 with q 10 on d 5: factor 15 / 10, 10 degrees of freedom, t 1.81246."""
    scale = moderated(np.array(10.0), np.array(5.0), Variances(scale_dof=5, scale=1))
    assert scale.variance == pytest.approx(1.5)
    assert scale.dof == 10
    got = pair(np.array([2.0]), np.array([0.4]), scale)
    reach = 1.81246 * 0.4 * np.sqrt(1.5)
    assert got.lower == pytest.approx(2 - reach, abs=1e-5)
    assert got.upper == pytest.approx(2 + reach, abs=1e-5)


def number(correlation: np.ndarray, measured: list[bool]) -> float:
    return float(effective_number(correlation, np.array(measured)))


def test_effective_number_of_marks() -> None:
    """Independent marks count each, marks that move as one count one; unmeasured ones and units do not count."""
    assert number(np.eye(4), [True] * 4) == pytest.approx(4)
    assert number(np.ones((4, 4)), [True] * 4) == pytest.approx(1)
    assert number(np.ones((4, 4)) * np.outer([1, 2, 3, 4], [1, 2, 3, 4]), [True] * 4) == pytest.approx(1)
    half = np.array([[1, 0.5], [0.5, 1]])
    assert number(half, [True, True]) == pytest.approx(1 + 0.5 + 0.5)
    padded = np.zeros((3, 3))
    padded[:2, :2] = half
    assert number(padded, [True, True, False]) == pytest.approx(2)
    assert number(np.eye(3), [True, False, True]) == pytest.approx(2)


def made(rate: list[float], se: list[float]) -> SimpleNamespace:
    """What wall_pair reads of a fit: marks with independent errors, NaN for one that is not measured."""
    rates, ses = np.array([rate]), np.array([se])
    return SimpleNamespace(
        mark_rate=rates,
        mark_se=ses,
        mark_measured=~np.isnan(rates),
        mark_covariance=np.array([np.diag(np.nan_to_num(ses[0]) ** 2)]),
    )


SCALE = Scale(np.array([10.0]), np.array([10.0]))


def test_the_walls_pair_is_the_largest_lower_bound_at_the_stricter_level_and_the_largest_upper_bound() -> None:
    """Two independent marks: level 1 - 0.05 / 2 = 0.975, t 2.22814 on 10 degrees of freedom; upper at 0.95, 1.81246."""
    got = wall_pair(made([3.0, 2.5, np.nan], [1.0, 0.1, np.nan]), SCALE, np.array([3.175]))
    assert got.governing == 0
    assert got.rate == pytest.approx(3.0)
    assert got.lower == pytest.approx(2.5 - 2.22814 * 0.1, abs=1e-5)
    assert got.upper == pytest.approx(3.0 + 1.81246, abs=1e-5)


def governed(rate: list[float], preferred: list[list[bool]]) -> tuple[int, float, float, float]:
    got = wall_pair(made(rate, [0.5] * len(rate)), SCALE, np.array([3.175]), [np.array([group]) for group in preferred])
    return int(got.governing[0]), float(got.rate[0]), float(got.lower[0]), float(got.upper[0])


def test_the_mark_that_speaks_is_the_fastest_of_the_most_preferred_and_the_pair_is_still_of_all() -> None:
    """The corner mark 0 has the largest estimate; mark 2 is the fastest read now, mark 1 the fastest off the corner."""
    rates, read, inner = [1.0, 0.6, 0.5, 0.2], [False, False, True, True], [False, True, True, True]
    of_all = governed(rates, [])
    assert of_all[:2] == (0, 1.0)
    assert governed(rates, [read, inner]) == (2, 0.5, *of_all[2:])
    assert governed(rates, [[False] * 4, inner]) == (1, 0.6, *of_all[2:])
    assert governed(rates, [[False] * 4, [False] * 4]) == of_all


def test_a_preferred_mark_that_does_not_measure_does_not_speak() -> None:
    assert governed([1.0, np.nan], [[False, True]])[0] == 0


def test_a_slow_mark_does_not_speak_for_a_wall_of_which_another_is_shown_to_be_faster() -> None:
    """Lower bound of the two by hand: 5 less t .975 of 10 degrees of freedom, 2.22814, times 0.5: 3.886."""
    assert governed([5.0, 3.89], [[False, True]])[:2] == (1, 3.89)
    assert governed([5.0, 3.88], [[False, True]])[:2] == (0, 5.0)


def test_nothing_measured_gives_no_number() -> None:
    got = wall_pair(made([np.nan], [np.nan]), SCALE, np.array([3.175]))
    assert got.governing == -1
    assert np.isnan([got.rate, got.lower, got.upper, got.exceed_chance]).all()


def test_the_chance_to_exceed_is_half_at_the_threshold_and_that_of_the_likeliest_mark() -> None:
    assert wall_pair(made([3.175], [0.7]), SCALE, np.array([3.175])).exceed_chance == pytest.approx(0.5)
    got = wall_pair(made([3.175 + 1.81246, 0.0], [1.0, 1.0]), SCALE, np.array([3.175])).exceed_chance
    assert got == pytest.approx(0.95, abs=1e-6)
