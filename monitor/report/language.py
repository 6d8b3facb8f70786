"""One language of the pages: its phrases, and how dates, lengths and rates stand in it.

The phrases of a language are a file of their own, phrases/<code>.toml; another language is another file with the same
keys. Numbers bear a decimal point in every language so far, as they do in the United States and in Mexico.
"""

import tomllib
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from datetime import date
from functools import cache, reduce
from importlib.resources import files
from itertools import pairwise
from math import sqrt
from typing import Any

from monitor.records import dataclass
from monitor.units import (
    MM_PER_INCH,
    SIXTEENTH_MM,
    fraction_text,
    inches_from_mm,
    length_text,
    limit_rate_fraction,
    nearest_steps,
    rate_number,
    steps_text,
)

FIRST = "en"
"""The language of the office, and the one that stands first."""

THINGS_MM: Mapping[str, float] = {
    "paper": 0.1,
    "two_sheets": 0.2,
    "half_card": 0.38,
    "card": 0.76,  # ISO/IEC 7810, ID-1: 0.76 mm
    "coin": 1.75,
    "coins": 3.5,
    "three_coins": 5.25,
    "pencil": 7.0,
    "finger": 14.0,
    "thumb": 25.4,
    "thumb_and_half": 38.1,
    "thumbs": 50.8,
}
"""Things people have at hand, in mm, smallest first, by their names in the phrases; from memory but for the card."""

_THINGS = tuple(THINGS_MM)
_BETWEEN_MM = [sqrt(small * large) for small, large in pairwise(THINGS_MM.values())]
"""As near in proportion to the thing below as to the one above."""

_PHRASES = files("monitor.report") / "phrases"


