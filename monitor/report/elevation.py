"""The wall seen from inside, to scale: a map of rates at its marks, with crack, soil outside and recorded straps."""

from collections.abc import Iterable, Sequence
from math import pi
from typing import Protocol

from markupsafe import Markup

from monitor.records import dataclass
from monitor.report.context import Row, WallView, tellable
from monitor.report.svg import element, path
from monitor.report.wording import length_pair, limit_pair, rate_pair
from monitor.units import INCHES_PER_FOOT, MM_PER_INCH, feet_text, rate_number

_LEFT, _TOP, _WIDTH, _MOST_HIGH, _FOOT = 60.0, 46.0, 640.0, 320.0, 62.0
_RETURN = 12.0
"""Width in drawing units of a return wall, cut through."""
_AT_THRESHOLD, _LEAST, _MOST = 9.0, 2.0, 24.0
"""Radius of a mark whose rate is the threshold, and the least and largest drawn."""
_SAME_AREA = (pi / 2) ** 0.5
"""Half the diagonal of a diamond as large as a disc of radius 1."""
_NARROW = 420.0
_ENDS = {"return": "held by a return wall", "free": "free"}


class Wall(Protocol):
    """What of a wall the bare picture needs."""

    @property
    def key(self) -> str:
        """House and wall as people write them."""

    @property
    def unit(self) -> str:
        """'in' or 'mm'."""

    @property
    def place(self) -> Row:
        """The wall's row of the register."""

    @property
    def marks(self) -> Sequence[Row]:
        """Rows of its marks."""

    @property
    def reinforcements(self) -> Sequence[Row]:
        """Events that bonded straps to it."""


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
        element("title", f"{view.key} seen from inside, with the inward rate at each mark", id=f"{ids}-title"),
        element("desc", face_words(view), id=f"{ids}-desc"),
        *_wall(face, view),
        *_straps(face, view),
        *_crack(face, place),
        *_marks(face, view),
        *_scale_bar(face, view.unit),
    ]
    return element(
        "svg",
        parts,
        class_="chart face",
        viewBox=f"0 0 760 {face.bottom + _FOOT:.0f}",
        role="img",
        aria_labelledby=f"{ids}-title {ids}-desc",
    )


def bare_elevation(wall: Wall, ids: str) -> Markup:
    """SVG of the wall from inside with the names of its marks; '' where its length or height is not registered."""
    place = wall.place
    if not place["length_mm"] or not place["clear_height_mm"]:
        return Markup("")
    face = _Face(place["length_mm"], place["clear_height_mm"])
    placed = [mark for mark in wall.marks if mark["x_mm"] is not None and mark["z_mm"] is not None]
    spots = [_spot(face.x(mark["x_mm"]), face.y(mark["z_mm"]), mark["mark"]) for mark in placed]
    parts = [
        element("title", f"{wall.key} seen from inside, with its marks", id=ids),
        *_wall(face, wall),
        *_straps(face, wall),
        *_crack(face, place),
        *(part for spot in spots for part in spot),
        *_scale_bar(face, wall.unit),
    ]
    view_box = f"0 0 760 {face.bottom + _FOOT:.0f}"
    return element("svg", parts, class_="chart plain face", viewBox=view_box, role="img", aria_labelledby=ids)


def _spot(x: float, y: float, name: str) -> list[Markup]:
    cross = element("path", d=f"M{x - 5:.1f} {y:.1f}h10m-5-5v10", class_="spot")
    return [cross, element("text", name, x=x, y=y - 9, text_anchor="middle", class_="mark-word first")]


def face_words(view: WallView) -> str:
    """The map in words: ends, crack, straps, then each mark with its place and rate."""
    place, unit = view.place, view.unit
    ends = [_ENDS.get(place[f"{side}_end"], "not recorded") for side in ("left", "right")]
    said = [f"Left end: {ends[0]}. Right end: {ends[1]}."]
    if place["crack_height_mm"]:
        said.append(f"Crack {length_pair(place['crack_height_mm'], unit)} above the floor.")
    said += [
        f"{row['strap_count']} straps of {row['event_date'].isoformat()}."
        for row in view.reinforcements
        if row["strap_count"]
    ]
    rates = _rates(view)
    for mark in view.marks:
        if mark["x_mm"] is not None and mark["z_mm"] is not None:
            where = f"{feet_text(mark['x_mm'], unit)} from the left, {feet_text(mark['z_mm'], unit)} up"
            said.append(f"{mark['mark']}, {where}: {_rate_words(mark, rates.get(mark['mark']), unit)}.")
    return " ".join(said)


