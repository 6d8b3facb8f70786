"""Student's t against the height of its density: held to a library, and its two ways to each other."""

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
    found = student.log_over_height(u, np.float64(dof)) - height
    known = stats.t.logcdf(u * np.sqrt(dof), dof)
    np.testing.assert_allclose(found, known, rtol=1e-9, atol=1e-10 * dof)


def test_many_values_of_few_degrees_of_freedom_are_those_of_each_by_itself() -> None:
    which = np.arange(len(U)) % 4
    for dofs in (DOFS[:4], DOFS[2:]):
        dof = np.array(dofs)[which]
        alone = np.array([student.log_over_height(u, each) for u, each in zip(U[::97], dof[::97], strict=True)])
        np.testing.assert_allclose(student.log_over_height(U, dof)[::97], alone, rtol=1e-12, atol=2e-12)


def test_pieces_are_made_only_where_many_values_share_them(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[int] = []
    by_pieces = student._by_pieces
    monkeypatch.setattr(student, "_by_pieces", lambda *given: (made.append(given[-1]), by_pieces(*given))[1])
    student.log_over_height(U, np.full(len(U), 50.0))
    assert made == [29]
    student.log_over_height(U, np.linspace(10, 50, len(U)))
    assert made == [29]
