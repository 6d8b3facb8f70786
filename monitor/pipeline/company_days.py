"""The company's own days: its time zone, and the days on which nobody works, as the company tells of itself."""

from collections.abc import Mapping
from datetime import UTC, date, tzinfo
from zoneinfo import ZoneInfo, available_timezones

from monitor.errors import SettingsError
from monitor.ingest.known import nearest

_ALIKE = 60
"""Of 100: a city without its continent is this like its zone; below, any name has something that looks near."""


def zone_of(company: Mapping[str, str]) -> tzinfo:
    """The company's time zone; SettingsError where there is none of that name."""
    name = company.get("time zone", "")
    if not name:
        return UTC
    if name not in available_timezones():
        raise SettingsError(
            "There is no such time zone.",
            got=name,
            expected=nearest(name, available_timezones(), at_least=_ALIKE),
            mend="Name it as in the IANA list, e.g. America/Chicago.",
        )
    return ZoneInfo(name)


def holidays_of(company: Mapping[str, str]) -> frozenset[date]:
    """Days on which nobody works, besides Saturdays and Sundays."""
    return frozenset(date.fromisoformat(day) for day in company.get("holidays", "").split())
