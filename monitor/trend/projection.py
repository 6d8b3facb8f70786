"""When the limit of total inward deflection may be reached if a wall goes on as its bounds allow: a range, no forecast.

Nothing is said unless the rate is shown to be inward: as long as its lower bound is not above 0 there is no latest day,
and the earliest alone would frighten without reason. The total is taken as read; its own error is not in the range.
"""

import numpy as np
import pyarrow as pa

from monitor.config import Rules
from monitor.trend.columns import Array, Rows, dates, having
from monitor.units import DAYS_PER_YEAR

FURTHEST_YEARS = 50.0
"""A day further off than this says nothing of a house, and is left out."""


def dated(wall_results: pa.Table, rules: Rules) -> pa.Table:
    """The wall results with limit_from and limit_to filled, for the current periods.

    Null with fewer visits than a rate is told from, where the lower bound of the rate is not above 0, the total is not
    known or at the limit already, and for a day more than FURTHEST_YEARS after the last visit.
    """
    rows = Rows(wall_results)
    last, lower, upper = rows.day("last_visit"), rows.number("rate_lower"), rows.number("rate_upper")
    left_mm = rows.number("total_limit_mm") - rows.number("total_mm")
    enough = rows.flag("is_current") & (rows.count("visits") >= rules.moving_visits)
    told = enough & (lower > 0) & (left_mm > 0) & ~np.isnan(upper)
    days = [_reached(last, np.where(told, left_mm, np.nan), rate) for rate in (upper, lower)]
    return having(wall_results, limit_from=dates(days[0]), limit_to=dates(days[1]))


def _reached(last: Array, left_mm: Array, rate: Array) -> Array:
    """Day on which the limit is reached at a rate that is above 0 where anything is left (rows,), NaN for none."""
    years = np.divide(left_mm, rate, out=np.full(len(rate), np.nan), where=rate > 0)
    return last + np.rint(np.where(years <= FURTHEST_YEARS, years, np.nan) * DAYS_PER_YEAR)
