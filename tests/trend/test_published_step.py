"""What a step of unknown size in the middle of a record costs its rate, against the published factor."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import build

from monitor.config import MethodSds, Rules, Variances
from monitor.terms import EventKind, Method
from monitor.trend.portfolio import fitted

BARE = Variances(
    methods={method: MethodSds(reading_mm=1.0) for method in Method},
    season_mm=0,
    local_mm_per_year=0,
    local_share=0,
    wobble_mm=0,
)
POINTS, SPACING_DAYS = 240, 30


def rate_variance(step_after: int) -> float:
    """Variance of one mark's rate over 240 even readings, its level broken after that many (0: not at all)."""
    days = np.datetime64("2000-01-01") + np.arange(POINTS) * np.timedelta64(SPACING_DAYS, "D")
    rows = pd.DataFrame({"house": "H1", "mark": "M1", "visit_date": days, "deflection_mm": 0.0})
    broken = {"house": "H1", "event_date": str(days[step_after]), "kind": EventKind.STRAIGHTENING}
    (done,) = fitted(
        build(
            invented.readings(rows),
            invented.walls(["H1"]),
            invented.marks(["H1"], [("M1", 4500.0, 1220.0)]),
            invented.events([broken] if step_after else []),
            Rules(),
            date(2100, 1, 1),
        ),
        BARE,
    )
    return float(done.fit.mark_se[0, 0]) ** 2


@pytest.mark.parametrize(
    ("share", "factor", "exact"), [(0.1, 1.369863, 1.369872), (0.25, 2.285714, 2.285765), (0.5, 4.0, 4.000208)]
)
def test_a_step_of_unknown_size_multiplies_the_variance_of_the_rate(share: float, factor: float, exact: float) -> None:
    """Weatherhead et al. (1998), J. Geophys. Res. 103(D14), 17149-17161: 1 / (1 - 3 f (1 - f)) for a step at the share
    f of the record (formula from memory); `exact` for 240 points, by least squares. In the middle: twice the error.
    """
    ratio = rate_variance(round(share * POINTS)) / rate_variance(0)
    assert ratio == pytest.approx(exact, rel=1e-6)
    assert ratio == pytest.approx(factor, rel=6e-5)
