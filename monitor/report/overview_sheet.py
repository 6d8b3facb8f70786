"""The book to the context of the company overview: totals only, so that it reads the same at three walls and 3,000."""

from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta

import pyarrow as pa

from monitor.report import names, wording
from monitor.report.context import Book, Key, Row
from monitor.report.day_states import DayStates, day_states
from monitor.report.monthly_rows import the_list
from monitor.report.monthly_sheet import expected_false
from monitor.report.outcomes import DIMENSIONS, FEWEST, OUTCOMES, Reinforced, ShareRange, group, groups, reinforced
from monitor.report.repeatability_sheet import groups as repeatability_groups
from monitor.report.repeatability_sheet import newest, told
from monitor.report.stacked import stacked
from monitor.report.wall_sheet import Context, footer

MOST_DAYS = 24
"""So many assessments are shown, the newest last: two years of months."""
PAYS = 0.1
"""A second set-up pays from this share of the rate's error on (our choice)."""
MOST_PAYING = 15
MONTHS = 12
_YEARS = (
    (1, "under 1 year"),
    (2, "1 to 2 years"),
    (3, "2 to 3 years"),
    (5, "3 to 5 years"),
    (None, "5 years and more"),
)
SOON_DAYS = 30
"""A wall read within so many days of the work has its new zero (common practice, no source)."""


def overview_sheet(book: Book, past: Sequence[DayStates], share_range: ShareRange) -> Context:
    """Context of overview.html. past: earlier assessments, in any order; share_range: bounds of a share."""
    days = sorted([*past, day_states(book.assessment)], key=lambda day: day.judged_on)
    shown = days[-MOST_DAYS:]
    walls = reinforced(book)
    foot = footer(book, "overview")
    before = [foot["supersedes"]["report_number"]] if foot["supersedes"] else []
    return {
        "title": f"Company overview, {wording.month_text(book.assessment.judged_on)}",
        "nav": True,
        "now": shown[-1],
        "houses": len({house for house, _ in book.walls}),
        "reinforced": len(walls),
        "days": list(reversed(shown)),
        "left_out": len(days) - len(shown),
        "chart": stacked(shown, "states"),
        "expected_false": expected_false(the_list(book)),
        "outcomes": OUTCOMES,
        "all_reinforced": group("all reinforced walls", walls, share_range),
        "dimensions": [(heading, groups(walls, of, share_range)) for heading, of in DIMENSIONS],
        "fewest": FEWEST,
        "by_years": _by_years(book, walls, share_range),
        "record": _record(book, walls),
        "repeatability": _repeatability(book),
        "repeatability_told": told(newest(book.fact("variances"))),
        "repeatability_name": names.REPEATABILITY,
        "paying": _paying(book),
        "pays": f"{100 * PAYS:.0f} %",
        "months": _months(book),
        **foot,
        "report_number": book.report_number("overview", *before, *map(str, days)),
    }


def _by_years(book: Book, walls: Sequence[Reinforced], share_range: ShareRange) -> list[object]:
    """Reinforced walls by the years since the work, in the same columns."""
    found: dict[str, list[Reinforced]] = {words: [] for _, words in _YEARS}
    for wall in walls:
        years = (book.assessment.judged_on - wall.result["started_on"]).days / 365.25
        found[next(words for most, words in _YEARS if most is None or years < most)].append(wall)
    return [group(words, here, share_range) for words, here in found.items() if here]


def _record(book: Book, walls: Sequence[Reinforced]) -> list[tuple[str, int]]:
    """What is on record of the reinforced walls: facts that a promise to an owner may turn on, no more."""
    today, earlier, first = book.assessment.judged_on, _read_before(book), _first_since(book)
    lasts = [wall.result["last_visit"] for wall in walls]
    ages = [(today - last).days / 365.25 for last in lasts if last]
    soon = timedelta(days=SOON_DAYS)
    read_soon = [wall for wall in walls if first.get(wall.key, date.max) <= wall.result["started_on"] + soon]
    return [
        ("reinforced", len(walls)),
        ("read before the work", sum(wall.key in earlier for wall in walls)),
        (f"read within {SOON_DAYS} days after the work", len(read_soon)),
        ("four or more visits since, take-up left out", sum((wall.result["visits"] or 0) >= 4 for wall in walls)),
        ("last read within a year", sum(years <= 1 for years in ages)),
        ("last read one to two years ago", sum(1 < years <= 2 for years in ages)),
        ("last read more than two years ago", sum(years > 2 for years in ages)),
        ("not read since the work", lasts.count(None)),
        ("visit overdue", sum(bool(wall.result["overdue_days"]) for wall in walls)),
        ("total inward deflection at or over its limit", sum(_over(wall.result) for wall in walls)),
        ("number, spacing and top anchor of the straps on record", sum(_complete(wall.event) for wall in walls)),
        ("doubts in the record of the work", sum(bool(wall.event and wall.event["doubts"]) for wall in walls)),
    ]


