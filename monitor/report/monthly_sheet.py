"""The book to the context of the monthly list: every wall in one place only, most urgent first."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

from monitor.report import names, wording
from monitor.report.context import URGENCIES, Book, Key, Row, WallView
from monitor.report.wall_sheet import Context, footer, period_words, told, untold
from monitor.results import Assessment
from monitor.terms import Outcome, Rule, Urgency, Verdict
from monitor.units import length_text

HARD = (Rule.TOTAL, Rule.JUMP, Rule.SEEN)
SECTIONS = (
    ("hard", "Hard limits", "cross", "Act on one reading, whatever the trend says."),
    ("moving", "Moving", "triangle", "The readings show a rate above the threshold."),
    ("again", "Look again", "diamond", "Not shown, not ruled out: a confirming visit with two set-ups."),
    ("held", "Held readings", "ring", "Readings wait for somebody to release, correct or reject them."),
    ("overdue", "Overdue", "clock", "Nothing is known since the last visit."),
    ("newly", "Newly holding", "square", "Holding now, not holding on the last list; it asks for nobody."),
)
"""(name, heading, shape, what it holds), in the order in which a wall is placed: the first that fits."""
REST = {"holding": "Holding, nothing asked", "early": "Too early to say, nothing asked"}
"""Walls that stand in no section."""
_OPEN = ("hard", "moving", "again", "held", "overdue")


@dataclass(frozen=True)
class Item:
    """One wall's place on a list; alarms: findings of its newest period that ask for somebody, most urgent first."""

    section: str
    result: Row | None
    alarms: Sequence[Row]

    @cached_property
    def true(self) -> set[str]:
        """'moving', 'held' and 'overdue' where they are so, whatever section the wall stands in."""
        rules = {row["rule"] for row in self.alarms if row["outcome"] == Outcome.YES}
        row = self.result or {}
        held, overdue = Rule.HELD in rules or row.get("readings_held"), Rule.OVERDUE in rules or row.get("overdue_days")
        moving = row.get("verdict") == Verdict.MOVING
        return {name for name, is_so in (("moving", moving), ("held", held), ("overdue", overdue)) if is_so}

    @cached_property
    def urgency(self) -> int:
        """Place of the most urgent finding; walls without one come last."""
        return min((URGENCIES.index(Urgency(row["urgency"])) for row in self.alarms), default=len(URGENCIES))

    @cached_property
    def consequence(self) -> float:
        """Share of the limit of total deflection used a year from now at the rate shown; orders a list, no more."""
        row = self.result
        if row is None or not row["total_limit_mm"]:
            return 0.0
        return float(
            (max(row["total_mm"] or 0.0, 0.0) + max(row["rate_mm_per_year"] or 0.0, 0.0)) / row["total_limit_mm"]
        )


def items(assessment: Assessment, earlier: dict[Key, Item] | None) -> dict[Key, Item]:
    """Every judged wall's place on the list of an assessment; `earlier` decides what is newly holding."""
    current = {(row["house"], row["wall"]): row for row in assessment.wall_results.to_pylist() if row["is_current"]}
    alarms: dict[Key, list[Row]] = {}
    for row in assessment.findings.to_pylist():
        key = (row["house"], row["wall"])
        if _asks(row) and (key not in current or row["period"] == current[key]["period"]):
            alarms.setdefault(key, []).append(row)
    placed = {}
    for key in sorted(current.keys() | alarms.keys()):
        found = sorted(alarms.get(key, []), key=lambda row: (URGENCIES.index(Urgency(row["urgency"])), row["rule"]))
        before = earlier.get(key) if earlier is not None else None
        item = Item("", current.get(key), found)
        placed[key] = replace(item, section=_section(item, before, earlier is not None))
    return placed


def _asks(row: Row) -> bool:
    """Whether a finding asks for somebody: it came out yes, or is undecided and still has an urgency."""
    return bool(
        row["outcome"] == Outcome.YES or (row["outcome"] == Outcome.UNDECIDED and row["urgency"] != Urgency.NONE)
    )


