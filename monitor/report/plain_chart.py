"""The small chart for people outside the office, in their language: dots, the band, days of work; the same in words.

Dots are our readings as they are, not moved by any estimate: what scatters about the band is what the band is drawn
from, and a reading stands where the office's page has it. That a dot holds one visit's error is said beside the chart.
"""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from functools import cached_property

from markupsafe import Markup

from monitor.records import dataclass
from monitor.report.curves import Curves, Point, Stretch
from monitor.report.language import Language
from monitor.report.svg import Frame, day_ticks, element, length_ticks, path, together
from monitor.units import MM_PER_INCH

WIDTH, HEIGHT, LEFT = 380, 190, 52


@dataclass(frozen=True)
class PlainChart:
    """Movement of a wall's governing mark, with either unit first; place: where that mark sits, in words.

    What bears no unit is worked out once.
    """

    curves: Curves
    place: str
    words: Language

    @cached_property
    def stretches(self) -> Sequence[Stretch]:
        """What is drawn, oldest first."""
        return self.curves.of(self.curves.mark)

    @cached_property
    def points(self) -> Sequence[Point]:
        """All dots, oldest stretch first."""
        return [point for stretch in self.stretches for point in stretch.points]

    def svg(self, ids: str, unit: str) -> Markup:
        """The picture, '' where there is nothing to draw; its words are to stand in an element of id '<ids>-words'."""
        if not self.points:
            return Markup("")
        parts = [
            element("title", self.words.say("chart", "title", place=self.place), id=f"{ids}-title"),
            *self._lengths(unit),
            self._days,
            element("text", self.words["chart"][f"axis_{unit}"], x=6, y=14),
            self._drawn,
        ]
        return element(
            "svg",
            parts,
            class_="chart plain",
            viewBox=f"0 0 {WIDTH} {HEIGHT}",
            role="img",
            aria_labelledby=f"{ids}-title",
            aria_describedby=f"{ids}-words",
        )

    def in_words(self, unit: str) -> str:
        """The chart for those who cannot see it, and what may be made of its first and last dot."""
        words, said = self.words, self.words["chart"]
        if not self.points:
            return str(said["none"])
        days = [point.day for point in self.points]
        visits = words.count_text(len(set(days)), "visit")
        place = f"{self.place[:1].upper()}{self.place[1:]}"
        first, last = words.day_text(min(days)), words.day_text(max(days))
        key = "first" if len(set(days)) > 1 else "only"
        told = [words.say("chart", key, place=place, visits=visits, first=first, last=last)]
        if self.curves.work:
            told.append(str(said["straps"]))
        newest = self.stretches[-1].points
        counting = [point for point in newest if point.counts] or list(newest)
        if len(counting) > 1:
            told += self._from_to(counting[0], counting[-1], unit)
        return " ".join(told)

    def _from_to(self, start: Point, end: Point, unit: str) -> Iterable[str]:
        """Where the last dot stands against the first, and beside it what all readings together say of the wall."""
        words, moved = self.words, end.deflection_mm - start.deflection_mm
        first, last = words.day_text(start.day), words.day_text(end.day)
        yield words.say("chart", "moved", last=last, first=first, moved=words.side_text(moved, unit))
        if end.lower_mm is not None and end.upper_mm is not None:
            low, high = (words.side_text(mm, unit) for mm in (end.lower_mm, end.upper_mm))
            inside = end.lower_mm <= moved <= end.upper_mm
            yield words.say("chart", "itself" if inside else "single", low=low, high=high)

    def key(self) -> str:
        """What dots and band are, in one line."""
        said = ["dots" if all(point.counts for point in self.points) else "dots_pale"]
        if any(point.lower_mm is not None for point in self.points):
            said.append("band")
        if any(_outside(point) for point in self.points):
            said.append("outside")
        return " ".join(str(self.words["chart"][name]) for name in (*said, "up"))

    @cached_property
    def _frame(self) -> Frame:
        heights = [0.0, *(point.deflection_mm for point in self.points)]
        heights += [mm for point in self.points for mm in (point.lower_mm, point.upper_mm) if mm is not None]
        days = [point.day for point in self.points] + list(self.curves.work)
        low, high = min(heights), max(heights)
        room = max((high - low) * 0.08, MM_PER_INCH / 16)
        margin = timedelta(days=max((max(days) - min(days)).days // 40, 15))
        return Frame(
            left=LEFT,
            right=WIDTH - 14,
            top=32,
            bottom=HEIGHT - 24,
            first=min(days) - margin,
            last=max(days) + margin,
            low_mm=low - room,
            high_mm=high + room,
        )

    def _lengths(self, unit: str) -> Iterable[Markup]:
        frame = self._frame
        for mm, shown in length_ticks(frame.low_mm, frame.high_mm, unit, 5):
            y = frame.y(mm)
            kind = "nought" if abs(mm) < 1e-9 else "grid"
            yield element("path", d=path([(frame.left, y), (frame.right, y)]), class_=kind)
            yield element("text", shown, x=frame.left - 7, y=y + 4, text_anchor="end")

    @cached_property
    def _days(self) -> Markup:
        frame, parts = self._frame, []
        for day, shown in day_ticks(frame.first, frame.last, 4):
            x = frame.x(day)
            parts.append(element("path", d=path([(x, frame.bottom), (x, frame.bottom + 5)]), class_="tick"))
            parts.append(element("text", self._tick(day, shown), x=x, y=frame.bottom + 19, text_anchor="middle"))
        parts.append(element("path", d=path([(frame.left, frame.bottom), (frame.right, frame.bottom)]), class_="tick"))
        return together(parts)

    def _tick(self, day: date, shown: str) -> str:
        """A year alone as it is, a month in the language's short form."""
        return shown if shown.isdecimal() else f"{self.words['calendar']['months_short'][day.month - 1]} {day.year}"

    @cached_property
    def _drawn(self) -> Markup:
        """Bands, days of work and dots."""
        frame = self._frame
        bands = [part for stretch in self.stretches for part in _band(frame, stretch)]
        dots = [
            element(
                "circle",
                cx=frame.x(point.day),
                cy=frame.y(point.deflection_mm),
                r=4,
                class_="dot" if point.counts else "dot early",
            )
            for point in self.points
        ]
        return together([*bands, *self._work(frame), *dots])

    def _work(self, frame: Frame) -> Iterable[Markup]:
        for day in self.curves.work:
            x = frame.x(day)
            late = x > (frame.left + frame.right) * 0.6
            yield element("path", d=path([(x, frame.top - 10), (x, frame.bottom)]), class_="work")
            at, anchor = (x - 5, "end") if late else (x + 5, "start")
            word = self.words["chart"]["work"]
            yield element("text", word, x=at, y=frame.top, text_anchor=anchor, class_="work-word")


def _band(frame: Frame, stretch: Stretch) -> Iterable[Markup]:
    ends = [
        (p.day, p.lower_mm, p.upper_mm) for p in stretch.points if p.lower_mm is not None and p.upper_mm is not None
    ]
    if len(ends) > 1:
        over = [(frame.x(day), frame.y(upper)) for day, _, upper in ends]
        under = [(frame.x(day), frame.y(lower)) for day, lower, _ in reversed(ends)]
        yield element("path", d=path(over + under, closed=True), class_="band")


def _outside(point: Point) -> bool:
    lower, upper = point.lower_mm, point.upper_mm
    return lower is not None and upper is not None and not lower <= point.deflection_mm <= upper