def _rate_words(mark: Row, result: Row | None, unit: str) -> str:
    if mark["retired_on"]:
        return "retired"
    rate = _rate(result)
    if rate is None:
        return "not measured"
    return f"{rate_pair(abs(rate), unit)} {'inward' if rate >= 0 else 'outward'}"


def face_legend(view: WallView) -> list[tuple[str, str]]:
    """(class of the sample, meaning) of what stands on the map."""
    rates = _rates(view)
    found = [_kind(mark, rates.get(mark["mark"])) for mark in view.marks]
    words = {
        "disc": "moving inward, shown (lower bound above nought)",
        "disc open": "inward, not shown",
        "outward": "outward",
        "held": "not measured",
        "gone": "retired",
    }
    legend = [(kind, text) for kind, text in words.items() if kind in found]
    if (
        view.current
        and view.current["threshold_mm_per_year"] is not None
        and {"disc", "disc open", "outward"} & set(found)
    ):
        limit = limit_pair(view.current["threshold_mm_per_year"], view.unit)
        legend.insert(0, ("ring", f"the size that the threshold would have, {limit}; the mark's area is its rate"))
    if any(row["strap_count"] for row in view.reinforcements):
        legend.append(("strap", "strap"))
    return legend


def _wall(face: _Face, view: Wall) -> Iterable[Markup]:
    place = view.place
    yield element("rect", x=_LEFT, y=_TOP, width=face.right - _LEFT, height=face.bottom - _TOP, class_="wall")
    narrow = face.right - _LEFT < _NARROW
    for side, x, anchor, out in (("left", _LEFT, "start", -_RETURN), ("right", face.right, "end", _RETURN)):
        end = place[f"{side}_end"]
        if end == "return":
            yield from _return_wall(min(x, x + out), face.bottom)
        yield element("path", d=path([(x, _TOP), (x, face.bottom)]), class_="end" if end == "return" else "end loose")
        y = _TOP - (28 if narrow and side == "left" else 12)
        words = f"{side} end: {_ENDS.get(end, 'not recorded')}"
        yield element("text", words, x=min(x, x + out) if side == "left" else max(x, x + out), y=y, text_anchor=anchor)
    if soil := place["backfill_height_mm"]:
        y = max(face.y(soil), _TOP)
        yield element("path", d=path([(_LEFT - 24, y), (_LEFT - _RETURN - 2, y)]), class_="tick")
        yield element("text", "soil", x=_LEFT - 27, y=y + 4, text_anchor="end")
    yield element("path", d=path([(_LEFT - _RETURN, face.bottom), (face.right + _RETURN, face.bottom)]), class_="floor")
    long, high = (feet_text(place[name], view.unit) for name in ("length_mm", "clear_height_mm"))
    words = f"floor, {long} long, {high} high"
    yield element("text", words, x=(_LEFT + face.right) / 2, y=face.bottom + 20, text_anchor="middle")


