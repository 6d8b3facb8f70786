"""Pictures of the wall's profiles, to scale along the wall, with their numbers in words beside them."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from markupsafe import Markup

from monitor.records import dataclass
from monitor.report.context import WallView
from monitor.report.profile import AGAINST, Profile, profiles
from monitor.report.svg import element, length_ticks, number, path
from monitor.units import SIXTEENTH_MM, feet_text, length_text

NOT_READ = "–"
_WIDTH, _TOP = 760.0, 34.0


@dataclass(frozen=True)
class _Paper:
    """Where the picture puts a place along the wall and an inward distance; a column stands upright."""

    is_column: bool
    length_mm: float
    low_mm: float
    high_mm: float
    left: float
    width: float
    height: float

    def at(self, place_mm: float, inward_mm: float) -> tuple[float, float]:
        along = place_mm / self.length_mm
        inward = (inward_mm - self.low_mm) / (self.high_mm - self.low_mm)
        if self.is_column:
            return self.left + inward * (self.width - self.left - 16), _TOP + (1 - along) * self.height
        return self.left + along * (self.width - self.left - 16), _TOP + (1 - inward) * self.height


def profile_charts(view: WallView, ids: str) -> list[Mapping[str, Any]]:
    """Of each row and column: name, what it is measured against, chart, and its numbers in rows for a table."""
    found = profiles(view)
    charts: list[Mapping[str, Any]] = []
    for place, profile in enumerate(found):
        kind = "column" if profile.is_column else "row"
        charts.append({
            "name": f"{profile.method}, {kind} {profile.name}",
            "against": AGAINST[profile.method],
            "is_column": profile.is_column,
            "chart": _chart(profile, _paper(profile, found, view), view.unit, f"{ids}-{place}"),
            "places": [length_text(at, view.unit) for at in _places(profile)],
            "lines": [
                {"style": style, "words": words, "numbers": _numbers(dict(places), _places(profile))}
                for style, words, places in profile.lines
            ],
        })  # fmt: skip
    return charts


def _places(profile: Profile) -> list[float]:
    return sorted({at for _, _, places in profile.lines for at, _ in places})


def _numbers(inward: Mapping[float, float], places: Sequence[float]) -> list[str]:
    return [f"{inward[at]:.1f}" if at in inward else NOT_READ for at in places]


def _paper(profile: Profile, found: Sequence[Profile], view: WallView) -> _Paper:
    """Profiles by one method stand on one scale."""
    whole = view.place["clear_height_mm"] if profile.is_column else view.place["length_mm"]
    farthest = max(at for _, _, places in profile.lines for at, _ in places)
    alike = [each for each in found if each.method == profile.method]
    inward = [0.0, *(mm for each in alike for _, _, places in each.lines for _, mm in places)]
    room = max((max(inward) - min(inward)) * 0.08, SIXTEENTH_MM)
    return _Paper(
        is_column=profile.is_column,
        length_mm=max(whole or 0.0, farthest, 1.0),
        low_mm=min(inward) - room,
        high_mm=max(inward) + room,
        left=92.0 if profile.is_column else 70.0,
        width=380.0 if profile.is_column else _WIDTH,
        height=240.0 if profile.is_column else 170.0,
    )


def _chart(profile: Profile, paper: _Paper, unit: str, ids: str) -> Markup:
    name = f"{'Column' if profile.is_column else 'Row'} {profile.name} by {profile.method}"
    parts = [
        element("title", f"Profile of {name}", id=f"{ids}-title"),
        element("desc", f"{AGAINST[profile.method]}; the numbers stand below the picture.", id=f"{ids}-desc"),
        *_axes(paper, unit),
        *(part for style, _, places in profile.lines for part in _line(paper, style, places)),
    ]
    return element(
        "svg",
        parts,
        class_="chart plain" if profile.is_column else "chart",
        viewBox=f"0 0 {number(paper.width)} {number(paper.height + _TOP + 30)}",
        role="img",
        aria_labelledby=f"{ids}-title {ids}-desc",
    )


def _axes(paper: _Paper, unit: str) -> Iterable[Markup]:
    for mm, words in length_ticks(paper.low_mm, paper.high_mm, unit, 6):
        ends = [paper.at(0.0, mm), paper.at(paper.length_mm, mm)]
        yield element("path", d=path(ends), class_="nought" if mm == 0 else "grid")
        x, y = ends[0]
        x, y, anchor = (x, y + 17, "middle") if paper.is_column else (x - 7, y + 4, "end")
        yield element("text", words, x=x, y=y, text_anchor=anchor)
    word = "inches" if unit == "in" else "mm"
    yield element("text", f"inward → ({word}), floor below" if paper.is_column else f"inward ↑ ({word})", x=6, y=18)
    far = feet_text(paper.length_mm, unit)
    if paper.is_column:
        yield element(
            "text", far, x=paper.left - 7, y=paper.at(paper.length_mm, paper.low_mm)[1] + 4, text_anchor="end"
        )
        return
    y = _TOP + paper.height + 20
    yield element("text", "left corner", x=paper.left, y=y)
    yield element("text", far, x=paper.width - 16, y=y, text_anchor="end")


def _line(paper: _Paper, style: str, places: Sequence[tuple[float, float]]) -> Iterable[Markup]:
    points = [paper.at(at, mm) for at, mm in places]
    if len(points) > 1:
        yield element("path", d=path(points), class_=f"line {style}")
    for x, y in points:
        yield _sign(style, x, y)


def _sign(style: str, x: float, y: float) -> Markup:
    if style in ("first", "last"):
        return element("circle", cx=x, cy=y, r=4, class_="held" if style == "first" else "dot")
    corners = {
        "before": [(x - 4, y - 4), (x + 4, y - 4), (x + 4, y + 4), (x - 4, y + 4)],
        "after": [(x, y - 5), (x + 5, y + 4), (x - 5, y + 4)],
    }
    return element("path", d=path(corners[style], closed=True), class_="held")
