"""What visits can show, against published quantiles, power computed elsewhere, and simulation."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.power import TTestPower

from monitor.config import Rules
from monitor.errors import TrendError
from monitor.trend.columns import day_number
from monitor.trend.planning import detectable_rate, earliest_holding, noncentrality

VISITS = np.arange(12) / 4
SE_QUARTERLY = 0.5 / np.sqrt(np.sum((VISITS - VISITS.mean()) ** 2))


def test_the_smallest_rate_of_twelve_quarterly_visits_is_the_published_one() -> None:
    """12 quarterly visits, residual sd 0.5 mm: SE 0.1672484 mm/yr on 10 df (computed with scipy and R)."""
    assert pytest.approx(0.1672484, abs=5e-8) == SE_QUARTERLY
    assert noncentrality(10) == pytest.approx(2.67358471, abs=5e-8)
    assert detectable_rate(SE_QUARTERLY, 10) == pytest.approx(0.4471528, abs=5e-7)


def test_the_published_two_sided_factor_differs_only_by_the_other_tail_that_is_dropped() -> None:
    """Published 3.10996810 counts the other tail too: its 7.3e-7 of power are 2.9e-6 of non-centrality."""
    nc, other_tail = noncentrality(10, level=0.975), stats.nct.cdf(-stats.t.ppf(0.975, 10), 10, 3.10996810)
    assert other_tail == pytest.approx(7.3e-7, rel=0.01)
    assert nc == pytest.approx(3.10996810, abs=4e-6)
    assert noncentrality(10, level=0.975, power=0.8 - other_tail) == pytest.approx(3.10996810, abs=2e-8)
    assert nc * SE_QUARTERLY == pytest.approx(0.5201372, abs=1e-6)


def test_with_known_noise_it_is_the_sum_of_two_normal_quantiles() -> None:
    """(1.645 + 0.842): the textbook factor; two-sided the z approximation of the published check, 0.4685607."""
    assert noncentrality(np.inf) == pytest.approx(1.644854 + 0.841621, abs=1e-6)
    assert noncentrality(np.inf, level=0.975) * SE_QUARTERLY == pytest.approx(0.4685607, abs=5e-7)


@pytest.mark.parametrize(
    ("dof", "t95"),
    [(1, 6.31375), (2, 2.91999), (3, 2.35336), (5, 2.01505), (10, 1.81246), (20, 1.72472), (30, 1.69726)],
)
def test_the_exact_factor_stands_on_the_published_quantiles_of_t(dof: float, t95: float) -> None:
    """t 0.95 as in any table (NIST/SEMATECH e-Handbook 1.3.6.7.2): beyond it by the factor lies 80 % of the tail."""
    assert stats.nct.sf(t95, dof, noncentrality(dof)) == pytest.approx(0.8, abs=2e-6)


@settings(max_examples=40)
@given(st.floats(2, 300), st.sampled_from([0.9, 0.95, 0.975]), st.floats(0.55, 0.99))
def test_the_exact_factor_gives_back_its_power_in_an_independent_library(
    dof: float, level: float, power: float
) -> None:
    """One-sided t test of statsmodels with one observation's effect size: non-centrality = effect * sqrt(nobs)."""
    nc = noncentrality(dof, level, power)
    got = TTestPower().power(
        effect_size=nc / np.sqrt(dof + 1), nobs=dof + 1, alpha=1 - level, df=dof, alternative="larger"
    )
    assert got == pytest.approx(power, abs=1e-6)


@pytest.mark.parametrize("dof", [0.5, 1.0, 2.0, 1e3, 1e5])
def test_the_exact_factor_is_found_at_both_ends_of_the_degrees_of_freedom(dof: float) -> None:
    nc = noncentrality(dof)
    assert stats.nct.sf(stats.t.ppf(0.95, dof), dof, nc) == pytest.approx(0.8, abs=1e-12)


def test_many_degrees_of_freedom_at_once_give_what_each_gives_alone() -> None:
    dofs = np.array([[3.0, np.inf], [17.5, 3.0]])
    found = noncentrality(dofs)
    assert found.tolist() == [[float(noncentrality(dof)) for dof in row] for row in dofs]
    assert detectable_rate(np.array([0.5, 2.0]), dofs[0], 1.5).tolist() == [
        1.5 + 0.5 * found[0, 0],
        1.5 + 2 * found[0, 1],
    ]


def test_four_visits_in_eighteen_months_show_what_the_usual_and_the_careful_error_let_them() -> None:
    """(1.645 + 0.842) s / sqrt(sum (t - mean)^2): 6-monthly visits, s 1.5 and 0.8 mm: 3.3 and 1.8 mm/yr."""
    times = np.arange(4) / 2
    spread = np.sqrt(np.sum((times - times.mean()) ** 2))
    assert round(float(detectable_rate(1.5 / spread, np.inf)), 1) == 3.3
    assert round(float(detectable_rate(0.8 / spread, np.inf)), 1) == 1.8


def test_a_rate_at_the_detectable_one_passes_its_threshold_in_eight_of_ten_seeded_walls() -> None:
    rng, se, dof, threshold, walls = np.random.default_rng(7), 0.7, 12, 1.5875, 40_000
    scale = np.sqrt(rng.chisquare(dof, walls) / dof)
    lower = rng.normal(detectable_rate(se, dof, threshold), se, walls) - stats.t.ppf(0.95, dof) * se * scale
    assert stats.binomtest(int((lower > threshold).sum()), walls, 0.8).pvalue > 0.001


def first_day(first: date | None, visits: int, planned: list[date | None]) -> float:
    """What `earliest_holding` says of one wall, by the company's rules."""
    first_visit, days = (
        np.array([np.nan if day is None else day_number(day) for day in each], dtype=np.float64)
        for each in ([first], planned)
    )
    (found,) = earliest_holding(first_visit, np.array([visits]), days[None, :], Rules())
    return float(found)


def test_holding_needs_four_visits_and_twelve_months_of_the_plan() -> None:
    half_yearly = [date(2024, 10, 10), date(2025, 4, 10), date(2025, 10, 10)]
    assert first_day(date(2024, 4, 10), 1, half_yearly) == day_number(date(2025, 10, 10))
    monthly = [date(2024, 5, 10) + timedelta(days=30 * i) for i in range(14)]
    twelve = min(day for day in monthly if day >= date(2025, 4, 10))
    assert first_day(date(2024, 4, 10), 1, monthly) == day_number(twelve)
    assert np.isnan(first_day(date(2024, 4, 10), 1, half_yearly[:2]))
    assert first_day(None, 0, [date(2024, 4, 10), *half_yearly]) == day_number(date(2025, 10, 10))
    assert first_day(None, 0, [None, date(2024, 4, 10), None, *half_yearly]) == day_number(date(2025, 10, 10))
    assert np.isnan(first_day(None, 0, []))


@pytest.mark.parametrize("se", [0.0, -1.0, np.nan, np.inf])
def test_a_standard_error_that_tells_nothing_is_refused(se: float) -> None:
    with pytest.raises(TrendError, match="above 0"):
        detectable_rate(se, 10)


@pytest.mark.parametrize(
    ("dof", "level", "power"), [(0, 0.95, 0.8), (np.nan, 0.95, 0.8), (9, 1.0, 0.8), (9, 0.95, 0.2)]
)
def test_levels_and_degrees_that_cannot_be_are_refused(dof: float, level: float, power: float) -> None:
    with pytest.raises(TrendError):
        noncentrality(dof, level, power)
