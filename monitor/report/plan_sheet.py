"""The visit plan to the context of its page: who is to be visited, when and why."""

from collections.abc import Sequence
from datetime import date, timedelta

from monitor.report import names, plan_words
from monitor.report.context import Book
from monitor.report.placing import hard_limit, items
from monitor.report.wall_sheet import Context, footer

SOON_DAYS = 92
"""The page's first table reaches so many days ahead: a quarter."""


def plan_sheet(book: Book) -> Context:
    """Context of plan.html: hard limits, then the overdue and the coming quarter by the plan, then later ones."""
    day = book.assessment.judged_on
    soon = due(book, day, day + timedelta(days=SOON_DAYS))
    keys = {row["key"] for row in soon}
    later = sorted((row for row in _all(book) if row["key"] not in keys), key=lambda row: (row["on"], row["key"]))
    sections = [
        ("Hard limits, overdue, then the coming three months by what the visit would bring", soon),
        ("Later, by day", later),
    ]
    return {"title": "Visit plan", "nav": True, "sections": sections, **footer(book, "plan")}


def due(book: Book, first: date, last: date) -> Sequence[Context]:
    """Visits from a day to a day, with hard limits, which come first, and what is overdue or not planned."""
    return [
        row
        for row in _all(book)
        if row["hard"]
        or row["on"] is None
        or row["overdue"]
        or first <= row["on"] <= last
        or row["on"] <= book.assessment.judged_on
    ]


def _all(book: Book) -> list[Context]:
    """Every wall of the plan: those over a hard limit, then the others, first rank first."""
    placed = items(book.assessment)
    rows = sorted(book.assessment.plan.to_pylist(), key=lambda row: row["rank"])
    found: list[Context] = []
    for row in rows:
        place = book.walls.get((row["house"], row["wall"]))
        said = plan_words.of_wall(row, (place["unit"] if place else "") or "in")
        page = names.page_name(row["house"], row["wall"], "wall") if place else ""
        item = placed.get((row["house"], row["wall"]))
        found.append({**(said or {}), "page": page, "hard": hard_limit(item.alarms) if item else None})
    return sorted(found, key=lambda row: row["hard"] is None)
