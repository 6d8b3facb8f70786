"""The order of the visit plan, as numbers of each wall: a place among all walls needs no other columns."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor.schema.arrays import array_of
from monitor.terms import Outcome, Rule, Verdict
from monitor.trend.columns import Array, days, flags, places, reals

_WALL = ("house", "wall")
_CASE = (*_WALL, "period")
_ALARM = {Verdict.LOOK_AGAIN: 1.0, Verdict.MOVING: 2.0}
_JUMPED = 3.0
_OVERDUE, _PLANNED, _NONE = 0.0, 1.0, 2.0


def order(plan: pa.Table, wall_results: pa.Table, findings: pa.Table) -> pa.Table:
    """House, wall and five numbers (order_1 to order_5) of each row of a plan; the smallest come first, then by name.

    Overdue walls first, those of most risk first: by a jump and the verdict, by the share of the limit used, by the
    upper bound of the rate against the threshold. Then the others by verdict to confirm, by the chance of settling
    something, by day. Walls without a planned visit come last. Tables of those names; ranks are not read.
    """
    current = wall_results.filter(wall_results["is_current"])
    at = places(plan, current, _WALL)
    alarm = _of(at, _alarms(current, findings))
    used = _of(at, reals(current["total_mm"]) / reals(current["total_limit_mm"]))
    fast = _of(at, reals(current["rate_upper"]) / reals(current["threshold_mm_per_year"]))
    day = days(plan["visit_on"])
    overdue = reals(plan["overdue_days"]) > 0
    chance = np.nan_to_num(reals(plan["chance"]))
    last = np.where(np.isnan(day), np.inf, day)
    first = np.where(overdue, _OVERDUE, np.where(np.isnan(day), _NONE, _PLANNED))
    numbers = (
        first,
        np.where(overdue, -alarm, -np.minimum(alarm, 1)),
        np.where(overdue, -used, -chance),
        np.where(overdue, -fast, last),
        np.where(overdue, last, 0),
    )
    columns = {f"order_{number}": array_of(column + 0.0) for number, column in enumerate(numbers, start=1)}
    return pa.table({name: plan[name] for name in _WALL} | columns)


def _alarms(current: pa.Table, findings: pa.Table) -> Array:
    yes = findings.filter(
        pc.and_(
            pc.equal(findings["rule"], pa.scalar(str(Rule.JUMP))),
            pc.equal(findings["outcome"], pa.scalar(str(Outcome.YES))),
        )
    )
    alarm = np.zeros(current.num_rows)
    for verdict, size in _ALARM.items():
        alarm[flags(pc.equal(current["verdict"], pa.scalar(str(verdict))))] = size
    alarm[places(current, yes, _CASE) >= 0] = _JUMPED
    return alarm


def _of(at: np.ndarray, values: Array) -> Array:
    """The values at those places, 0 where there is none or it is not known."""
    return np.nan_to_num(np.where(at >= 0, np.append(values, np.nan)[at], np.nan))
