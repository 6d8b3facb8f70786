"""Every reading of every mark as a dot of its own, used or not, beside the fitted line: small charts on one scale."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from markupsafe import Markup

from monitor.records import dataclass
from monitor.report.context import Book, Row, WallView
from monitor.report.curves import Curves, Point
from monitor.report.svg import Frame, day_ticks, element, length_ticks, path
from monitor.terms import State
from monitor.units import SIXTEENTH_MM, length_text

_WIDTH, _HEIGHT, _LEFT = 380, 190, 56


@dataclass(frozen=True)
class Dot:
    """One used reading on the zero of its stretch; counts: for the rate."""

    mark: str
    day: date
    deflection_mm: float
    counts: bool


def dots(book: Book, view: WallView, curves: Curves, residuals: Sequence[Row]) -> list[Dot]:
    """Used readings on the zeros of their stretches.

    Where a set-up stands anywhere (its offset has no size known beforehand) its estimate is taken off each reading.
    """
    points = {
        (stretch.mark, stretch.period, stretch.number, point.day, point.part): point
        for stretch in curves.stretches
        for point in stretch.points
    }
    of_visit: dict[tuple[str, str, date, str], list[Point]] = defaultdict(list)
    for move in view.movement:
        point = points.get((move["mark"], move["period"], move["stretch"], move["visit_date"], move["part"]))
        if point:
            of_visit[move["mark"], move["method"], move["visit_date"], move["part"]].append(point)
    groups: dict[tuple[str, str, date, str], list[tuple[Row, float]]] = defaultdict(list)
    off = {row["reading_id"]: row["setup_mm"] for row in residuals if _stands_anywhere(book, row["method"])}
    for row in view.readings:
        if row["state"] == State.USED and row["deflection_mm"] is not None and row["visit_date"]:
            key = (row["mark"], row["method"], row["visit_date"], row["part"])
            groups[key].append((row, row["deflection_mm"] - off.get(row["reading_id"], 0.0)))
    found = []
    for key, rows in groups.items():
        for point in of_visit.get(key, ())[:1]:
            zero = sum(value for _, value in rows) / len(rows) - point.deflection_mm
            found += [Dot(key[0], key[2], value - zero, point.counts) for _, value in rows]
    return sorted(found, key=lambda dot: (dot.mark, dot.day, dot.deflection_mm))


def _stands_anywhere(book: Book, method: str) -> bool:
    return any(known == method and sds.offset_mm is None for known, sds in book.variances.methods.items())


def dot_charts(curves: Curves, found: Sequence[Dot], unit: str, ids: str) -> list[Mapping[str, Any]]:
    """Of each mark that was read: its name and chart, all on the same days and lengths."""
    if not found:
        return []
    frame = _frame(curves, found)
    return [
        {"mark": mark, "chart": _chart(curves, mark, [dot for dot in found if dot.mark == mark], frame, unit, ids)}
        for mark in curves.marks
    ]


def _frame(curves: Curves, found: Sequence[Dot]) -> Frame:
    heights = [0.0, *(dot.deflection_mm for dot in found)]
    heights += [point.trend_mm for s in curves.stretches for point in s.points if point.trend_mm is not None]
    days = [dot.day for dot in found] + [each.day for each in (*curves.held, *curves.rejected)] + list(curves.work)
    room = max((max(heights) - min(heights)) * 0.08, SIXTEENTH_MM)
    margin = timedelta(days=max((max(days) - min(days)).days // 40, 15))
    return Frame(
        left=_LEFT,
        right=_WIDTH - 12,
        top=26,
        bottom=_HEIGHT - 28,
        first=min(days) - margin,
        last=max(days) + margin,
        low_mm=min(heights) - room,
        high_mm=max(heights) + room,
    )


def _chart(curves: Curves, mark: str, found: Sequence[Dot], frame: Frame, unit: str, ids: str) -> Markup:
    held, rejected = (
        [each for each in group if each.mark == mark] for group in (curves.held, curves.rejected)
    )  # fmt: skip
    name = f"{ids}-{mark.encode().hex()}"
    words = f"{len(found)} used, {len(held)} held, {len(rejected)} rejected readings; numbers in the tables."
    parts = [
        element("title", f"Readings of mark {mark}", id=f"{name}-title"),
        element("desc", words, id=f"{name}-desc"),
        *_axes(frame, unit),
        element("text", f"mark {mark}", x=_LEFT, y=16, class_="strong"),
        *(
            element("path", d=path([(x, frame.top), (x, frame.bottom)]), class_="work")
            for x in map(frame.x, curves.work)
        ),
        *_lines(curves, mark, frame),
        *(
            element("circle", cx=frame.x(dot.day), cy=frame.y(dot.deflection_mm), r=2.6, class_=_kind(dot))
            for dot in found
        ),
        *(part for each in held for part in _unused(frame, each.day, each.deflection_mm, unit, "held")),
        *(part for each in rejected for part in _unused(frame, each.day, each.deflection_mm, unit, "rejected")),
    ]
    return element(
        "svg",
        parts,
        class_="chart plain",
        viewBox=f"0 0 {_WIDTH} {_HEIGHT}",
        role="img",
        aria_labelledby=f"{name}-title {name}-desc",
    )


def _kind(dot: Dot) -> str:
    return "dot" if dot.counts else "dot early"


def _axes(frame: Frame, unit: str) -> Iterable[Markup]:
    for mm, words in length_ticks(frame.low_mm, frame.high_mm, unit, 6):
        y = frame.y(mm)
        yield element("path", d=path([(frame.left, y), (frame.right, y)]), class_="nought" if mm == 0 else "grid")
        yield element("text", words, x=frame.left - 6, y=y + 4, text_anchor="end")
    for day, words in day_ticks(frame.first, frame.last, 4):
        x = frame.x(day)
        yield element("path", d=path([(x, frame.bottom), (x, frame.bottom + 4)]), class_="tick")
        yield element("text", words, x=x, y=frame.bottom + 18, text_anchor="middle")
    yield element("text", "inches" if unit == "in" else "mm", x=6, y=16)


def _lines(curves: Curves, mark: str, frame: Frame) -> Iterable[Markup]:
    for stretch in curves.of(mark):
        line = [(frame.x(p.day), frame.y(p.trend_mm)) for p in stretch.points if p.trend_mm is not None]
        if len(line) > 1:
            yield element("path", d=path(line), class_="trend")


def _unused(frame: Frame, day: date, mm: float, unit: str, kind: str) -> Iterable[Markup]:
    """Hollow; one that lies off the scale stands at its edge with its length in words."""
    inside = min(max(mm, frame.low_mm), frame.high_mm)
    x, y = frame.x(day), frame.y(inside)
    if kind == "held":
        yield element("circle", cx=x, cy=y, r=4, class_="held")
    else:
        strokes = (path([(x - 4, y - 4), (x + 4, y + 4)]), path([(x + 4, y - 4), (x - 4, y + 4)]))
        yield element("path", d="".join(strokes), class_="rejected")
    if inside != mm:
        at_end = x > (frame.left + frame.right) / 2
        words = f"{length_text(mm, unit)}, off the scale"
        yield element(
            "text",
            words,
            x=x + (-7 if at_end else 7),
            y=min(y + 4, frame.bottom - 5),
            text_anchor="end" if at_end else "start",
        )
