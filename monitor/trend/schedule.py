"""When the next visit of each wall is due, and by how much it is overdue."""

import calendar
from datetime import date, timedelta
from itertools import chain, repeat
from math import floor

import pandas as pd

from monitor.config import Rules
from monitor.errors import TrendError, Where
from monitor.trend.rows import Row, plain
from monitor.units import DAYS_PER_YEAR

EARLY_SHARE = 0.25
"""A visit up to this share of an interval before its planned day stands for it (our choice, no source)."""

_MONTHS_PER_YEAR = 12


def schedule(wall_results: pd.DataFrame, walls: pd.DataFrame, judged_on: date, rules: Rules) -> pd.DataFrame:
    """One row per row of `wall_results`, in its order: house, wall, period, due_on, overdue_days.

    wall_results: needs house, wall, period, is_current, started_on, last_visit; walls: house, wall, visit_months.
    due_on is null for a period that is over or has no date to count from; overdue_days is counted from due_on plus the
    days of grace, 0 where not overdue. Raises TrendError for visit_months that cannot be read.
    """
    months = {(row["house"], row["wall"]): row["visit_months"] or "" for row in plain(walls)}
    out = []
    for row in plain(wall_results):
        key = (row["house"], row["wall"])
        due = (
            due_on(row, planned_months(months.get(key, ""), f"{key[0]}-{key[1]}"), rules) if row["is_current"] else None
        )
        late = 0 if due is None else days_late(due, judged_on, rules)
        out.append((*key, row["period"], due, late))
    made = pd.DataFrame(out, columns=["house", "wall", "period", "due_on", "overdue_days"])
    return made.assign(due_on=pd.to_datetime(made["due_on"]).astype("datetime64[us]"))


def due_on(row: Row, months: tuple[float, ...], rules: Rules) -> date | None:
    """Day the next visit of a period is due; None where it has neither a first day nor a visit.

    With the wall's own `months` between visits: the first planned day, counted from the period's zero, for which the
    last visit does not stand yet (the last interval repeats). Else the company's interval after the last visit.
    """
    zero, last = row["started_on"] or row["last_visit"], row["last_visit"] or row["started_on"]
    if zero is None or last is None:
        return None
    if not months:
        young = last < add_months(zero, rules.first_interval_years * _MONTHS_PER_YEAR)
        return add_months(last, rules.first_interval_months if young else rules.later_interval_months)
    elapsed = 0.0
    for interval in chain(months, repeat(months[-1])):
        elapsed += interval
        if last < add_months(zero, elapsed - EARLY_SHARE * interval):
            break
    return add_months(zero, elapsed)


def confirming_on(row: Row, rules: Rules) -> date | None:
    """Day by which what the last visit left in doubt is to be confirmed; None without a visit."""
    last: date | None = row["last_visit"]
    return None if last is None else last + timedelta(weeks=rules.confirm_weeks)


def bring_forward(row: Row, days: list[date], judged_on: date, rules: Rules) -> None:
    """Make the row's next visit due by the earliest of these days, where that is sooner than it is due already."""
    due = min([day for day in (row["due_on"], *days) if day is not None], default=None)
    if due is not None and due != row["due_on"]:
        row["due_on"], row["overdue_days"] = due, days_late(due, judged_on, rules)


def days_late(due: date, judged_on: date, rules: Rules) -> int:
    """Days past a due day and its grace; 0 where not overdue."""
    return max(0, (judged_on - due).days - rules.grace_days)


def planned_visits(row: Row, months: tuple[float, ...], rules: Rules, *, not_before: date, count: int) -> list[date]:
    """The next `count` days of visits, each made on its planned day; one that is past already is made `not_before`."""
    days: list[date] = []
    for _ in range(count):
        day = due_on(row | {"last_visit": days[-1]} if days else row, months, rules)
        if day is None:
            break
        days.append(max(day, not_before))
    return days


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


def add_months(day: date, months: float) -> date:
    """The day that many calendar months later (the last of the month where there is no such day), parts by the day."""
    whole = floor(months)
    year, month = divmod(day.year * _MONTHS_PER_YEAR + day.month - 1 + whole, _MONTHS_PER_YEAR)
    moved = date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
    return moved + timedelta(days=round((months - whole) * DAYS_PER_YEAR / _MONTHS_PER_YEAR))