def _section(item: Item, before: Item | None, has_earlier: bool) -> str:
    row, alarms = item.result, item.alarms
    rules = {alarm["rule"] for alarm in alarms if alarm["outcome"] == Outcome.YES}
    unclear = any(alarm["rule"] in HARD and alarm["outcome"] == Outcome.UNDECIDED for alarm in alarms)
    verdict = row["verdict"] if row else ""
    was_holding = bool(before and before.result and before.result["verdict"] == Verdict.HOLDING)
    if rules & set(HARD) or any(
        a["rule"] == Rule.HELD and a["urgency"] in (Urgency.KEEP_OUT, Urgency.SAME_DAY) for a in alarms
    ):
        return "hard"
    if "moving" in item.true:
        return "moving"
    if verdict == Verdict.LOOK_AGAIN or Rule.FAST in rules or unclear:
        return "again"
    for name in ("held", "overdue"):
        if name in item.true:
            return name
    if verdict == Verdict.HOLDING and has_earlier and not was_holding:
        return "newly"
    return "holding" if verdict == Verdict.HOLDING else "early"


def monthly_sheet(book: Book) -> Context:
    """Context of monthly.html."""
    earlier = items(book.previous, None) if book.previous else None
    placed = items(book.assessment, earlier)
    ordered = sorted(placed.items(), key=lambda pair: (pair[1].urgency, -pair[1].consequence, pair[0]))
    rows = {
        name: [_row(book, key, item, earlier) for key, item in ordered if item.section == name] for name, *_ in SECTIONS
    }
    return {
        "title": f"Monthly list, {wording.month_text(book.assessment.judged_on)}",
        "nav": True,
        "sections": [
            {
                "name": name,
                "heading": heading,
                "shape": shape,
                "holds": holds,
                "rows": rows[name],
                "elsewhere": [
                    ("-".join(key), _headings()[item.section])
                    for key, item in placed.items()
                    if name in item.true and name != item.section
                ],
            }
            for name, heading, shape, holds in SECTIONS
        ],
        "counts": _counts(book, placed),
        "expected_false": _expected_false(placed),
        "earlier_on": book.previous.judged_on if book.previous else None,
        "changes": _changes(placed, earlier),
        "unit_note": "Rates and lengths stand in the unit each wall is read in.",
        **footer(book, "monthly"),
    }


def _counts(book: Book, placed: dict[Key, Item]) -> list[tuple[str, int]]:
    """Walls by section; the sum is the number of walls registered."""
    sections = [item.section for item in placed.values()]
    names_ = {name: heading for name, heading, *_ in SECTIONS} | REST
    counts = [(heading, sections.count(name)) for name, heading in names_.items()]
    return [*counts, ("Not judged: no readings", len(book.walls.keys() - placed.keys()))]


def _expected_false(placed: dict[Key, Item]) -> Context:
    """Of the walls called moving: the sum of the chances that the rate is not above the threshold after all."""
    moving = [item for item in placed.values() if item.result and "moving" in item.true]
    chances = [item.result["exceed_chance"] for item in moving if item.result]
    known = [1 - chance for chance in chances if chance is not None]
    return {
        "walls": len(moving),
        "hard": sum(item.section == "hard" for item in moving),
        "number": f"{sum(known):.2f}",
        "without": len(moving) - len(known),
    }


def _changes(placed: dict[Key, Item], earlier: dict[Key, Item] | None) -> Context | None:
    """Walls that are on the list now and were not, were and still are, were and are no more."""
    if earlier is None:
        return None
    now = {key for key, item in placed.items() if item.section in _OPEN}
    then = {key for key, item in earlier.items() if item.section in _OPEN}
    headings = _headings()
    closed = [
        {
            "key": "-".join(key),
            "was": headings[earlier[key].section],
            "now": headings[placed[key].section] if key in placed else "no longer judged",
        }
        for key in sorted(then - now)
    ]
    fresh = {key for key in now if _is_new(placed[key], earlier.get(key))}
    return {"new": len(fresh), "open": len(now - fresh), "closed": closed}


def _headings() -> dict[str, str]:
    """Every place on the list by name, as a sentence names it."""
    return {name: heading.lower() for name, heading, *_ in SECTIONS} | {
        "holding": "holding",
        "early": "too early to say",
    }


