"""What a chart of movement shows, as plain points: one home for the static and the interactive picture."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby

from monitor.records import dataclass
from monitor.report.context import Book, Row, WallView
from monitor.terms import EventKind, Movement, State
from monitor.units import DAYS_PER_YEAR


@dataclass(frozen=True)
class Point:
    """A mark at one visit: movement, trend and the band's ends in mm on the zero of its stretch."""

    day: date
    part: str
    deflection_mm: float
    trend_mm: float | None
    lower_mm: float | None
    upper_mm: float | None
    counts: bool


@dataclass(frozen=True)
class Stretch:
    """Readings of one mark between two breaks."""

    mark: str
    period: int
    number: int
    points: Sequence[Point]


@dataclass(frozen=True)
class Unused:
    """A held or rejected reading, put on the zero of the used visit nearest to it."""

    mark: str
    day: date
    deflection_mm: float


@dataclass(frozen=True)
class Curves:
    """Movement of all marks of a wall, or of one component.

    mark: the governing one, or the component ('' where nothing can be drawn); held, rejected: readings not used; work:
    days of reinforcement; take_up: their windows; other: (day, word) of other events; slope: threshold of the newest
    period as (day, mm, day, mm).
    """

    mark: str
    stretches: Sequence[Stretch]
    held: Sequence[Unused]
    rejected: Sequence[Unused]
    work: Sequence[date]
    take_up: Sequence[tuple[date, date]]
    other: Sequence[tuple[date, str]]
    threshold_mm_per_year: float | None
    slope: tuple[date, float, date, float] | None

    def of(self, mark: str) -> list[Stretch]:
        """Stretches of one mark, oldest first."""
        return [stretch for stretch in self.stretches if stretch.mark == mark]

    @property
    def marks(self) -> list[str]:
        """Marks that have points, governing first, the rest by name."""
        names = sorted({stretch.mark for stretch in self.stretches})
        return sorted(names, key=lambda name: name != self.mark)


def curves(book: Book, view: WallView, *, dots_only: bool = False) -> Curves:
    """The points of a wall's charts; periods whose visits cannot tell a rate, or all if wished, without any line."""
    movement = _told(view.movement, set() if dots_only else view.tellable_periods)
    return _dated(
        book,
        view,
        _governing(view),
        _stretches(movement),
        held=_unused(view, view.held, movement),
        rejected=_unused(view, _rejected(view), movement),
    )


def governing_curves(book: Book, view: WallView, *, dots_only: bool = False) -> Curves:
    """The same of the governing mark alone, and only of readings that are used."""
    mark = _governing(view)
    movement = [row for row in view.movement if row["mark"] == mark]
    return _dated(book, view, mark, _stretches(_told(movement, set() if dots_only else view.tellable_periods)))


def component_curves(book: Book, view: WallView) -> Mapping[Movement, Curves]:
    """The same of each component that the readings tell, in the order bow, tip, slide."""
    found = {}
    for part in Movement:
        rows = [row for row in view.components if row["component"] == part]
        if rows:
            by_period = groupby(sorted(rows, key=lambda row: row["period"]), key=lambda row: row["period"])
            stretches = [
                Stretch(part, period, 0, [_point(row, row["value_mm"]) for row in visits])
                for period, visits in by_period
            ]
            found[part] = _dated(book, view, part, stretches)
    return found


def _dated(
    book: Book,
    view: WallView,
    mark: str,
    stretches: Sequence[Stretch],
    held: Sequence[Unused] = (),
    rejected: Sequence[Unused] = (),
) -> Curves:
    """With reinforcements, take-up windows, other events and the threshold as a slope."""
    work = [row["event_date"] for row in view.reinforcements]
    days = (book.thresholds or {}).get("take_up_days")
    window = timedelta(days=book.rules.take_up_days if days is None else days)
    threshold = view.current["threshold_mm_per_year"] if view.current else None
    return Curves(
        mark=mark,
        stretches=stretches,
        held=held,
        rejected=rejected,
        work=work,
        take_up=[(day, day + window) for day in work] if window else [],
        other=[(row["event_date"], row["kind"]) for row in view.events if row["kind"] != EventKind.REINFORCEMENT],
        threshold_mm_per_year=threshold,
        slope=_slope([s for s in stretches if s.mark == mark], threshold)
        if view.current and view.current["period"] in view.tellable_periods
        else None,
    )


