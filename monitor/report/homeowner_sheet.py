"""One wall's book to the context of the homeowner's page: plain words, no names of people, no address, no house id."""

from collections.abc import Callable
from typing import Any

from monitor.report import repair_sheet, wording
from monitor.report.context import Book, WallView, tellable
from monitor.report.curves import curves
from monitor.report.drawing import PLAIN, movement_chart, plain_words
from monitor.report.places import place_words
from monitor.report.status import SUDDEN, company_name, jumped, next_visit, reference, status
from monitor.report.wall_sheet import Context, footer, not_measured, scope
from monitor.terms import Movement


def homeowner_sheet(book: Book, view: WallView) -> Context:
    """Context of homeowner.html."""
    drawn = curves(book, view, dots_only=jumped(view))
    said = status(book, view)
    place = place_words(view, drawn.mark)
    following = next_visit(book, view)
    last = view.current["last_visit"] if view.current else None
    return {
        "title": f"Measurements of {view.spoken}",
        "nav": False,
        "nickname": view.nickname,
        "status": said,
        "sizes": _sizes(view, said.state),
        "last": wording.day_text(last) if last else "none yet",
        "next": wording.month_text(following) if following else "not yet arranged",
        "visits": sum(row["visits_all"] or 0 for row in view.periods),
        "compared": _compared(view, said.state),
        "work": [wording.day_text(row["event_date"]) for row in view.reinforcements],
        "chart": movement_chart(drawn, view.unit, PLAIN, "move", place),
        "chart_words": plain_words(drawn, view.unit, place),
        "has_band": any(point.lower_mm is not None for stretch in drawn.of(drawn.mark) for point in stretch.points),
        "not_measured": _not_measured(view),
        "scope": scope(view, reference(view)),
        "stay_out_first": said.shape == "cross",
        "company_name": company_name(book),
        "known_on": wording.day_text(book.assessment.known_until.date()),
        **footer(book, "homeowner", view.house, view.wall),
    }


def _sizes(view: WallView, state: str) -> list[tuple[str, str, str]]:
    """(what, size, what that is on a tape measure and beside a thing at hand)."""
    row: Any = view.current or {}
    rows: list[tuple[str, float, Callable[[float, str], str]]] = []
    if state.startswith("moving"):
        rows.append(("Most likely movement", row["rate_mm_per_year"], wording.rate_pair))
    rated = state not in SUDDEN and not jumped(view) and bool(row) and tellable(row)
    if rated and row["rate_upper"] is not None and row["rate_upper"] > 0:
        rows.append(("Very likely less than this", row["rate_upper"], wording.rate_pair))
    if row.get("total_mm") is not None and row["total_mm"] > 0:
        rows.append(("How far in the wall stood at the last visit", row["total_mm"], wording.length_pair))
    return [
        (words, shown(mm, view.unit), f"{wording.tape_text(mm, view.unit)}; {wording.comparison(mm)}")
        for words, mm, shown in rows
    ]


def _compared(view: WallView, state: str) -> str:
    """What the straps did; nothing after a sudden change, whose step is in the rate after them."""
    if state in SUDDEN or jumped(view):
        return ""
    return repair_sheet.before_and_after(view, none_measured=state == "no movement measured")


def _not_measured(view: WallView) -> list[str]:
    row = view.current
    rows = not_measured(view, wording.NOT_MEASURED)
    if len(rows) == len(Movement) and row and row["rate_mm_per_year"] is not None:
        rows.append("We measured only how the marks move in relation to each other, along the line we stretched.")
    return rows
