"""The static chart of movement: there without any script, legible in grey, with its content in words beside it."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta

from markupsafe import Markup

from monitor.records import dataclass
from monitor.report.curves import Curves, Point, Stretch, Unused
from monitor.report.svg import Frame, day_ticks, element, length_ticks, path
from monitor.report.wording import count_text, day_text, length_pair, limit_pair, side_text
from monitor.units import MM_PER_INCH, limit_rate_text


@dataclass(frozen=True)
class Size:
    """Drawing units of a chart and how much it shows: the plain one leaves out threshold, take-up and what is not used.

    margin: room to the right; words: whether threshold and day of reinforcement stand in the chart in words.
    """

    width: int
    height: int
    left: int
    margin: int
    plain: bool
    words: bool = True


OFFICE = Size(width=760, height=340, left=64, margin=120, plain=False)
PLAIN = Size(width=380, height=230, left=52, margin=14, plain=True)
SMALL = Size(width=380, height=230, left=52, margin=14, plain=False, words=False)
_MOST_UNUSED = 0.5
"""How far readings that are not used may stretch the chart to either side, as a share of what the used ones need."""
NOTHING_DRAWN = "There are no readings to draw yet."


def movement_chart(curves: Curves, unit: str, size: Size, ids: str) -> Markup:
    """SVG of the governing mark's movement; '' where there is nothing to draw. `ids` begins every id in it."""
    if not curves.of(curves.mark):
        return Markup("")
    said = (f"Movement of mark {curves.mark}", chart_words(curves, unit))
    return drawn(curves, frame_of([curves], size), unit, size, ids, said)


def drawn(curves: Curves, frame: Frame, unit: str, size: Size, ids: str, said: tuple[str, str]) -> Markup:
    """SVG of a mark or component in a frame; said: its title, and what it shows in words."""
    stretches = curves.of(curves.mark)
    parts: list[Markup] = [
        *(element(tag, words, id=f"{ids}-{tag}") for tag, words in zip(("title", "desc"), said, strict=True)),
        *_take_up(frame, curves, size),
        *_axes(frame, unit, size),
        *(part for stretch in stretches for part in _band(frame, stretch)),
        *_work(frame, curves, size),
        *_slope(frame, curves, unit, size),
        *(part for stretch in stretches for part in _trend(frame, stretch)),
        *(part for stretch in stretches for part in _dots(frame, stretch.points)),
        *_unused(frame, curves, size),
    ]
    return element(
        "svg",
        parts,
        class_="chart plain" if size.width == PLAIN.width else "chart",
        viewBox=f"0 0 {size.width} {size.height}",
        role="img",
        aria_labelledby=f"{ids}-title {ids}-desc",
    )


def chart_words(curves: Curves, unit: str) -> str:
    """The chart in words, for those who cannot see it."""
    stretches = curves.of(curves.mark)
    if not stretches:
        return NOTHING_DRAWN
    newest = stretches[-1].points
    said = [f"Mark {curves.mark}, {_visits(stretches)}."]
    said += [f"Straps were fitted on {day_text(day)}; levels before and after are kept apart." for day in curves.work]
    if len(newest) > 1:
        end = newest[-1]
        zero = "at the first of these visits" if end.trend_mm is None else "where the last line starts"
        said.append(f"At the latest visit the mark stands {side_text(end.deflection_mm, unit)} than {zero}.")
        if end.lower_mm is not None and end.upper_mm is not None:
            said.append(
                f"The grey band there runs from {side_text(end.lower_mm, unit)} to {side_text(end.upper_mm, unit)}."
            )
    return " ".join((*said, *slope_words(curves, unit), *_unused_words(curves, unit)))


def slope_words(curves: Curves, unit: str) -> list[str]:
    """Where the threshold's line ends, in words; none where there is no such line."""
    if curves.slope is None:
        return []
    first, low, last, high = curves.slope
    days = f"from {day_text(first)} to {day_text(last)}"
    return [f"At the threshold the movement {days} would be {length_pair(high - low, unit)} inward."]


