"""When the limit of total inward deflection may be reached if a wall goes on as its bounds allow: a range, no forecast.

Nothing is said unless the rate is shown to be inward: as long as its lower bound is not above 0 there is no latest day,
and the earliest alone would frighten without reason. The total is taken as read; its own error is not in the range.
"""

from datetime import timedelta

import numpy as np
import pandas as pd

from monitor.config import Rules
from monitor.trend.rows import Row, plain
from monitor.units import DAYS_PER_YEAR

FURTHEST_YEARS = 50.0
"""A day further off than this says nothing of a house, and is left out."""


def dated(wall_results: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """The wall results with limit_from and limit_to filled, for the current periods.

    Null with fewer visits than a rate is told from, where the lower bound of the rate is not above 0, the total is not
    known or at the limit already, and for a day more than FURTHEST_YEARS after the last visit.
    """
    days = np.array([_days(row, rules) for row in plain(wall_results)], dtype="datetime64[s]").reshape(-1, 2)
    return wall_results.assign(limit_from=days[:, 0], limit_to=days[:, 1])


def _days(row: Row, rules: Rules) -> tuple[np.datetime64, np.datetime64]:
    """Earliest and latest day by the upper and the lower bound of the rate."""
    never = np.datetime64("NaT", "s")
    total, limit, last = row["total_mm"], row["total_limit_mm"], row["last_visit"]
    lower, upper = row["rate_lower"], row["rate_upper"]
    if None in (total, limit, last, lower, upper) or not row["is_current"] or lower <= 0 or total >= limit:
        return never, never
    if (row["visits"] or 0) < rules.moving_visits:
        return never, never
    years = [(limit - total) / rate for rate in (upper, lower)]
    earliest, latest = (
        np.datetime64(last + timedelta(days=round(span * DAYS_PER_YEAR)), "s") if span <= FURTHEST_YEARS else never
        for span in years
    )
    return earliest, latest
