"""The range of days at which the limit may be reached: by hand, and never where the rate is not shown to be inward."""

from datetime import date

import pytest
from result_rows import table

from monitor.config import Rules
from monitor.trend.projection import dated


def limits(**changes: object) -> tuple[object, object]:
    row = {
        "is_current": True,
        "last_visit": date(2024, 1, 1),
        "total_mm": 30.0,
        "total_limit_mm": 50.0,
        "rate_lower": 2.0,
        "rate_upper": 5.0,
        "visits": 3,
    }
    (found,) = dated(table("wall_results", [row | changes]), Rules()).to_pylist()
    return found["limit_from"], found["limit_to"]


def test_the_range_is_what_is_left_over_each_bound() -> None:
    """20 mm left: 4 years at 5 mm/yr (1461 days), 10 years at 2 mm/yr (3652.5 days, a day's half to the even)."""
    assert limits() == (date(2028, 1, 1), date(2033, 12, 31))


@pytest.mark.parametrize(
    "changes",
    [
        {"rate_lower": 0.0},
        {"rate_lower": -0.1},
        {"rate_lower": float("nan"), "rate_upper": float("nan")},
        {"total_mm": float("nan")},
        {"total_mm": 50.0},
        {"total_mm": 61.0},
        {"is_current": False},
        {"visits": 2},
        {"rate_lower": None, "rate_upper": None},
        {"total_limit_mm": None},
        {"last_visit": None},
    ],
)
def test_nothing_is_said_where_nothing_can_be_said(changes: dict[str, object]) -> None:
    assert limits(**changes) == (None, None)


def test_days_more_than_fifty_years_off_are_left_out() -> None:
    assert limits(rate_lower=0.1) == (date(2028, 1, 1), None)
    assert limits(rate_lower=0.1, rate_upper=0.3) == (None, None)


def test_no_wall_gives_no_rows() -> None:
    assert len(dated(table("wall_results", []), Rules())) == 0
