"""The visit plan of an assessment as headers and rows of text; order and words are those of the page."""

import re
from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from monitor.errors import NotFoundError
from monitor.pipeline.listed import Listing
from monitor.pipeline.publishing import book_of, book_of_plan
from monitor.report import plan_sheet
from monitor.results import Assessment
from monitor.store import Store
from monitor.trend.schedule import months_after

HEADERS = ("wall", "visit on", "why", "smallest rate it would show", "error a second set-up takes away", "")


def visits(store: Store, assessment: Assessment, first: date, last: date) -> Listing:
    """Walls to visit from a day to a day: hard limits, the overdue, then by what the visit would bring.

    assessment: what the plan is made of is read here, whichever of its tables it has.
    """
    rows = plan_sheet.due(book_of_plan(store, book_of(store, assessment, walls=(), shown=())), first, last)
    overdue = sum(1 for row in rows if row["overdue"])
    return Listing(
        f"Visit plan {first} to {last} (judged for {assessment.judged_on})",
        HEADERS,
        [(row["key"], row["day"], row["why"], row["rate"], row["gain"], _remarks(row))
         for row in rows],
        f"{len(rows)} walls to visit, {overdue} of them overdue.",
    )  # fmt: skip


def span(assessment: Assessment, quarter: str, months: int) -> tuple[date, date]:
    """First and last day of a quarter like 2026Q3, else of so many months from the assessment's day."""
    if not quarter:
        return assessment.judged_on, months_after(assessment.judged_on, months)
    found = re.fullmatch(r"(\d{4})-?[Qq]([1-4])", quarter.strip())
    if not found:
        raise NotFoundError(
            "This is no quarter.", got=quarter, expected="a year and a quarter", mend="Write it like 2026Q3."
        )
    first = date(int(found[1]), 3 * int(found[2]) - 2, 1)
    return first, months_after(first, 3) - timedelta(days=1)


def _remarks(row: Mapping[str, Any]) -> str:
    hard = row["hard"]["urgency"] if row["hard"] else ""
    overdue, frost = "overdue" if row["overdue"] else "", "before the frost" if row["frost"] else ""
    return ", ".join(filter(None, (hard, overdue, frost)))
