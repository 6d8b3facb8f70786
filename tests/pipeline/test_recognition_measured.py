"""How often good visits are held and planted faults are caught, on simulated portfolios with known truth.

Bounds are limits of the binomial distribution (chance under 1 in 1,000 of a false alarm) about the shares promised.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from visits_of_a_portfolio import Key, Reading, Visits, shifted, visits

from monitor.simulate.recipe import FLEET, Layout
from monitor.terms import Method

SOUND = replace(FLEET, fault_share=0.0)
ROWS = replace(SOUND, layouts=(Layout(Method.STRING),), lost_share=0.0, change_share=0.0, strapped_share=0.0)
SLIP_MM = 12.7


@pytest.fixture(scope="module")
def row_of_five() -> Visits:
    return visits(240, ROWS, number=3, seed=41)


def as_read(key: Key, rows: Sequence[Reading]) -> Sequence[Reading]:
    return rows


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
    held = row_of_five.judged(
        lambda key, rows: [shifted(row, step_mm * row_of_five.bows[*key, row["mark"]]) for row in rows]
    )
    assert at_most(0.005, len(held), len(row_of_five.rows)), held


def test_most_exchanged_walls_that_differ_by_6_mm_are_caught(row_of_five: Visits) -> None:
    pairs = [house for house, wall in row_of_five.rows if wall == "N" and (house, "S") in row_of_five.rows]

    def exchanged(key: Key, rows: Sequence[Reading]) -> Sequence[Reading]:
        house, wall = key
        if house not in pairs:
            return rows
        values = {row["mark"]: row["value_raw"] for row in row_of_five.rows[house, "NS".replace(wall, "")]}
        return [row | {"value_raw": values[row["mark"]]} for row in rows]

    held = row_of_five.judged(exchanged)
    apart = {
        house: np.sqrt(np.mean([(means[house, "N", f"M{n}"] - means[house, "S", f"M{n}"]) ** 2 for n in range(1, 6)]))
        for house in pairs
        for means in [row_of_five.means]
    }
    told = count("swapped" in held[house, wall] for house in pairs if apart[house] > 6 for wall in "NS")
    assert at_least(0.95, *told)


def test_most_mirrored_rows_that_differ_by_8_mm_are_caught(row_of_five: Visits) -> None:
    def reversed_(key: Key, rows: Sequence[Reading]) -> Sequence[Reading]:
        values = {row["mark"]: row["value_raw"] for row in rows}
        return [row | {"value_raw": values[f"M{6 - int(row['mark'][1])}"]} for row in rows]

    held = row_of_five.judged(reversed_)
    means = row_of_five.means
    apart = {key: max(abs(means[*key, "M1"] - means[*key, "M5"]), abs(means[*key, "M2"] - means[*key, "M4"]))
             for key in row_of_five.rows}  # fmt: skip
    assert at_least(0.95, *count("mirrored" in held[key] for key in apart if apart[key] > 8))
    assert at_most(0.02, *count("mirrored" in held[key] for key in apart if apart[key] < 1.5))


def test_nearly_all_slips_of_half_an_inch_are_caught_at_their_mark_alone(row_of_five: Visits) -> None:
    rng = np.random.default_rng(5)

    def slipped(key: Key, rows: Sequence[Reading]) -> Sequence[Reading]:
        at, way = int(rng.integers(len(rows))), float(rng.choice([-1.0, 1.0]))
        return [shifted(row, way * SLIP_MM) if n == at else row for n, row in enumerate(rows)]

    held = row_of_five.judged(slipped)
    assert at_least(0.97, *count(bool(held[key] & {"slip", "misfit"}) for key in row_of_five.rows))


def test_nearly_all_gaps_taken_for_deflections_are_caught(row_of_five: Visits) -> None:
    def renamed(key: Key, rows: Sequence[Reading]) -> Sequence[Reading]:
        return [row | {"value_raw": shifted(row | {"value_mm": 76.2}, row["value_mm"])["value_raw"]} for row in rows]

    held = row_of_five.judged(renamed)
    assert at_least(0.99, *count("kind-mistaken" in held[key] for key in row_of_five.rows))
