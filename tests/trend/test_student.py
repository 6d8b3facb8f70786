"""Student's t against the height of its density: held to a library, and to itself."""

import numpy as np
import pytest
from scipy import stats

from monitor.trend import student

DOFS = [2.5, 6.0, 16.0, 51.3, 120.0, 400.0]
U = np.concatenate([[0.0], *(sign * np.geomspace(1e-9, 1e6, 20_000) for sign in (-1, 1))])


@pytest.mark.parametrize("dof", DOFS)
def test_each_value_is_that_of_the_library(dof: float) -> None:
    u = np.linspace(-3, 3, 401)
    height = dof / 2 * np.log1p(u**2)
    found = student.log_over_height(u, np.array(dof)) - height
    known = stats.t.logcdf(u * np.sqrt(dof), dof)
    np.testing.assert_allclose(found, known, rtol=1e-9, atol=1e-10 * dof)


def test_pieces_agree_with_the_incomplete_beta_function_far_into_the_tail(monkeypatch: pytest.MonkeyPatch) -> None:
    for dof in DOFS:
        by_pieces = student.log_over_height(U, np.array(dof))
        with monkeypatch.context() as patch:
            patch.setattr(student, "MOST", 0.0)
            np.testing.assert_allclose(by_pieces, student.log_over_height(U, np.array(dof)), rtol=1e-12, atol=2e-12)


def test_each_value_is_the_same_whatever_stands_beside_it() -> None:
    dof = np.array([*DOFS, 1e5])[np.arange(len(U)) % 7]
    together = student.log_over_height(U, dof)
    for some in (slice(None, None, 97), slice(0, 3), slice(11, 12)):
        assert (student.log_over_height(U[some], dof[some]) == together[some]).all()


def test_very_many_degrees_of_freedom_are_those_of_the_normal_law() -> None:
    u = np.linspace(-3, 3, 61) * 1e-6
    found = student.log_over_height(u, np.array(1e12))
    np.testing.assert_allclose(found, stats.norm.logcdf(u * 1e6) + (u * 1e6) ** 2 / 2, atol=1e-6)
