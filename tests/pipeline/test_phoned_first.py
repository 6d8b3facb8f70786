"""Bad news is phoned first: when it goes out by itself by hand-counted days, and that no page tells it before."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from monitor.errors import SettingsError
from monitor.pipeline.company_days import holidays_of, zone_of
from monitor.pipeline.phoned_first import goes_out

CHICAGO = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    ("known", "hard", "out_on"),
    [
        ("2026-11-23T15:00", False, "2026-11-25"),  # a Monday: Tuesday, Wednesday
        ("2026-11-26T15:00", False, "2026-11-30"),  # a Thursday: Friday, Monday
        ("2026-11-27T23:59", False, "2026-12-01"),  # a Friday: Monday, Tuesday
        ("2026-11-28T10:00", False, "2026-12-01"),  # a Saturday, and
        ("2026-11-29T10:00", False, "2026-12-01"),  # a Sunday: the same
        ("2026-11-28T10:00", True, "2026-11-28"),  # a hard limit waits for no working day
        ("2026-11-23T00:00", True, "2026-11-23"),
    ],
)
def test_news_goes_out_by_itself_two_working_days_later_and_a_hard_limits_the_same_day(
    known: str, hard: bool, out_on: str
) -> None:
    out = goes_out(datetime.fromisoformat(known).replace(tzinfo=UTC), hard, UTC)
    assert out.date() == date.fromisoformat(out_on)
    assert out + timedelta(microseconds=1) == datetime(out.year, out.month, out.day, tzinfo=UTC) + timedelta(days=1)


def test_a_holiday_is_no_working_day() -> None:
    holidays = holidays_of({"holidays": "2026-11-26 2026-11-27"})
    wednesday = datetime(2026, 11, 25, 12, tzinfo=UTC)
    assert goes_out(wednesday, False, UTC, holidays).date() == date(2026, 12, 1), "Monday and Tuesday"
    assert goes_out(wednesday, True, UTC, holidays).date() == date(2026, 11, 25)


def test_days_are_the_companys_own() -> None:
    """At 03:00 UTC on a Tuesday it is Monday evening in Chicago, six hours behind."""
    known = datetime(2026, 11, 24, 3, tzinfo=UTC)
    assert goes_out(known, True, CHICAGO) == datetime(2026, 11, 23, 23, 59, 59, 999999, tzinfo=CHICAGO)
    assert goes_out(known, True, UTC).date() == date(2026, 11, 24)
    assert zone_of({"time zone": "America/Chicago"}) == CHICAGO
    assert zone_of({}) is UTC


def test_a_time_zone_that_is_none_is_refused_with_the_nearest() -> None:
    with pytest.raises(SettingsError) as refused:
        zone_of({"time zone": "America/Chikago"})
    assert refused.value.expected.startswith("America/Chicago")
    with pytest.raises(SettingsError) as refused:
        zone_of({"time zone": "Mars/Base"})
    assert refused.value.expected == ""
