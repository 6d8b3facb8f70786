"""The visit plan to the context of its page: who is to be visited, when and why."""

import functools
from collections.abc import Mapping, Sequence
from datetime import date, timedelta

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.report import names, plan_words
from monitor.report.context import Book, Key, Row
from monitor.report.placing import hard_limit, items
from monitor.report.wall_sheet import Context, footer

SOON_DAYS = 92
"""The page's first table reaches so many days ahead: a quarter."""


def plan_sheet(book: Book) -> Context:
    """Context of plan.html: hard limits, then the overdue and the coming quarter by the plan, then later ones."""
    day = book.assessment.judged_on
    soon = due(book, day, day + timedelta(days=SOON_DAYS))
    keys = {row["key"] for row in soon}
    every = _rows(book, book.assessment.plan, {})
    later = sorted((row for row in every if row["key"] not in keys), key=lambda row: (row["on"], row["key"]))
    sections = [
        ("Hard limits, overdue, then the coming three months by what the visit would bring", soon),
        ("Later, by day", later),
    ]
    return {"title": "Visit plan", "nav": True, "sections": sections, **footer(book, "plan")}


def due(book: Book, first: date, last: date) -> Sequence[Context]:
    """Visits from a day to a day, with hard limits, which come first, and what is overdue or not planned."""
    hard, plan = _hard(book), book.assessment.plan
    day, judged_on = plan["visit_on"], pa.scalar(book.assessment.judged_on)
    within = pc.and_(pc.greater_equal(day, pa.scalar(first)), pc.less_equal(day, pa.scalar(last)))
    asked = [
        pc.is_in(schema.wall_keys(plan), value_set=pa.array([schema.wall_key(key) for key in hard], pa.string())),
        pc.is_null(day),
        pc.greater(pc.fill_null(plan["overdue_days"], 0), 0),
        pc.fill_null(within, False),
        pc.fill_null(pc.less_equal(day, judged_on), False),
    ]
    return _rows(book, plan.filter(functools.reduce(pc.or_, asked)), hard)


def _hard(book: Book) -> dict[Key, Row | None]:
    """The hard limits of walls that are over one."""
    placed = items(book.assessment)
    return {key: hard_limit(item.alarms) for key, item in placed.at(placed.standing("hard"))}


def _rows(book: Book, plan: pa.Table, hard: Mapping[Key, Row | None]) -> list[Context]:
    """Rows of the plan: walls over a hard limit, then the others, first rank first."""
    units = _units(book, plan)
    found: list[Context] = []
    for row in schema.rows(plan.sort_by("rank")):
        key = (row["house"], row["wall"])
        page = names.page_name(*key, "wall") if key in units else ""
        said = plan_words.of_wall(row, units.get(key) or "in")
        found.append({**(said or {}), "page": page, "hard": hard.get(key)})
    return sorted(found, key=lambda row: row["hard"] is None)


def _units(book: Book, plan: pa.Table) -> dict[Key, str | None]:
    """Units of the walls of some rows of the plan, of those that are registered."""
    register = book.fact("walls").select(["house", "wall", "unit", "known_at"])
    rows = register.filter(pc.is_in(schema.wall_keys(register), value_set=schema.wall_keys(plan))).sort_by("known_at")
    keys = zip(rows["house"].to_pylist(), rows["wall"].to_pylist(), strict=True)
    return dict(zip(keys, rows["unit"].to_pylist(), strict=True))