def _is_new(item: Item, before: Item | None) -> bool:
    """Whether a wall asks for somebody now and did not on the last list."""
    return item.section in _OPEN and (before is None or before.section not in _OPEN)


def _row(book: Book, key: Key, item: Item, earlier: dict[Key, Item] | None) -> Context:
    known = key in book.walls
    view = book.view(*key) if known else None
    unit = view.unit if view else "mm"
    result = item.result
    lead = item.alarms[0] if item.alarms else None
    reason = (
        lead["reason"] if lead and item.section in ("hard", "held", "overdue") else (result["reason"] if result else "")
    )
    decision = view.decisions[-1] if view and view.decisions else None
    return {
        "key": "-".join(key),
        "nickname": view.nickname if view else "",
        "page": names.page_name(*key, "wall") if known else "",
        "urgency": lead["urgency"] if lead else str(Urgency.NONE),
        "reason": reason or (result["reason"] if result else ""),
        "also": _also(item, lead, reason),
        "rate": told(result, "rate", unit) if result else None,
        "untold": untold(result),
        "unit": unit,
        "movement": (result["largest_movement"] or "") if result else "",
        "total": length_text(result["total_mm"], unit) if result and result["total_mm"] is not None else "not known",
        "room": _room(result, unit),
        "period": period_words(result["period"]) if result else "",
        "visits": result["visits"] if result else 0,
        "last_visit": result["last_visit"] if result else None,
        "next_step": lead["next_step"] if lead else "",
        "decision": decision,
        "age": _age(book, key, item, view, earlier),
    }


def _room(row: Row | None, unit: str) -> str:
    if row is None or row["total_mm"] is None or row["total_limit_mm"] is None:
        return ""
    room = row["total_limit_mm"] - row["total_mm"]
    return f"{length_text(room, unit)} to the limit" if room > 0 else f"over the limit by {length_text(-room, unit)}"


def _also(item: Item, lead: Row | None, said: str) -> list[str]:
    """Reasons of the other findings that ask for somebody."""
    rest = [
        row["reason"] for row in item.alarms if row["rule"] != Rule.TREND and (row is not lead or row["reason"] != said)
    ]
    return [text for text in dict.fromkeys(rest) if text and text != said]


def _age(book: Book, key: Key, item: Item, view: WallView | None, earlier: dict[Key, Item] | None) -> str:
    """New, or how long the item has been open as far as the lists and the readings tell."""
    today = book.assessment.judged_on
    if earlier is not None and book.previous is not None:
        if item.section not in _OPEN:
            return f"since the list of {today.isoformat()}"
        if _is_new(item, earlier.get(key)):
            return "new"
        return f"still open, {_days(book.previous.judged_on, today)} or more"
    since = _raised_on(item, view)
    return f"{_days(since, today)}, from the visit of {since.isoformat()}" if since else "age not known"


def _raised_on(item: Item, view: WallView | None) -> date | None:
    if item.section == "held" and view and view.held:
        return min((row["visit_date"] for row in view.held if row["visit_date"]), default=None)
    day: date | None = item.result["last_visit"] if item.result else None
    return day


def _days(start: date, end: date) -> str:
    return wording.count_text(max((end - start).days, 0), "day")


def index_sheet(book: Book) -> Context:
    """Context of index.html: every page by name."""
    current = {
        (row["house"], row["wall"]): row for row in book.assessment.wall_results.to_pylist() if row["is_current"]
    }
    return {
        "title": "Wall measurements",
        "nav": False,
        "monthly": names.MONTHLY_LIST,
        "repeatability": names.REPEATABILITY,
        "walls": [
            {
                "key": "-".join(key),
                "house_nickname": (book.houses.get(key[0]) or {}).get("nickname") or "–",
                "nickname": row["nickname"] or f"wall {key[1]}",
                "verdict": current[key]["verdict"] if key in current else "not judged",
                "shape": wording.VERDICT_SHAPE.get(current[key]["verdict"], "ring") if key in current else "ring",
                "wall": names.page_name(*key, "wall"),
                "homeowner": names.page_name(*key, "homeowner"),
            }
            for key, row in book.walls.items()
        ],
        **footer(book, "index"),
    }
