"""Evenly spread draws are those of the library that is not loaded for them: scipy.stats.qmc.Sobol, digit for digit."""

import numpy as np
import pytest
from scipy.stats import qmc

from monitor.trend import spread


@pytest.mark.parametrize("size", [1, 2, 6, 17, spread.KEPT, spread.KEPT + 1])
def test_points_are_those_of_the_library(size: int) -> None:
    wanted = qmc.Sobol(size, rng=np.random.default_rng(1)).random(spread.DRAWS)
    assert np.array_equal(spread.points(size), wanted)


def test_what_is_kept_is_what_the_library_draws_from() -> None:
    assert np.array_equal(np.load(spread.FILE), spread.to_keep())