def _unused_words(curves: Curves, unit: str) -> list[str]:
    return [
        f"Not used: a {word} reading of {day_text(item.day)}, {side_text(item.deflection_mm, unit)} than the zero."
        for word, items in _unused_here(curves).items()
        for item in items
    ]


def _visits(stretches: list[Stretch]) -> str:
    points = [point for stretch in stretches for point in stretch.points]
    first, last = min(point.day for point in points), max(point.day for point in points)
    days = len({(point.day, point.part) for point in points})
    return f"{count_text(days, 'visit')} from {day_text(first)} to {day_text(last)}"


def frame_of(together: Sequence[Curves], size: Size) -> Frame:
    """The days and lengths of one chart, or of several that are to be compared."""
    points = [point for curves in together for stretch in curves.of(curves.mark) for point in stretch.points]
    heights = [0.0, *(p.deflection_mm for p in points)]
    heights += [mm for p in points for mm in (p.trend_mm, p.lower_mm, p.upper_mm) if mm is not None]
    days = [p.day for p in points] + [day for curves in together for day in curves.work]
    if not size.plain:
        heights += [curves.slope[3] for curves in together if curves.slope]
    low, high = min(heights), max(heights)
    if not size.plain:
        unused = [item for curves in together for items in _unused_here(curves).values() for item in items]
        days += [item.day for item in unused]
        reach = _MOST_UNUSED * (high - low)
        near = [item.deflection_mm for item in unused if low - reach <= item.deflection_mm <= high + reach]
        low, high = min([low, *near]), max([high, *near])
    room = max((high - low) * 0.08, MM_PER_INCH / 16)
    margin = timedelta(days=max((max(days) - min(days)).days // 40, 15))
    return Frame(
        left=size.left,
        right=size.width - size.margin,
        top=34,
        bottom=size.height - 34,
        first=min(days) - margin,
        last=max(days) + margin,
        low_mm=low - room,
        high_mm=high + room,
    )


def _axes(frame: Frame, unit: str, size: Size) -> Iterable[Markup]:
    for mm, words in length_ticks(frame.low_mm, frame.high_mm, unit, 5 if size.width == PLAIN.width else 7):
        y = frame.y(mm)
        kind = "nought" if abs(mm) < 1e-9 else "grid"
        yield element("path", d=path([(frame.left, y), (frame.right, y)]), class_=kind)
        yield element("text", words, x=frame.left - 7, y=y + 4, text_anchor="end")
    for day, words in day_ticks(frame.first, frame.last, 4 if size.width == PLAIN.width else 7):
        x = frame.x(day)
        yield element("path", d=path([(x, frame.bottom), (x, frame.bottom + 5)]), class_="tick")
        yield element("text", words, x=x, y=frame.bottom + 20, text_anchor="middle")
    yield element("path", d=path([(frame.left, frame.bottom), (frame.right, frame.bottom)]), class_="tick")
    yield element("text", f"inward ↑ ({'inches' if unit == 'in' else 'mm'})", x=6, y=18)


def _take_up(frame: Frame, curves: Curves, size: Size) -> Iterable[Markup]:
    if size.plain:
        return
    for start, end in curves.take_up:
        left, right = frame.x(start), min(frame.x(end), frame.right)
        if right > left:
            yield element(
                "rect", x=left, y=frame.top, width=right - left, height=frame.bottom - frame.top, class_="take-up"
            )


def _work(frame: Frame, curves: Curves, size: Size) -> Iterable[Markup]:
    for day in curves.work:
        x = frame.x(day)
        yield element("path", d=path([(x, frame.top - 4), (x, frame.bottom)]), class_="work")
        at_end = x > (frame.left + frame.right) * 0.7
        words = f"straps fitted {day.isoformat()}" if size.words and not size.plain else "straps fitted"
        yield element(
            "text",
            words,
            x=x + (-5 if at_end else 5),
            y=frame.top + 4,
            text_anchor="end" if at_end else "start",
            class_="work-word",
        )
    if not size.plain:
        for day, _ in curves.other:
            if frame.first <= day <= frame.last:
                x = frame.x(day)
                yield element(
                    "path",
                    d=path([(x - 4, frame.bottom), (x, frame.bottom - 9), (x + 4, frame.bottom)], closed=True),
                    class_="event",
                )


def _band(frame: Frame, stretch: Stretch) -> Iterable[Markup]:
    ends = [
        (p.day, p.lower_mm, p.upper_mm) for p in stretch.points if p.lower_mm is not None and p.upper_mm is not None
    ]
    if len(ends) > 1:
        over = [(frame.x(day), frame.y(upper)) for day, _, upper in ends]
        under = [(frame.x(day), frame.y(lower)) for day, lower, _ in reversed(ends)]
        yield element("path", d=path(over + under, closed=True), class_="band")


def _trend(frame: Frame, stretch: Stretch) -> Iterable[Markup]:
    line = [(frame.x(p.day), frame.y(p.trend_mm)) for p in stretch.points if p.trend_mm is not None]
    if len(line) > 1:
        yield element("path", d=path(line), class_="trend")


def _dots(frame: Frame, points: Iterable[Point]) -> Iterable[Markup]:
    for point in points:
        yield element(
            "circle",
            cx=frame.x(point.day),
            cy=frame.y(point.deflection_mm),
            r=4,
            class_="dot" if point.counts else "dot early",
        )


def _unused_here(curves: Curves) -> Mapping[str, Sequence[Unused]]:
    """Readings of the chart's mark that are not used, by the word that stands beside them."""
    both = {"held": curves.held, "rejected": curves.rejected}
    return {word: [item for item in items if item.mark == curves.mark] for word, items in both.items()}


def _unused(frame: Frame, curves: Curves, size: Size) -> Iterable[Markup]:
    """Held readings as rings, rejected ones as crosses; an arrow at the edge where one stands far off the chart."""
    if size.plain:
        return
    for word, items in _unused_here(curves).items():
        for item in items:
            x, y = frame.x(item.day), frame.y(item.deflection_mm)
            beyond = -1 if y < frame.top else 1 if y > frame.bottom else 0
            if beyond:
                y = frame.top + 20 if beyond < 0 else frame.bottom - 20
                tip = y + 16 * beyond
                yield element("path", d=path([(x - 4, tip - 5 * beyond), (x, tip), (x + 4, tip - 5 * beyond)]))
            if word == "held":
                yield element("circle", cx=x, cy=y, r=6, class_="held")
            else:
                yield element("path", d=f"M{x - 5:.1f} {y - 5:.1f}l10 10m0-10l-10 10", class_="rejected")
            yield element("text", f"{word}, off the chart" if beyond else word, x=x + 10, y=y + 4)


def _slope(frame: Frame, curves: Curves, unit: str, size: Size) -> Iterable[Markup]:
    if size.plain or curves.slope is None or curves.threshold_mm_per_year is None:
        return
    first, low, last, high = curves.slope
    yield element("path", d=path([(frame.x(first), frame.y(low)), (frame.x(last), frame.y(high))]), class_="slope")
    if size.words:
        yield element("text", "threshold", x=frame.x(last) + 6, y=frame.y(high) - 2)
        words = limit_rate_text(curves.threshold_mm_per_year, unit)
        yield element("text", words, x=frame.x(last) + 6, y=frame.y(high) + 12)


def legend_words(curves: Curves, unit: str) -> list[tuple[str, str]]:
    """(class of the sample, meaning) of what the office chart shows."""
    found = [("dot", "reading (mean of a visit)")]
    if any(p.trend_mm is not None for stretch in curves.of(curves.mark) for p in stretch.points):
        found += [("trend", "fitted line"), ("band", "where the mark could be (one-sided 95 % each way)")]
    if any(not p.counts for stretch in curves.of(curves.mark) for p in stretch.points):
        found.append(("dot early", "in the take-up window, not used for the rate"))
    unused = _unused_here(curves)
    found += [(word, f"{word} reading, not used") for word in ("held", "rejected") if unused[word]]
    if curves.work:
        found += [("work", "straps fitted"), ("take-up", "take-up window")]
    if curves.slope and curves.threshold_mm_per_year is not None:
        found.append(("slope", f"the threshold as a slope, {limit_pair(curves.threshold_mm_per_year, unit)}"))
    if curves.other:
        found.append(("event", "other event, see the table"))
    return found
