"""The wall seen from inside, to scale: marks with their rates, crack, soil outside, straps as the record gives them."""

from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup

from monitor.report.context import Row, WallView, tellable
from monitor.report.svg import element, path
from monitor.units import feet_text, rate_number

_LEFT, _TOP, _WIDTH, _MOST_HIGH, _FOOT = 60.0, 30.0, 660.0, 320.0, 34.0


@dataclass(frozen=True)
class _Face:
    """Scale from the wall's face in mm to drawing units."""

    length_mm: float
    height_mm: float

    @property
    def scale(self) -> float:
        return float(min(_WIDTH / self.length_mm, _MOST_HIGH / self.height_mm))

    @property
    def right(self) -> float:
        return _LEFT + self.length_mm * self.scale

    @property
    def bottom(self) -> float:
        return _TOP + self.height_mm * self.scale

    def x(self, mm: float) -> float:
        return _LEFT + mm * self.scale

    def y(self, mm: float) -> float:
        return self.bottom - mm * self.scale


def strap_places_mm(length_mm: float, count: int, spacing_mm: float | None) -> list[float]:
    """Distances of straps from the left corner, evenly about the middle: the record gives count and spacing only."""
    if not spacing_mm:
        return [length_mm * (place + 0.5) / count for place in range(count)]
    return [length_mm / 2 + (place - (count - 1) / 2) * spacing_mm for place in range(count)]


def elevation(view: WallView, ids: str) -> Markup:
    """SVG of the wall from inside; '' where its length or height is not registered."""
    place = view.place
    if not place["length_mm"] or not place["clear_height_mm"]:
        return Markup("")
    face = _Face(place["length_mm"], place["clear_height_mm"])
    parts = [
        element("title", f"{view.key} seen from inside", id=f"{ids}-title"),
        element("desc", "The same numbers stand in the table of marks below.", id=f"{ids}-desc"),
        *_wall(face, view),
        *_straps(face, view),
        *_crack(face, place),
        *_marks(face, view),
    ]
    return element(
        "svg",
        parts,
        class_="chart face",
        viewBox=f"0 0 760 {face.bottom + _FOOT:.0f}",
        role="img",
        aria_labelledby=f"{ids}-title {ids}-desc",
    )


def _wall(face: _Face, view: WallView) -> Iterable[Markup]:
    place = view.place
    yield element("rect", x=_LEFT, y=_TOP, width=face.right - _LEFT, height=face.bottom - _TOP, class_="wall")
    for x, end, anchor in ((_LEFT, place["left_end"], "start"), (face.right, place["right_end"], "end")):
        words = {"return": "held by a return wall", "free": "free end"}.get(end, "end not recorded")
        yield element(
            "path", d=path([(x, _TOP - 6), (x, face.bottom + 6)]), class_="end" if end == "return" else "end loose"
        )
        yield element("text", words, x=x, y=_TOP - 12, text_anchor=anchor)
    if soil := place["backfill_height_mm"]:
        y = max(face.y(soil), _TOP)
        yield element("path", d=path([(_LEFT - 14, y), (_LEFT - 2, y)]), class_="tick")
        yield element("text", "soil", x=_LEFT - 18, y=y + 4, text_anchor="end")
    long, high = (feet_text(place[name], view.unit) for name in ("length_mm", "clear_height_mm"))
    words = f"floor, {long} long, {high} high"
    yield element("text", words, x=(_LEFT + face.right) / 2, y=face.bottom + 20, text_anchor="middle")


def _straps(face: _Face, view: WallView) -> Iterable[Markup]:
    for event in view.reinforcements:
        if count := event["strap_count"]:
            for place in strap_places_mm(face.length_mm, count, event["strap_spacing_mm"]):
                if 0 <= place <= face.length_mm:
                    yield element(
                        "rect", x=face.x(place) - 4, y=_TOP, width=8, height=face.bottom - _TOP, class_="strap"
                    )


def _crack(face: _Face, place: Row) -> Iterable[Markup]:
    if height := place["crack_height_mm"]:
        y = face.y(height)
        points = [(face.x(face.length_mm * step / 24), y + (2 if step % 2 else -2)) for step in range(25)]
        yield element("path", d=path(points), class_="crack")
        yield element("text", "crack", x=_LEFT - 6, y=y + 4, text_anchor="end")


def _marks(face: _Face, view: WallView) -> Iterable[Markup]:
    current = view.current
    rates = {
        row["mark"]: row
        for row in view.mark_results
        if current and tellable(current) and row["period"] == current["period"]
    }
    last: tuple[float, float, bool] = (-1e9, 0.0, False)
    for mark in view.marks:
        if mark["x_mm"] is None or mark["z_mm"] is None:
            continue
        x, y = face.x(mark["x_mm"]), face.y(mark["z_mm"])
        near = abs(y - last[1]) < 20 and x - last[0] < 58
        low = near and not last[2]
        last = (x, y, low)
        yield _symbol(x, y, mark, rates.get(mark["mark"]))
        is_first = bool(current and current["governing_mark"] == mark["mark"])
        words = _words(mark, rates.get(mark["mark"]), view.unit)
        yield element(
            "text", words, x=min(max(x, _LEFT + 26), face.right - 26), y=y + (19 if low else -9), text_anchor="middle",
            class_="mark-word first" if is_first else "mark-word",
        )  # fmt: skip


def _symbol(x: float, y: float, mark: Row, result: Row | None) -> Markup:
    if mark["retired_on"]:
        return element("path", d=f"M{x - 4:.1f} {y - 4:.1f}l8 8m0-8l-8 8", class_="gone")
    measured = bool(result and result["measured"] and result["rate_mm_per_year"] is not None)
    return element("circle", cx=x, cy=y, r=5, class_="dot" if measured else "held")


def _words(mark: Row, result: Row | None, unit: str) -> str:
    if mark["retired_on"]:
        return f"{mark['mark']} retired"
    if result and result["measured"] and result["rate_mm_per_year"] is not None:
        return f"{mark['mark']}  {rate_number(result['rate_mm_per_year'], unit)}"
    return f"{mark['mark']}  –"
