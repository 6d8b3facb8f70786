"""Where each wall stands on the monthly list: one section each, by a written rule from verdict and findings."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import pyarrow.compute as pc

from monitor import schema
from monitor.report.context import URGENCIES, Key, Row
from monitor.results import Assessment
from monitor.terms import Outcome, Rule, Urgency, Verdict

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
OPEN = ("hard", "moving", "again", "held", "overdue")
"""Sections whose walls ask for somebody."""
SPOKEN: Mapping[str, str] = {name: heading.lower() for name, heading, *_ in SECTIONS} | {
    "holding": "holding",
    "early": "too early to say",
}
"""Every place on the list by name, as a sentence names it."""


_ASKS = (pc.field("outcome") == Outcome.YES.value) | (
    (pc.field("outcome") == Outcome.UNDECIDED.value) & (pc.field("urgency") != Urgency.NONE.value)
)
"""Findings that ask for somebody: those that came out yes, or are undecided and still have an urgency."""


@dataclass(frozen=True)
class Item:
    """One wall's place on a list; alarms: findings of its newest period that ask for somebody, most urgent first."""

    section: str
    result: Row | None
    alarms: Sequence[Row]

    @property
    def is_open(self) -> bool:
        """Whether the wall asks for somebody."""
        return self.section in OPEN

    @cached_property
    def true(self) -> set[str]:
        """'moving', 'held' and 'overdue' where they are so, whatever section the wall stands in."""
        return _true(self.result or {}, {row["rule"] for row in self.alarms if row["outcome"] == Outcome.YES})

    @cached_property
    def urgency(self) -> int:
        """Place of the most urgent finding; walls without one come last."""
        return min((URGENCIES.index(row["urgency"]) for row in self.alarms), default=len(URGENCIES))

    @cached_property
    def consequence(self) -> float:
        """Share of the limit of total deflection used a year from now at the rate shown; orders a list, no more."""
        row = self.result
        if row is None or not row["total_limit_mm"]:
            return 0.0
        return float(
            (max(row["total_mm"] or 0.0, 0.0) + max(row["rate_mm_per_year"] or 0.0, 0.0)) / row["total_limit_mm"]
        )


def items(
    assessment: Assessment, earlier: Mapping[Key, Item] | None = None, only: Collection[Key] | None = None
) -> dict[Key, Item]:
    """Every judged wall's place on the list of an assessment, or that of some walls only.

    earlier: the last list, which decides what is newly holding.
    """
    rows = schema.rows(assessment.wall_results.filter(assessment.wall_results["is_current"]))
    current = {key: row for row in rows if (key := (row["house"], row["wall"])) and (only is None or key in only)}
    alarms: dict[Key, list[Row]] = {}
    for row in schema.rows(assessment.findings.filter(_ASKS)):
        key = (row["house"], row["wall"])
        if (only is None or key in only) and (key not in current or _is_of(row, current[key])):
            alarms.setdefault(key, []).append(row)
    placed = {}
    for key in sorted(current.keys() | alarms.keys()):
        found = sorted(alarms.get(key, []), key=lambda row: (URGENCIES.index(row["urgency"]), row["rule"]))
        before = earlier.get(key) if earlier is not None else None
        section = _section(current.get(key), found, before, earlier is not None)
        placed[key] = Item(section, current.get(key), found)
    return placed


def hard_limit(alarms: Sequence[Row]) -> Row | None:
    """The first of a wall's findings that is a hard limit, or a held reading that could hide one; None without one."""
    for row in alarms:
        hides = row["rule"] == Rule.HELD and row["urgency"] in (Urgency.KEEP_OUT, Urgency.SAME_DAY)
        if hides or (row["rule"] in HARD and row["outcome"] == Outcome.YES):
            return row
    return None


def open_places(assessment: Assessment, only: Collection[Key] | None = None) -> dict[Key, str]:
    """Section of every wall that asks for somebody, or of those of some walls only."""
    return {key: item.section for key, item in items(assessment, None, only).items() if item.is_open}


def _is_of(finding: Row, result: Row) -> bool:
    return bool(finding["period"] == result["period"])


def _true(row: Row, rules: Collection[str]) -> set[str]:
    held, overdue = Rule.HELD in rules or row.get("readings_held"), Rule.OVERDUE in rules or row.get("overdue_days")
    moving = row.get("verdict") == Verdict.MOVING
    return {name for name, is_so in (("moving", moving), ("held", held), ("overdue", overdue)) if is_so}


def _section(row: Row | None, alarms: Sequence[Row], before: Item | None, has_earlier: bool) -> str:
    rules = {alarm["rule"] for alarm in alarms if alarm["outcome"] == Outcome.YES}
    unclear = any(alarm["rule"] in HARD and alarm["outcome"] == Outcome.UNDECIDED for alarm in alarms)
    verdict, true = row["verdict"] if row else "", _true(row or {}, rules)
    was_holding = bool(before and before.result and before.result["verdict"] == Verdict.HOLDING)
    if hard_limit(alarms):
        return "hard"
    if "moving" in true:
        return "moving"
    if verdict == Verdict.LOOK_AGAIN or Rule.FAST in rules or unclear:
        return "again"
    for name in ("held", "overdue"):
        if name in true:
            return name
    if verdict == Verdict.HOLDING and has_earlier and not was_holding:
        return "newly"
    return "holding" if verdict == Verdict.HOLDING else "early"
