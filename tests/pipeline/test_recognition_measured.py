"""How often good visits are held and planted faults are caught, on simulated portfolios with known truth.

Bounds are limits of the binomial distribution (chance under 1 in 1,000 of a false alarm) about the shares promised.
"""

from collections.abc import Iterable
from dataclasses import replace

import pytest
from planted_faults import as_read, exchanged, mirrored, moved, renamed, slipped
from scipy import stats
from visits_of_a_portfolio import Visits, visits

from monitor.simulate.recipe import FLEET, Layout
from monitor.terms import Method

SOUND = replace(FLEET, fault_share=0.0)
ROWS = replace(SOUND, layouts=(Layout(Method.STRING),), lost_share=0.0, change_share=0.0, strapped_share=0.0)


@pytest.fixture(scope="module")
def row_of_five() -> Visits:
    return visits(240, ROWS, number=3, seed=41)


def at_most(share: float, found: int, of: int) -> bool:
    return found <= stats.binom.ppf(0.999, of, share)


def at_least(share: float, found: int, of: int) -> bool:
    return of > 10 and found >= stats.binom.ppf(0.001, of, share)


def count(found: Iterable[bool]) -> tuple[int, int]:
    each = list(found)
    return sum(each), len(each)


@pytest.mark.parametrize("number", [1, 3])
def test_good_visits_of_a_mixed_company_are_hardly_ever_held(number: int) -> None:
    mixed = visits(300, SOUND, number=number, seed=17)
    held = mixed.judged(as_read)
    assert len(mixed.rows) > 200
    assert at_most(0.003, len(held), len(mixed.rows)), held


@pytest.mark.parametrize("step_mm", [6.0, 13.0, 25.0])
def test_walls_that_really_bowed_in_are_not_held(row_of_five: Visits, step_mm: float) -> None:
    held = row_of_five.judged(moved(row_of_five, step_mm))
    assert at_most(0.005, len(held), len(row_of_five.rows)), held


def test_most_exchanged_walls_that_differ_by_6_mm_are_caught(row_of_five: Visits) -> None:
    change, apart = exchanged(row_of_five)
    held = row_of_five.judged(change)
    assert at_least(0.95, *count("swapped" in held[key] for key in apart if apart[key] > 6))


def test_most_mirrored_rows_that_differ_by_8_mm_are_caught(row_of_five: Visits) -> None:
    change, apart = mirrored(row_of_five)
    held = row_of_five.judged(change)
    assert at_least(0.95, *count("mirrored" in held[key] for key in apart if apart[key] > 8))
    assert at_most(0.02, *count("mirrored" in held[key] for key in apart if apart[key] < 1.5))


def test_nearly_all_slips_of_half_an_inch_are_caught_at_their_mark(row_of_five: Visits) -> None:
    held = row_of_five.judged(slipped(12.7, seed=5))
    assert at_least(0.97, *count(bool(held[key] & {"slip", "misfit"}) for key in row_of_five.rows))


def test_nearly_all_deflections_written_as_gaps_are_caught(row_of_five: Visits) -> None:
    held = row_of_five.judged(renamed(76.2))
    assert at_least(0.99, *count("kind-mistaken" in held[key] for key in row_of_five.rows))