def _read_before(book: Book) -> set[Key]:
    rows = book.assessment.wall_results.select(["house", "wall", "period", "visits_all"]).to_pylist()
    return {(row["house"], row["wall"]) for row in rows if row["period"] == 0 and row["visits_all"]}


def _first_since(book: Book) -> dict[Key, date]:
    """Day of the first visit after the newest work, by wall."""
    judged = book.assessment
    columns = judged.movement.select(["house", "wall", "period", "visit_date"])
    rows = pa.TableGroupBy(columns, ["house", "wall", "period"]).aggregate([("visit_date", "min")]).to_pylist()
    newest_period = {
        (row["house"], row["wall"]): row["period"] for row in judged.wall_results.to_pylist() if row["is_current"]
    }
    return {
        key: row["visit_date_min"]
        for row in rows
        for key in [(row["house"], row["wall"])]
        if newest_period.get(key) == row["period"]
    }


def _over(row: Row) -> bool:
    return (
        row["total_mm"] is not None and row["total_limit_mm"] is not None and row["total_mm"] >= row["total_limit_mm"]
    )


def _complete(event: Row | None) -> bool:
    return bool(event and event["strap_count"] and event["strap_spacing_mm"] and event["top_anchor"])


def _repeatability(book: Book) -> list[tuple[str, str, str, str, str]]:
    """(method, one reading, one set-up, walls, set-ups): the first rows of the full page."""
    rows = []
    for found in repeatability_groups(newest(book.fact("variances")), book.variances)[:-1]:
        by_name = {row[0]: row for row in found["rows"]}
        reading = by_name["one reading"]
        setup = by_name.get("one set-up, all its readings alike")
        rows.append((found["heading"], reading[1], setup[1] if setup else "", reading[4], reading[5]))
    return rows


def _paying(book: Book) -> Context:
    """Walls where a second set-up takes away much of the error: how many of those planned, and the first of them."""
    rows = [row for row in book.assessment.plan.to_pylist() if row["second_setup_gain"] is not None]
    paying = sorted(
        (row for row in rows if row["second_setup_gain"] >= PAYS),
        key=lambda row: (-row["second_setup_gain"], row["house"], row["wall"]),
    )
    return {
        "planned": len(rows),
        "walls": len(paying),
        "first": [
            {
                "key": f"{row['house']}-{row['wall']}",
                "page": names.page_name(row["house"], row["wall"], "wall"),
                "gain": f"{100 * row['second_setup_gain']:.0f} %",
                "on": row["visit_on"].isoformat() if row["visit_on"] else "not planned",
            }
            for row in paying[:MOST_PAYING]
        ],
    }  # fmt: skip


def _months(book: Book) -> list[tuple[str, int, int, int, int]]:
    """(when, visits, before the frost, could settle holding, could settle moving): overdue, by month, later, none."""
    today, number = book.assessment.judged_on, Counter[tuple[str, str]]()
    names_of = [_month(today, ahead) for ahead in range(MONTHS)]
    last = (names_of[-1].year, names_of[-1].month)
    for row in book.assessment.plan.to_pylist():
        on = row["visit_on"]
        if row["overdue_days"]:
            when = "overdue"
        elif on is None:
            when = "not planned"
        else:
            when = wording.month_text(max(on, today)) if (on.year, on.month) <= last else "later"
        what = ["visits", "frost" if row["before_frost"] else "", row["settles"] or ""]
        number.update((when, name) for name in what if name)
    order = ["overdue", *map(wording.month_text, names_of), "later", "not planned"]
    return [
        (when, number[when, "visits"], number[when, "frost"], number[when, "holding"], number[when, "moving"])
        for when in order
        if number[when, "visits"]
    ]


def _month(day: date, ahead: int) -> date:
    years, month = divmod(day.month - 1 + ahead, 12)
    return date(day.year + years, month + 1, 1)