def _told(movement: Sequence[Row], periods: set[int]) -> Sequence[Row]:
    """Movement with line and band in the given periods alone; elsewhere on the zero of the stretch's first dot."""
    rows: list[Row] = []
    zeros: dict[tuple[str, int, int], float] = {}
    for row in movement:
        if row["period"] in periods or row["deflection_mm"] is None:
            rows.append(row)
            continue
        zero = zeros.setdefault((row["mark"], row["period"], row["stretch"]), row["deflection_mm"])
        bare = dict.fromkeys(("trend_mm", "band_lower_mm", "band_upper_mm"))
        rows.append({**row, **bare, "deflection_mm": row["deflection_mm"] - zero})
    return rows


def _stretches(movement: Sequence[Row]) -> list[Stretch]:
    def place(row: Row) -> tuple[str, int, int]:
        return (row["mark"], row["period"], row["stretch"])

    found = []
    for (mark, period, number), rows in groupby(movement, key=place):
        points = [_point(row, row["deflection_mm"]) for row in rows if row["deflection_mm"] is not None]
        if points:
            found.append(Stretch(mark, period, number, sorted(points, key=lambda point: point.day)))
    return found


def _point(row: Row, mm: float) -> Point:
    band = (row["trend_mm"], row["band_lower_mm"], row["band_upper_mm"])
    return Point(row["visit_date"], row["part"], mm, *band, bool(row["counts"]))


def _governing(view: WallView) -> str:
    """The governing mark; where none is named, the mark with most visits."""
    visits = Counter(row["mark"] for row in view.movement if row["deflection_mm"] is not None)
    named: str = view.current["governing_mark"] if view.current else ""
    return named if named in visits else min(visits, key=lambda name: (-visits[name], name), default="")


def _rejected(view: WallView) -> list[Row]:
    """Rejected readings but those that only say again what is used."""
    used = {
        (row["mark"], row["visit_date"], row["deflection_mm"]) for row in view.readings if row["state"] == State.USED
    }
    return [
        row
        for row in view.readings
        if row["state"] == State.REJECTED and (row["mark"], row["visit_date"], row["deflection_mm"]) not in used
    ]


def _unused(view: WallView, rows: Sequence[Row], movement: Sequence[Row]) -> list[Unused]:
    """Readings on their mark's zero: that of the used visit by the same method which is nearest in days."""
    if not rows:
        return []
    used: dict[tuple[str, str, date], list[float]] = {}
    for row in view.readings:
        if row["state"] == State.USED and row["deflection_mm"] is not None:
            used.setdefault((row["mark"], row["method"], row["visit_date"]), []).append(row["deflection_mm"])
    points = []
    for row in rows:
        known = [
            (abs((move["visit_date"] - row["visit_date"]).days), move["visit_date"], move)
            for move in movement
            if row["deflection_mm"] is not None
            and row["visit_date"] is not None
            and move["deflection_mm"] is not None
            and (row["mark"], row["method"]) == (move["mark"], move["method"])
            and (move["mark"], move["method"], move["visit_date"]) in used
        ]
        if known:
            move = min(known, key=lambda item: item[:2])[2]
            values = used[(move["mark"], move["method"], move["visit_date"])]
            zero = sum(values) / len(values) - move["deflection_mm"]
            points.append(Unused(row["mark"], row["visit_date"], row["deflection_mm"] - zero))
    return points


def _slope(stretches: Sequence[Stretch], threshold: float | None) -> tuple[date, float, date, float] | None:
    """The threshold drawn from the first visit that counts in the newest period to the last one."""
    if not stretches or threshold is None:
        return None
    newest = max(stretch.period for stretch in stretches)
    points = [point for s in stretches if s.period == newest for point in s.points if point.counts]
    if len(points) < 2:
        return None
    first, last = min(points, key=lambda p: p.day), max(points, key=lambda p: p.day)
    start = first.trend_mm or 0.0
    return first.day, start, last.day, start + threshold * (last.day - first.day).days / DAYS_PER_YEAR
