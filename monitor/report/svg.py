"""The few strokes that drawings are made of: escaped elements, scales, ticks. Same input, same bytes."""

from collections.abc import Iterable, Sequence
from datetime import date
from functools import cache, lru_cache

from markupsafe import Markup, escape

from monitor.records import dataclass
from monitor.units import MM_PER_INCH, length_text

_STEPS_IN_MM = tuple(MM_PER_INCH * part for part in (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8))
_STEPS_MM = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)


def element(name: str, content: str | Iterable[Markup] = "", **attributes: str | float) -> Markup:
    """One element; attribute names take '_' for '-', a trailing '_' is dropped; text and values are escaped."""
    values = [_escaped(value) if isinstance(value, str) else number(value) for value in attributes.values()]
    written = _opening(name, tuple(attributes)) % tuple(values)
    inside = escape(content) if isinstance(content, str) else "".join(content)
    return Markup(f"{written}>{inside}</{name}>" if inside else f"{written}/>")


def together(parts: Iterable[Markup]) -> Markup:
    """Elements side by side."""
    return Markup("".join(parts))


@cache
def _opening(name: str, keys: tuple[str, ...]) -> str:
    return f"<{name}" + "".join(f' {key.rstrip("_").replace("_", "-")}="%s"' for key in keys)


@lru_cache(maxsize=1024)
def _escaped(value: str) -> str:
    return str(escape(value))  # of few values, such as classes, there are many


def number(value: float) -> str:
    """A coordinate to a tenth, without a minus before nought."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def path(points: Sequence[tuple[float, float]], *, closed: bool = False) -> str:
    """Path data through points."""
    return "M" + "L".join([f"{number(x)} {number(y)}" for x, y in points]) + ("Z" if closed else "")


@dataclass(frozen=True)
class Frame:
    """The plot area in drawing units, and the days and millimetres it spans; up is inward."""

    left: float
    right: float
    top: float
    bottom: float
    first: date
    last: date
    low_mm: float
    high_mm: float

    def x(self, day: date) -> float:
        """Place of a day."""
        share = (day - self.first).days / max((self.last - self.first).days, 1)
        return self.left + share * (self.right - self.left)

    def y(self, mm: float) -> float:
        """Place of a length."""
        return self.bottom - (mm - self.low_mm) / (self.high_mm - self.low_mm) * (self.bottom - self.top)


def length_ticks(low_mm: float, high_mm: float, unit: str, most: int = 7) -> list[tuple[float, str]]:
    """At most `most` round values with their words, in the unit of the page."""
    steps = _STEPS_IN_MM if unit == "in" else _STEPS_MM
    step = next((size for size in steps if (high_mm - low_mm) / size < most), steps[-1])
    while (high_mm - low_mm) / step >= most:
        step *= 2
    first = int(-(-low_mm // step))
    values = [first + place for place in range(most + 1) if (first + place) * step <= high_mm + 1e-9]
    return [
        (value * step, length_text(value * step, unit).removesuffix(".0 mm").removesuffix(" mm").removesuffix(" in"))
        for value in values
    ]


def day_ticks(first: date, last: date, most: int = 6) -> list[tuple[date, str]]:
    """First days of months or years between two days, at most `most`."""
    start, end = first.year * 12 + first.month - 1, last.year * 12 + last.month
    for step in (1, 2, 3, 6, 12, 24, 48, 120):
        months = range(-(-start // step) * step, end, step)
        if len(months) > most + 1:  # one at most lies before the first day
            continue
        days = [day for month in months if first <= (day := date(month // 12, month % 12 + 1, 1)) <= last]
        if len(days) <= most:
            return [(day, f"{day.year}" if step >= 12 else f"{_SHORT[day.month - 1]} {day.year}") for day in days]
    return []


_SHORT = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