@dataclass(frozen=True)
class Language:
    """code: as the lang attribute of a page bears it; phrases: by section and key, with names in braces."""

    code: str
    phrases: Mapping[str, Mapping[str, Any]]

    def __getitem__(self, section: str) -> Mapping[str, Any]:
        """The phrases of a section."""
        return self.phrases[section]

    def say(self, section: str, key: str, **values: object) -> str:
        """A phrase with its names filled in."""
        return str(self.phrases[section][key]).format(**values)

    def day_text(self, day: date) -> str:
        """'14 March 2026', '14 de marzo de 2026': unambiguous on either side of an ocean."""
        return self.say("calendar", "day", day=day.day, month=self._month(day), year=day.year)

    def month_text(self, day: date) -> str:
        """'March 2026', 'marzo de 2026'."""
        return self.say("calendar", "month", month=self._month(day), year=day.year)

    def _month(self, day: date) -> str:
        return str(self["calendar"]["months"][day.month - 1])  # not the locale's: the same page everywhere

    def count_text(self, number: int, noun: str) -> str:
        """'1 visit', '4 visits'; noun: a key of the phrases' section count."""
        one, many = self["count"][noun]
        return str(one if number == 1 else many).format(n=number)

    def span_text(self, years: float) -> str:
        """'18 months', '3 years': whole months under two years, then years with a half where it is near one."""
        if years < 2:
            return self.count_text(max(round(years * 12), 0), "month")
        halves = round(years * 2)
        return str(self["count"]["year"][1]).format(n=f"{halves // 2}{' 1/2' if halves % 2 else ''}")

    def joined(self, words: Iterable[str]) -> str:
        """'a and b and c'."""
        return reduce(lambda first, second: self.say("lists", "and", first=first, second=second), words)

    def length_text(self, mm: float, unit: str) -> str:
        """'1 3/16 in' or '30.2 mm', in sixteenths of an inch; no small length is called nought."""
        if unit != "in":
            return self.say("units", "mm", n=length_text(mm, "mm").removesuffix(" mm"))
        if 0 < abs(mm) < MM_PER_INCH / 32:
            return str(self["units"]["under_a_32nd"])
        steps = nearest_steps(inches_from_mm(mm))
        key = "one_inch" if abs(steps) == 16 else "part_of_inch" if 0 < abs(steps) < 16 else "inches"
        return self.say("units", key, n=steps_text(steps))

    def length_pair(self, mm: float, unit: str) -> str:
        """'1 3/16 in (30.2 mm)', or the reverse where the wall is read in millimetres."""
        return self._pair(self.length_text(mm, unit), self.length_text(mm, other_unit(unit)))

    def side_text(self, mm: float, unit: str) -> str:
        """'1/16 in (1.1 mm) further out': a movement with its side in words."""
        return self.say("units", "further_in" if mm >= 0 else "further_out", length=self.length_pair(abs(mm), unit))

    def rate_text(self, mm_per_year: float, unit: str) -> str:
        """'0.13 inch a year' or '3.2 mm a year'."""
        return self._a_year(rate_number(mm_per_year, unit), unit)

    def _a_year(self, number: str, unit: str) -> str:
        return self.say("units", "inch_a_year" if unit == "in" else "mm_a_year", n=number)

    def rate_pair(self, mm_per_year: float, unit: str) -> str:
        """'0.13 inch a year (3.2 mm a year)', or the reverse."""
        return self._pair(self.rate_text(mm_per_year, unit), self.rate_text(mm_per_year, other_unit(unit)))

    def limit_text(self, mm_per_year: float, unit: str) -> str:
        """A limit of a rate: '1/16 inch a year' where it is whole sixteenths of an inch, else as a rate."""
        inches = limit_rate_fraction(mm_per_year) if unit == "in" else None
        if inches is None:
            return self.rate_text(mm_per_year, unit)
        return self.say("units", "part_of_inch_a_year" if abs(inches) < 1 else "inch_a_year", n=fraction_text(inches))

    def limit_pair(self, mm_per_year: float, unit: str) -> str:
        """'1/16 inch a year (1.6 mm a year)', or the reverse."""
        return self._pair(self.limit_text(mm_per_year, unit), self.limit_text(mm_per_year, other_unit(unit)))

    def range_text(self, lower: float, upper: float, unit: str) -> str:
        """'between 0.16 and 0.23 inch a year'; a lower end that is not inward is said in words."""
        high = self.rate_text(upper, unit)
        if lower <= 0:
            return self.say("units", "none_to", high=high)
        return self.say("units", "between", low=rate_number(lower, unit), high=high)

    def rate_range(self, mm_per_year: float, lower: float, upper: float, unit: str) -> str:
        """'5.0 mm a year (4.1 to 5.9 mm a year)': rate and bounds short, for the unit that stands beside."""
        low = rate_number(lower, unit) if lower > 0 else self["units"]["none"]
        rate, high = self.rate_text(mm_per_year, unit), self.rate_text(upper, unit)
        return self.say("units", "rate_with_range", rate=rate, low=low, high=high)

    def tape_text(self, mm: float, unit: str) -> str:
        """A length as it looks on a tape measure, whose smallest mark is 1/16 in or 1 mm."""
        smallest = SIXTEENTH_MM if unit == "in" else 1.0
        if mm < 0.75 * smallest:
            mark = self.length_text(smallest, unit) if unit == "in" else self.say("units", "mm", n=1)
            return self.say("tape", "half" if mm >= 0.25 * smallest else "less", mark=mark)
        shown = self.length_text(mm, unit) if unit == "in" else self.say("units", "mm", n=f"{mm:.0f}")
        return self.say("tape", "shown", length=shown)

    def comparison(self, mm: float) -> str:
        """The thing at hand that comes nearest to a length in proportion."""
        return str(self["things"][_THINGS[bisect_left(_BETWEEN_MM, abs(mm))]])

    def wall_text(self, nickname: str, wall: str) -> str:
        """The wall within a sentence: 'the north wall', 'wall N' where it has no name of its own."""
        if not nickname:
            return self.say("wall", "unnamed", wall=wall)
        name = nickname.removeprefix("the ")
        side = name.lower().removesuffix(" wall")
        compass = side in ("north", "east", "south", "west") and name.lower() != side
        return str(self["wall"][side]) if compass else self.say("wall", "named", name=name)

    def _pair(self, first: str, second: str) -> str:
        return self.say("units", "pair", first=first, second=second)


def other_unit(unit: str) -> str:
    """The unit that stands beside the first."""
    return "mm" if unit == "in" else "in"


@cache
def language(code: str) -> Language:
    """The language of that code; KeyError where there is no such file."""
    if code not in codes():
        raise KeyError(f"no phrases in language {code!r}; there are {', '.join(codes())}")
    return Language(code, tomllib.loads((_PHRASES / f"{code}.toml").read_text(encoding="utf-8")))


@cache
def codes() -> tuple[str, ...]:
    """Codes of all languages that there are phrases in, the office's first."""
    found = sorted(path.name.removesuffix(".toml") for path in _PHRASES.iterdir() if path.name.endswith(".toml"))
    return (FIRST, *(code for code in found if code != FIRST))
