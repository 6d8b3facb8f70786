"""The wall's profile at chosen visits: inward distance along each string or laser row, and up each plumb line."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date

from monitor.records import dataclass
from monitor.report.context import Row, WallView
from monitor.terms import Method, Part, State

Moment = tuple[date, str]
"""Day and part of the day of a visit."""

AGAINST: Mapping[str, str] = {
    Method.STRING: "inward of the string's own line",
    Method.PLUMB: "inward of the column's lowest mark read from the same hanging",
    Method.LASER: "inward of the straight line through the row's two outermost marks",
    Method.METER: "inward of the same mark at the first visit by meter",
}
_METHODS = tuple(Method)
STYLES = ("first", "before", "after", "last")
"""Classes of the lines: each has its own dash and its own shape of mark."""


@dataclass(frozen=True)
class Profile:
    """One row or column by one method. lines: (class, words, [(place along or up the wall, inward)]), in mm."""

    method: str
    is_column: bool
    name: str
    lines: Sequence[tuple[str, str, Sequence[tuple[float, float]]]]


def profiles(view: WallView) -> list[Profile]:
    """Rows and columns of marks with the visits that say most: first, last before and first after work, last."""
    marks = {row["mark"]: row for row in view.marks if row["x_mm"] is not None and row["z_mm"] is not None}
    groups: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in view.readings:
        if (
            row["state"] == State.USED
            and row["mark"] in marks
            and row["visit_date"]
            and row["deflection_mm"] is not None
        ):
            groups[row["method"], _line_of(marks[row["mark"]], row["method"])].append(row)
    found = []
    for method, name in sorted(groups, key=lambda key: (_METHODS.index(Method(key[0])), key[1])):
        rows = groups[method, name]
        lines = _lines(rows, marks, method, view.reinforcements)
        if any(len(places) > 1 for _, _, places in lines):
            found.append(Profile(method, method == Method.PLUMB, name, lines))
    return found


def _line_of(mark: Row, method: str) -> str:
    """The row a mark is read in, or with a plumb line its column: by name, else by its place."""
    if method == Method.PLUMB:
        return mark["column"] or f"{mark['x_mm']:.0f} mm from the left corner"
    return mark["row"] or f"{mark['z_mm']:.0f} mm above the floor"


def _lines(
    rows: Sequence[Row], marks: Mapping[str, Row], method: str, work: Sequence[Row]
) -> list[tuple[str, str, list[tuple[float, float]]]]:
    order = {part: place for place, part in enumerate((Part.BEFORE, Part.NONE, Part.AFTER))}
    visits = sorted(
        {(row["visit_date"], row["part"]) for row in rows}, key=lambda visit: (visit[0], order.get(visit[1], 1))
    )
    along = "z_mm" if method == Method.PLUMB else "x_mm"
    zero = _inward(rows, visits[0], marks, method) if method == Method.METER else {}
    lines = []
    for style, moment in _chosen(visits, work):
        values = _inward(rows, moment, marks, method)
        if method == Method.METER:
            values = {mark: value - zero[mark] for mark, value in values.items() if mark in zero}
        places = sorted((marks[mark][along], value) for mark, value in values.items())
        lines.append((style, f"{moment[0].isoformat()} {moment[1]}".strip(), places))
    return lines


def _chosen(visits: Sequence[Moment], work: Sequence[Row]) -> list[tuple[str, Moment]]:
    """The first visit, the last before and the first after the newest reinforcement, the last; each visit once."""
    picked: list[tuple[str, Moment]] = [("first", visits[0])]
    if work:
        day = work[-1]["event_date"]
        earlier = [visit for visit in visits if visit[0] < day or (visit[0] == day and visit[1] != Part.AFTER)]
        later = [visit for visit in visits if visit not in earlier]
        picked += [("before", earlier[-1])] if earlier else []
        picked += [("after", later[0])] if later else []
    picked.append(("last", visits[-1]))
    seen: dict[Moment, str] = {}
    for style, moment in picked:
        seen.setdefault(moment, style)
    return [(style, moment) for moment, style in seen.items()]


def _inward(rows: Sequence[Row], moment: Moment, marks: Mapping[str, Row], method: str) -> dict[str, float]:
    """Each mark's inward distance at one visit, mean of its set-ups, each set-up against its own reference."""
    setups: dict[int, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        if (row["visit_date"], row["part"]) == moment:
            setups[row["setup"] or 1][row["mark"]].append(row["deflection_mm"])
    values: dict[str, list[float]] = defaultdict(list)
    for of_setup in setups.values():
        means = {mark: sum(found) / len(found) for mark, found in of_setup.items()}
        for mark, value in _referred(means, marks, method).items():
            values[mark].append(value)
    return {mark: sum(found) / len(found) for mark, found in values.items()}


def _referred(means: Mapping[str, float], marks: Mapping[str, Row], method: str) -> dict[str, float]:
    if method == Method.PLUMB:
        low = min(means, key=lambda mark: (marks[mark]["z_mm"], mark))
        return {mark: value - means[low] for mark, value in means.items()}
    if method != Method.LASER:
        return dict(means)
    left, right = (end(means, key=lambda mark: (marks[mark]["x_mm"], mark)) for end in (min, max))
    start, length = marks[left]["x_mm"], marks[right]["x_mm"] - marks[left]["x_mm"]
    if length <= 0:
        return {}
    slope = (means[right] - means[left]) / length
    return {mark: value - means[left] - slope * (marks[mark]["x_mm"] - start) for mark, value in means.items()}
