"""Millimetres, inches and years: the one home of every conversion and of how a number is shown.

Inside: millimetres, years of 365.25 days, inward (into the room) positive. People see inches or millimetres.
1 in = 25.4 mm exactly (international inch: NIST SP 811, App. B).
"""

from fractions import Fraction
from functools import lru_cache
from math import floor

MM_PER_INCH = 25.4
INCHES_PER_FOOT = 12
DAYS_PER_YEAR = 365.25
SIXTEENTH_MM = MM_PER_INCH / 16


def mm_from_inches(inches: Fraction) -> float:
    """Millimetres of an exact number of inches, rounded once, to the nearest float."""
    return float(inches * Fraction(254, 10))


def inches_from_mm(mm: float) -> float:
    """Inches of a length or of a rate in millimetres."""
    return mm / MM_PER_INCH


def rounding_sd_mm(step_mm: float) -> float:
    """Standard uncertainty of a reading noted in steps of `step_mm`: step / sqrt 12 (GUM, JCGM 100:2008, F.2.2.1)."""
    return float(step_mm / 12**0.5)


def nearest_steps(inches: float, denominator: int = 16) -> int:
    """Inches in whole 1/denominator inch, halves away from zero (as a rule is read, not as `round` does)."""
    steps = floor(abs(inches) * denominator + 0.5)
    return steps if inches >= 0 else -steps


def nearest_fraction(inches: float, denominator: int = 16) -> Fraction:
    """The nearest 1/denominator inch, as `nearest_steps` has it."""
    return Fraction(nearest_steps(inches, denominator), denominator)


def fraction_text(inches: Fraction) -> str:
    """Inches as a carpenter writes them: Fraction(19, 16) -> '1 3/16'."""
    sign = "-" if inches < 0 else ""
    whole, rest = divmod(abs(inches), 1)
    if not rest:
        return f"{sign}{whole}"
    part = f"{rest.numerator}/{rest.denominator}"
    return f"{sign}{whole} {part}" if whole else f"{sign}{part}"


@lru_cache(maxsize=4096)
def steps_text(steps: int, denominator: int = 16) -> str:
    """`fraction_text` of so many 1/denominator inch; walls read in sixteenths bear few lengths, each many times."""
    return fraction_text(Fraction(steps, denominator))


def length_text(mm: float, unit: str, *, denominator: int = 16) -> str:
    """A length for people: '1 3/16 in' or '30.2 mm' (unit 'in' or 'mm')."""
    if unit == "in":
        return f"{steps_text(nearest_steps(inches_from_mm(mm), denominator), denominator)} in"
    return f"{_plain(mm, 1)} mm"


def length_step_mm(unit: str) -> float:
    """Lengths nearest the same multiple of this are shown alike: a sixteenth of an inch, or 0.1 mm."""
    return SIXTEENTH_MM if unit == "in" else 0.1


def feet_text(mm: float, unit: str) -> str:
    """A length of a wall for people: '29 ft 6 5/16 in', '24 ft' or '9.00 m' (unit 'in' or 'mm'), nought or more."""
    if unit != "in":
        return f"{_plain(mm / 1000, 2)} m"
    feet, inches = divmod(nearest_fraction(inches_from_mm(mm)), INCHES_PER_FOOT)
    parts = [f"{feet} ft"] * bool(feet) + [f"{fraction_text(inches)} in"] * bool(inches or not feet)
    return " ".join(parts)


def rate_unit(unit: str) -> str:
    """The unit of rates as a heading says it: 'inch a year', where 'in a year' would read as a span of time."""
    return "inch a year" if unit == "in" else "mm a year"


def rate_number(mm_per_year: float, unit: str) -> str:
    """The number of a rate alone, for a place that names the unit: '0.13' or '3.2' (unit 'in' or 'mm')."""
    return _plain(inches_from_mm(mm_per_year), 2) if unit == "in" else _plain(mm_per_year, 1)


def rate_text(mm_per_year: float, unit: str) -> str:
    """A rate for people: '0.13 inch a year' or '3.2 mm a year' (unit 'in' or 'mm')."""
    return f"{rate_number(mm_per_year, unit)} {rate_unit(unit)}"


def rate_step_mm(unit: str) -> float:
    """Rates nearest the same multiple of this are shown alike: 0.01 inch a year, or 0.1 mm a year."""
    return MM_PER_INCH / 100 if unit == "in" else 0.1


def limit_rate_text(mm_per_year: float, unit: str) -> str:
    """A limit of a rate for people: '1/16 inch a year' where it is whole sixteenths of an inch, else as `rate_text`."""
    inches = limit_rate_fraction(mm_per_year) if unit == "in" else None
    return rate_text(mm_per_year, unit) if inches is None else f"{fraction_text(inches)} {rate_unit(unit)}"


def limit_rate_fraction(mm_per_year: float) -> Fraction | None:
    """A limit of a rate in inches a year where it is whole sixteenths, as limits are agreed on; else None."""
    sixteenths = mm_per_year / SIXTEENTH_MM
    return Fraction(round(sixteenths), 16) if abs(sixteenths - round(sixteenths)) < 1e-6 else None


def _plain(value: float, digits: int) -> str:
    """A decimal without a minus before nought."""
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if float(text) == 0 else text
