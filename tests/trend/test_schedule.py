"""Due days worked on the calendar by hand."""

from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from result_rows import table

from monitor.config import Rules
from monitor.errors import TrendError
from monitor.trend.columns import dates, day_number
from monitor.trend.schedule import add_months, months_after, planned_months, schedule

RULES = Rules()
START = date(2023, 4, 10)


def plan(
    last: date | None,
    judged_on: date,
    *,
    months: str = "",
    start: date | None = START,
    current: bool = True,
    **rules: Any,
) -> dict[str, Any]:
    row = {"house": "DH-01", "wall": "N", "period": 0, "is_current": current, "started_on": start, "last_visit": last}
    walls = table("walls", [{"house": "DH-01", "wall": "N", "visit_months": months}])
    (found,) = schedule(table("wall_results", [row]), walls, judged_on, Rules(**rules)).to_pylist()
    return found


def due(last: date | None, **given: Any) -> date:
    found: date = plan(last, date(2023, 5, 1), **given)["due_on"]
    return found


def test_in_the_first_two_years_the_next_visit_is_due_six_months_after_the_last() -> None:
    assert due(date(2023, 4, 10)) == date(2023, 10, 10)
    assert due(date(2025, 4, 9)) == date(2025, 10, 9)


def test_after_two_years_it_is_due_twelve_months_after_the_last() -> None:
    assert due(date(2025, 4, 10)) == date(2026, 4, 10)


def test_a_period_that_was_not_visited_is_due_from_its_first_day() -> None:
    assert due(None) == date(2023, 10, 10)


def test_intervals_are_the_company_s() -> None:
    given = {"first_interval_months": 3.0, "first_interval_years": 1.0, "later_interval_months": 18.0}
    assert due(date(2023, 6, 1), **given) == date(2023, 9, 1)
    assert due(date(2024, 6, 1), **given) == date(2025, 12, 1)


@pytest.mark.parametrize(
    ("last", "expected"),
    [
        (None, date(2023, 5, 10)),  # nothing read yet: the zero stands at the period's first day
        (date(2023, 4, 10), date(2023, 5, 10)),  # one month after the zero
        (date(2023, 5, 12), date(2023, 11, 10)),  # then six, on the calendar of the zero
        (date(2023, 9, 1), date(2023, 11, 10)),  # an extra visit does not stand for the planned one
        (date(2023, 10, 25), date(2024, 5, 10)),  # a fortnight early does
        (date(2024, 2, 1), date(2024, 5, 10)),  # late, still the planned day
        (date(2024, 5, 10), date(2025, 5, 10)),
        (date(2025, 5, 20), date(2026, 5, 10)),  # the last interval repeats
        (date(2027, 5, 20), date(2028, 5, 10)),
        (date(2061, 2, 9), date(2061, 5, 10)),  # a day before it would stand for the visit, after 36 years
        (date(2061, 2, 10), date(2062, 5, 10)),
    ],
)
def test_a_wall_s_own_schedule_counts_from_the_period_s_zero(last: date | None, expected: date) -> None:
    assert due(last, months="1 6 6 12") == expected


def test_a_visit_is_overdue_from_the_day_after_its_grace() -> None:
    last, grace_ends = date(2023, 4, 10), date(2023, 11, 9)
    assert plan(last, grace_ends)["overdue_days"] == 0
    assert plan(last, grace_ends + timedelta(days=1))["overdue_days"] == 1
    assert plan(last, date(2023, 5, 1))["overdue_days"] == 0


def test_a_period_that_is_over_is_never_due() -> None:
    got = plan(date(2023, 4, 10), date(2030, 1, 1), current=False)
    assert got["due_on"] is None
    assert got["overdue_days"] == 0


def test_a_period_with_no_date_at_all_is_not_due() -> None:
    assert plan(None, date(2030, 1, 1), start=None)["due_on"] is None


def test_each_row_of_many_is_due_by_its_own_wall_s_schedule_and_in_its_place() -> None:
    """Four schedules side by side, two of them alike, a period that is over, and a wall that is not registered."""
    texts = ["1 6 6 12", "", "12", "1 6 6 12"]
    walls = table("walls", [{"house": f"H{n}", "wall": "N", "visit_months": text} for n, text in enumerate(texts)])
    shared = {"wall": "N", "is_current": True, "started_on": START}
    rows = [{"house": f"H{n}", "period": 1, "last_visit": date(2023, 5, 12)} | shared for n in (3, 2, 1, 0, 9)]
    rows.insert(1, rows[0] | {"period": 0, "is_current": False})
    found = schedule(table("wall_results", rows), walls, date(2024, 1, 1), RULES).to_pylist()
    assert [(row["house"], row["period"]) for row in found] == [(row["house"], row["period"]) for row in rows]
    own, company, yearly = date(2023, 11, 10), date(2023, 11, 12), date(2024, 4, 10)
    assert [row["due_on"] for row in found] == [own, None, yearly, company, own, company]
    assert [row["overdue_days"] for row in found] == [22, 0, 0, 20, 22, 20]


def test_no_walls_give_an_empty_table_of_the_same_columns() -> None:
    out = schedule(table("wall_results", []), table("walls", []), START, RULES)
    assert out.column_names == ["house", "wall", "period", "due_on", "overdue_days"]
    assert len(out) == 0


@pytest.mark.parametrize("text", ["six", "6 0", "-1", "6,6", "nan", "6 inf"])
def test_a_schedule_that_cannot_be_read_is_refused_by_wall_and_cell(text: str) -> None:
    with pytest.raises(TrendError, match=r"visit_months, wall DH-01-N.*Mend"):
        plan(START, START, months=text)


def test_a_blank_schedule_is_the_company_s_default() -> None:
    assert planned_months("", "DH-01-N") == ()
    assert planned_months(" 1  6 6.5 ", "DH-01-N") == (1.0, 6.0, 6.5)


def test_months_end_on_the_last_day_where_the_month_is_shorter() -> None:
    assert months_after(date(2023, 8, 31), 6) == date(2024, 2, 29)
    assert months_after(date(2023, 12, 31), 2) == date(2024, 2, 29)
    assert months_after(date(2024, 2, 29), 12) == date(2025, 2, 28)
    assert months_after(date(2023, 4, 10), 0.5) == date(2023, 4, 25)


@given(st.lists(st.tuples(st.dates(date(1950, 1, 1), date(2100, 1, 1)), st.integers(-60, 240)), min_size=1))
def test_whole_months_agree_with_the_calendar_of_pandas(given: list[tuple[date, int]]) -> None:
    days, months = (
        np.array(part, dtype=np.float64) for part in zip(*((day_number(d), m) for d, m in given), strict=True)
    )
    expected = [(pd.Timestamp(day) + pd.DateOffset(months=months)).date() for day, months in given]
    assert dates(add_months(days, months)).to_pylist() == expected


def test_no_day_is_so_many_months_after_no_day() -> None:
    assert np.isnan(add_months(np.array([np.nan]), 6.5)).all()


@given(st.lists(st.floats(0.5, 24), min_size=1, max_size=6), st.integers(0, 4000))
def test_the_planned_day_is_always_after_the_last_visit(months: list[float], days: int) -> None:
    last = START + timedelta(days=days)
    assert due(last, months=" ".join(map(repr, months))) > last
