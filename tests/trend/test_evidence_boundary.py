"""The evidence rule against the published boundary of its own limit case: noise variance known."""

import numpy as np
import pytest
from scipy import optimize

from monitor.trend.evidence import log_mixture

KNOWN = 1e10
"""Degrees of freedom (and their sum of squares) of a noise variance that is as good as known."""


def test_the_one_sided_normal_mixture_boundary_is_the_published_one() -> None:
    """Howard, Ramdas, McAuliffe & Sekhon (2021), Ann. Statist. 49, 1055-1080: one-sided bound 27.66071 at intrinsic
    time v = 100, alpha 0.05 (number of the unit test of the authors' software), for the mixture best at v = 100:
    rho = v / (2 ln (1 / 2 alpha) + ln (1 + 2 ln (1 / 2 alpha))), the one-sided use of their formula for two sides.

    In their terms: a sum s at time v is z = s / sqrt(v); a half-normal mixture of precision rho is h = sqrt(v / rho).
    """
    v, alpha = 100.0, 0.05
    rho = v / (2 * np.log(1 / (2 * alpha)) + np.log(1 + 2 * np.log(1 / (2 * alpha))))

    def beyond(s: float) -> float:
        return float(log_mixture(s / np.sqrt(v), np.sqrt(v / rho), KNOWN, KNOWN)) - np.log(1 / alpha)

    assert optimize.brentq(beyond, 1.0, 100.0) == pytest.approx(27.66071, abs=5e-6)