def _return_wall(x: float, bottom: float) -> Iterable[Markup]:
    """A wall that comes towards the reader, cut through: hatched."""
    yield element("rect", x=x, y=_TOP, width=_RETURN, height=bottom - _TOP, class_="return")
    steps = int((bottom - _TOP) // _RETURN)
    hatch = "".join(path([(x, _TOP + (n + 1) * _RETURN), (x + _RETURN, _TOP + n * _RETURN)]) for n in range(steps))
    yield element("path", d=hatch, class_="hatch")


def _scale_bar(face: _Face, unit: str) -> Iterable[Markup]:
    mm, words = (4 * INCHES_PER_FOOT * MM_PER_INCH, "4 ft") if unit == "in" else (1000.0, "1 m")
    y, end = face.bottom + 40, _LEFT + mm * face.scale
    bar = path([(_LEFT, y - 4), (_LEFT, y + 4)]) + path([(_LEFT, y), (end, y)]) + path([(end, y - 4), (end, y + 4)])
    yield element("path", d=bar, class_="bar")
    yield element("text", f"{words}, the wall to scale", x=end + 8, y=y + 4)


def _straps(face: _Face, view: Wall) -> Iterable[Markup]:
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
        yield element("text", "crack", x=_LEFT - _RETURN - 6, y=y + 4, text_anchor="end")


def _rates(view: WallView) -> dict[str, Row]:
    """Results of the newest period by mark; none where its visits are too few to tell a rate."""
    current = view.current
    return {
        row["mark"]: row
        for row in view.mark_results
        if current and tellable(current) and row["period"] == current["period"]
    }


def _rate(result: Row | None) -> float | None:
    if result is None or not result["measured"] or result["rate_mm_per_year"] is None:
        return None
    return float(result["rate_mm_per_year"])


def radius(rate_mm_per_year: float, threshold_mm_per_year: float) -> float:
    """Radius of a mark: its area is to that of the threshold's ring as its rate to the threshold, within bounds."""
    wanted: float = _AT_THRESHOLD * (abs(rate_mm_per_year) / threshold_mm_per_year) ** 0.5
    return min(max(wanted, _LEAST), _MOST)


def _kind(mark: Row, result: Row | None) -> str:
    rate = _rate(result)
    if mark["retired_on"]:
        return "gone"
    if rate is None or result is None:
        return "held"
    if rate < 0:
        return "outward"
    return "disc" if (result["rate_lower"] or 0.0) > 0 else "disc open"


def _marks(face: _Face, view: WallView) -> Iterable[Markup]:
    current, rates = view.current, _rates(view)
    threshold = (current["threshold_mm_per_year"] if current else None) or 1.0
    last: tuple[float, float, bool] = (-1e9, 0.0, False)
    for mark in view.marks:
        if mark["x_mm"] is None or mark["z_mm"] is None:
            continue
        x, y, result = face.x(mark["x_mm"]), face.y(mark["z_mm"]), rates.get(mark["mark"])
        low = abs(y - last[1]) < 20 and x - last[0] < 58 and not last[2]
        last = (x, y, low)
        rate = _rate(result)
        size = 5.0 if rate is None else radius(rate, threshold)
        yield from _symbol(x, y, _kind(mark, result), size)
        is_first = bool(current and current["governing_mark"] == mark["mark"])
        reach = max(size, _AT_THRESHOLD) + 5
        yield element(
            "text", _label(mark, rate, view.unit), x=min(max(x, _LEFT + 26), face.right - 26),
            y=y + (reach + 9 if low else -reach), text_anchor="middle",
            class_="mark-word first" if is_first else "mark-word",
        )  # fmt: skip


def _symbol(x: float, y: float, kind: str, size: float) -> Iterable[Markup]:
    """A disc as large as the rate within the threshold's ring; a diamond where the mark moves out."""
    if kind == "gone":
        yield element("path", d=f"M{x - 4:.1f} {y - 4:.1f}l8 8m0-8l-8 8", class_=kind)
    elif kind == "held":
        yield element("circle", cx=x, cy=y, r=size, class_=kind)
    elif kind == "outward":
        reach = size * _SAME_AREA
        points = [(x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y)]
        yield element("path", d=path(points, closed=True), class_=kind)
    else:
        yield element("circle", cx=x, cy=y, r=size, class_=kind)
    if kind not in ("gone", "held"):
        yield element("circle", cx=x, cy=y, r=_AT_THRESHOLD, class_="ring")


def _label(mark: Row, rate: float | None, unit: str) -> str:
    if mark["retired_on"]:
        return f"{mark['mark']} retired"
    return f"{mark['mark']}  {rate_number(rate, unit)}" if rate is not None else f"{mark['mark']}  –"
