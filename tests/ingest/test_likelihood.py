"""The sums behind the recognition of set-ups, against scipy and against the covariances they stand for."""

import numpy as np
import pytest
from intake_files import expect, make_tables
from scipy import stats

from monitor.ingest.expectation import Expectations
from monitor.ingest.known import Known
from monitor.ingest.likelihood import chance_beyond, weights


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 5, 9, 10, 15, 40])
@pytest.mark.parametrize("square", [0.0, 0.3, 2.0, 11.0, 40.0, 150.0])
def test_the_chance_beyond_is_that_of_chi_square(square: float, degrees: int) -> None:
    assert chance_beyond(square, degrees) == pytest.approx(stats.chi2.sf(square, degrees), rel=1e-10)


def test_nothing_is_beyond_chance_without_a_degree_of_freedom() -> None:
    assert chance_beyond(5.0, 0) == 1.0


OWN, SHARED, TURN = [0.5, 1.0, 2.0, 0.7], [1.0, 1.1, 0.9, 1.0], [-2.0, -0.5, 0.5, 2.0]
COVARIANCE = np.diag(OWN) + np.outer(SHARED, SHARED) + np.outer(TURN, TURN)


def test_weights_are_the_inverse_of_the_covariance() -> None:
    found = weights(COVARIANCE.tolist())
    np.testing.assert_allclose(found.matrix, np.linalg.inv(COVARIANCE), atol=1e-12)
    assert found.log_determinant == pytest.approx(np.linalg.slogdet(COVARIANCE)[1])
    assert found.free == 0
    residuals = [0.3, -1.2, 2.0, 0.1]
    assert found.square(residuals) == pytest.approx(residuals @ np.linalg.inv(COVARIANCE) @ residuals)


def test_a_free_column_is_the_limit_of_a_large_variance_and_costs_a_degree() -> None:
    ones, along = [1.0] * 4, [0.0, 0.7, 1.0, 0.7]
    found = weights(COVARIANCE.tolist(), [ones, along])
    wide = COVARIANCE + 1e8 * np.outer(ones, ones) + 1e8 * np.outer(along, along)
    np.testing.assert_allclose(found.matrix, np.linalg.inv(wide), atol=1e-6)
    assert found.free == 2
    assert found.log_determinant == pytest.approx(np.linalg.slogdet(wide)[1] - 2 * np.log(1e8), abs=1e-6)
    assert found.square([3.0 + 5 * a for a in along]) == pytest.approx(0, abs=1e-9)


def test_a_free_column_that_another_holds_already_is_left_out() -> None:
    found = weights([[1.0, 0.0], [0.0, 2.0]], [[1.0, 1.0], [2.0, 2.0]])
    assert found.free == 1


def test_nothing_is_expected_of_a_reading_after_the_work_of_its_day() -> None:
    table = expect("N", [10.0, 20.0, 10.0])
    day = table["visit_date"][0].as_py()
    values = {"house": "DH-01", "wall": "N", "visit_date": day, "method": "string", "part": "after"}
    expectations = Expectations(table, Known(make_tables()))
    assert expectations.of(values) == {}
    assert set(expectations.of(values | {"part": "before"})) == {"M1", "M2", "M3"}
