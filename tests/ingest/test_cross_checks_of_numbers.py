"""Numbers behind the checks: the chance of a copied visit, the opening of a hinged wall's crack."""

import numpy as np
import pytest
from intake_files import column, outcomes, take, write_csv
from scipy import integrate, stats

from monitor.config import Variances
from monitor.ingest.chance import copy_chance
from monitor.ingest.geometry import hinge_opening_mm
from monitor.terms import Method
from monitor.units import SIXTEENTH_MM

INCH = 25.4


@pytest.mark.parametrize(
    ("height_in", "thickness_in", "bow_in", "opening_in"),
    [(96, 8, 2, 0.6672461), (96, 8, 1, 0.3334057)],
)
def test_the_crack_of_a_wall_hinged_at_mid_height(
    height_in: float, thickness_in: float, bow_in: float, opening_in: float
) -> None:
    """Identity: theta = asin(2 d / h), opening on the inner face 2 t tan(theta)."""
    opening = hinge_opening_mm(bow_in * INCH, height_in * INCH, thickness_in * INCH)
    assert opening / INCH == pytest.approx(opening_in, abs=5e-8)
    assert opening / INCH == pytest.approx(4 * thickness_in * bow_in / height_in, rel=2e-3)


def test_a_crack_wider_than_the_bow_can_open_is_noted_and_the_reading_used() -> None:
    intake = take(
        write_csv({"value": "2", "crack width": "25 mm"}, {"mark": "M4", "value": "2", "crack width": "8 mm"})
    )
    assert [state for state, _, _ in outcomes(intake)] == ["used", "used"]
    assert column(intake, "crack_width_mm") == [25.0, 8.0]
    assert intake.notes == [
        "visit.csv, Q2: a crack 1 in wide, but a wall that has bowed 1 in opens it 5/16 in at most. Look at both again."
    ]


@pytest.mark.parametrize("method", list(Method))
@pytest.mark.parametrize(("count", "step"), [(1, SIXTEENTH_MM), (5, SIXTEENTH_MM), (8, 1.0)])
def test_the_chance_of_a_copy_is_the_integral_it_claims_to_be(method: Method, count: int, step: float) -> None:
    """Against scipy's quadrature of the triangular kernel over the normal difference and the shared error."""
    sds = Variances().methods[method]
    own, shared = np.sqrt(2) * sds.reading_mm, np.sqrt(2) * (sds.offset_mm or 0.0)

    def equal(mean: float) -> float:
        kernel = lambda d: (1 - abs(d) / step) * stats.norm.pdf(d, mean, own)  # noqa: E731
        return float(integrate.quad(kernel, -step, 0)[0] + integrate.quad(kernel, 0, step)[0])

    expected = equal(0.0) ** count
    if shared:
        outer = lambda m: equal(m) ** count * stats.norm.pdf(m, 0, shared)  # noqa: E731
        expected = integrate.quad(outer, -8 * shared, 8 * shared, limit=200, points=[0.0])[0]
    assert copy_chance(count, step, method) == pytest.approx(expected, rel=1e-4)


def test_the_chance_of_a_copy_is_that_of_simulated_visits() -> None:
    """Two visits of a still wall by string, read to 1/16 in: share of pairs with all numbers equal."""
    rng, sds, pairs, marks = np.random.default_rng(7), Variances().methods[Method.STRING], 200_000, 2
    truth = rng.uniform(0, SIXTEENTH_MM, (pairs, marks, 1))
    shared = rng.normal(0, sds.offset_mm or 0.0, (pairs, 1, 2))
    read = np.round((truth + shared + rng.normal(0, sds.reading_mm, (pairs, marks, 2))) / SIXTEENTH_MM)
    equal = int((read[..., 0] == read[..., 1]).all(axis=1).sum())
    chance = copy_chance(marks, SIXTEENTH_MM, Method.STRING)
    assert stats.binomtest(equal, pairs, chance).pvalue > 0.001
