"""When the next visit of each wall is due, and by how much it is overdue.

Days are whole numbers since 1970-01-01 (walls,), NaN where there is none.
"""

from collections.abc import Sequence
from datetime import date
from itertools import chain, repeat

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from monitor.config import Rules
from monitor.errors import TrendError, Where
from monitor.records import dataclass
from monitor.schema.arrays import array_of
from monitor.trend.columns import Array, Rows, Whole, dates, day_number, having, places, taken
from monitor.units import DAYS_PER_YEAR

EARLY_SHARE = 0.25
"""A visit up to this share of an interval before its planned day stands for it (our choice, no source)."""

_MONTHS_PER_YEAR = 12
_LONGEST_MONTH = 31
_WALL = ("house", "wall")


@dataclass(frozen=True)
class Intervals:
    """Months between the visits of walls: the schedules that differ, () for the company's, and which a wall has."""

    kinds: Sequence[tuple[float, ...]]
    of: Whole


def schedule(wall_results: pa.Table, walls: pa.Table, judged_on: date, rules: Rules) -> pa.Table:
    """One row per row of `wall_results`, in its order: house, wall, period, due_on, overdue_days.

    wall_results: needs house, wall, period, is_current, started_on, last_visit; walls: house, wall, visit_months.
    due_on is null for a period that is over or has no date to count from; overdue_days is counted from due_on plus the
    days of grace, 0 where not overdue. Raises TrendError for visit_months that cannot be read.
    """
    rows = Rows(with_months(wall_results, walls))
    current = rows.only(rows.flag("is_current"))
    due = np.full(len(rows), np.nan)
    due[current.at] = due_on(current.day("started_on"), current.day("last_visit"), intervals(current), rules)
    late = array_of(days_late(due, judged_on, rules).astype(np.int32))
    return having(wall_results.select([*_WALL, "period"]), due_on=dates(due), overdue_days=late)


def with_months(rows: pa.Table, walls: pa.Table) -> pa.Table:
    """The rows, of tables with house and wall, each with its wall's own schedule (visit_months, null for none)."""
    return having(rows, visit_months=taken(walls["visit_months"], places(rows, walls, _WALL)))


def intervals(walls: Rows) -> Intervals:
    """The months between visits as walls have them (house, wall, visit_months); TrendError where a text is none."""
    coded = walls.text("visit_months").dictionary_encode()
    of = np.asarray(coded.indices.to_numpy(), dtype=np.intp)
    kinds = []
    for number, text in enumerate(coded.dictionary.to_pylist()):
        first = int(np.argmax(of == number))
        kinds.append(planned_months(text, f"{walls.text('house')[first]}-{walls.text('wall')[first]}"))
    return Intervals(kinds, of)


def due_on(started_on: Array, last_visit: Array, months: Intervals, rules: Rules) -> Array:
    """Day the next visit of a period is due (walls,); NaN where it has neither a first day nor a visit.

    With the wall's own `months` between visits: the first planned day, counted from the period's zero, for which the
    last visit does not stand yet (the last interval repeats). Else the company's interval after the last visit.
    """
    zero = np.where(np.isnan(started_on), last_visit, started_on)
    last = np.where(np.isnan(last_visit), started_on, last_visit)
    due = np.full(len(zero), np.nan)
    for number, kind in enumerate(months.kinds):
        mine = np.flatnonzero((months.of == number) & ~np.isnan(zero))
        due[mine] = _by_own(zero[mine], last[mine], kind) if kind else _by_company(zero[mine], last[mine], rules)
    return due


def _by_company(zero: Array, last: Array, rules: Rules) -> Array:
    young = last < add_months(zero, rules.first_interval_years * _MONTHS_PER_YEAR)
    return add_months(last, np.where(young, rules.first_interval_months, rules.later_interval_months))


def _by_own(zero: Array, last: Array, months: tuple[float, ...]) -> Array:
    due, open_, elapsed = np.full(len(zero), np.nan), np.arange(len(zero)), 0.0
    gone = (last - zero).min(initial=np.inf) / _LONGEST_MONTH - 1  # months that are surely behind every last visit
    for interval in chain(months, repeat(months[-1])):
        if not len(open_):
            break
        elapsed += interval
        if elapsed - EARLY_SHARE * interval < gone:
            continue
        next_one = last[open_] < add_months(zero[open_], elapsed - EARLY_SHARE * interval)
        due[open_[next_one]] = add_months(zero[open_[next_one]], elapsed)
        open_ = open_[~next_one]
    return due


def confirming_on(last_visit: Array, rules: Rules) -> Array:
    """Day by which what the last visit left in doubt is to be confirmed (walls,); NaN without a visit."""
    return last_visit + 7 * rules.confirm_weeks


def days_late(due: Array, judged_on: date, rules: Rules) -> Whole:
    """Days past a due day and its grace (walls,); 0 where not overdue."""
    return np.maximum(0, np.nan_to_num(day_number(judged_on) - due - rules.grace_days)).astype(np.intp)


def planned_visits(
    started_on: Array, last_visit: Array, months: Intervals, rules: Rules, *, not_before: date, count: int
) -> Array:
    """The next `count` days of visits (walls, count), each made on its planned day; one past already `not_before`."""
    planned = np.full((len(last_visit), count), np.nan)
    last = last_visit
    for number in range(count):
        last = np.maximum(due_on(started_on, last, months, rules), day_number(not_before))
        planned[:, number] = last
    return planned


def planned_months(text: str, wall: str) -> tuple[float, ...]:
    """Months between visits from a text such as '1 6 6 12'; empty for ''. Raises TrendError where it is none."""
    try:
        months = tuple(float(part) for part in text.split())
    except ValueError:
        months = (0.0,)
    if not all(0 < part < 10 * _MONTHS_PER_YEAR for part in months):
        raise TrendError(
            "The wall's schedule cannot be read.",
            where=Where(wall=wall, cell="visit_months"),
            got=repr(text),
            expected="months between visits, each above 0 and under ten years, separated by spaces",
            mend="Write it like '1 6 6 12', or leave it blank for the company's default.",
        )
    return months


def add_months(days: Array, months: npt.ArrayLike) -> Array:
    """The day that many calendar months later (the last of the month where there is no such day), parts by the day.

    days: (n,), NaN for none; months: a number, or one for each day.
    """
    known, whole = ~np.isnan(days), np.floor(np.asarray(months, dtype=np.float64))
    day = np.where(known, days, 0).astype(np.int64).astype("datetime64[D]")
    month = day.astype("datetime64[M]")
    moved = month + whole.astype(np.int64)
    first, next_first = moved.astype("datetime64[D]"), (moved + 1).astype("datetime64[D]")
    into = np.minimum(day - month.astype("datetime64[D]"), next_first - first - 1)
    parts = np.rint((np.asarray(months) - whole) * DAYS_PER_YEAR / _MONTHS_PER_YEAR)
    return np.where(known, (first + into).astype(np.float64) + parts, np.nan)


def months_after(day: date, months: float) -> date:
    """The day that many months after one, as `add_months` counts them."""
    moved = add_months(np.array([day_number(day)], dtype=np.float64), months)
    found: date = dates(moved)[0].as_py()
    return found
