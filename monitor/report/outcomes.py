"""What became of reinforced walls, by how they were reinforced and what they stand in: counts, never causes."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from math import ceil, floor

from monitor.records import dataclass
from monitor.report.context import Book, Key, Row
from monitor.terms import EventKind, Verdict
from monitor.units import INCHES_PER_FOOT, MM_PER_INCH

ShareRange = Callable[[int, int], tuple[float, float]]
"""Lower and upper bound of a share, from walls with an outcome and walls in all (trend.shares)."""

FEWEST = 5
"""Groups of fewer walls are counted, but no range is told (our choice)."""
TOO_FEW = "too few to compare"
NOT_RECORDED = "not recorded"
OUTCOMES = ("moving", "holding", "not settled")
MOST_GROUPS = 8
_FOOT_MM = INCHES_PER_FOOT * MM_PER_INCH
_SLACK_MM = MM_PER_INCH / 2
_SPACINGS = (
    (4 * _FOOT_MM, "up to 4 ft (1.22 m)"),
    (5 * _FOOT_MM, "over 4 to 5 ft (1.22 to 1.52 m)"),
    (float("inf"), "over 5 ft (1.52 m)"),
)
"""Classes of strap spacing: about 4 ft is usual (common practice, no source); half an inch over still counts as it."""


@dataclass(frozen=True)
class Reinforced:
    """A reinforced wall: result of its newest period (wall_results), the event that began it, and its house's soil."""

    key: Key
    result: Row
    event: Row | None
    soil: str

    @property
    def outcome(self) -> str:
        """One of OUTCOMES, by the verdict since the work."""
        verdict = self.result["verdict"]
        return str(verdict) if verdict in (Verdict.MOVING, Verdict.HOLDING) else "not settled"


def reinforced(book: Book) -> list[Reinforced]:
    """Walls whose newest period follows a reinforcement, by house and wall."""
    newest: dict[Key, Row] = {}
    events = book.fact("events").to_pylist()
    for row in sorted(events, key=lambda row: (row["event_date"], row["event_id"])):
        if row["kind"] == EventKind.REINFORCEMENT and row["event_date"] <= book.assessment.judged_on:
            newest[row["house"], row["wall"]] = row
    rows = [row for row in book.assessment.wall_results.to_pylist() if row["is_current"] and row["period"]]
    return [
        Reinforced(key, row, newest.get(key), (book.houses.get(key[0]) or {}).get("soil") or "")
        for row in rows
        for key in [(row["house"], row["wall"])]
    ]


def by_spacing(wall: Reinforced) -> str:
    """Class of its strap spacing."""
    spacing = wall.event["strap_spacing_mm"] if wall.event else None
    if not spacing:
        return NOT_RECORDED
    return next(words for most, words in _SPACINGS if spacing <= most + _SLACK_MM)


def by_anchor(wall: Reinforced) -> str:
    """What the top of its straps is anchored to."""
    return str((wall.event["top_anchor"] if wall.event else "") or NOT_RECORDED)


def by_soil(wall: Reinforced) -> str:
    """Soil around its house, as written."""
    return " ".join(wall.soil.lower().split()) or NOT_RECORDED


DIMENSIONS: Sequence[tuple[str, Callable[[Reinforced], str]]] = (
    ("Strap spacing", by_spacing),
    ("Anchor at the top", by_anchor),
    ("Soil", by_soil),
)


def groups(
    walls: Sequence[Reinforced], of: Callable[[Reinforced], str], share_range: ShareRange
) -> list[Mapping[str, object]]:
    """Rows of one table: group, walls, and each outcome's number with its share in words.

    Largest groups first, those not recorded last; beyond MOST_GROUPS the rest together.
    """
    found: dict[str, list[Reinforced]] = defaultdict(list)
    for wall in walls:
        found[of(wall)].append(wall)
    order = sorted(found, key=lambda name: (name == NOT_RECORDED, -len(found[name]), name))
    if len(order) > MOST_GROUPS:
        rest = order[MOST_GROUPS - 1 :]
        found[f"{len(rest)} more, together"] = [wall for name in rest for wall in found[name]]
        order = [*order[: MOST_GROUPS - 1], f"{len(rest)} more, together"]
    return [group(name, found[name], share_range) for name in order]


def group(name: str, walls: Sequence[Reinforced], share_range: ShareRange) -> Mapping[str, object]:
    """One row: its walls by outcome, each with the range of its share."""
    numbers = {outcome: sum(wall.outcome == outcome for wall in walls) for outcome in OUTCOMES}
    cells = [(outcome, number, share_words(number, len(walls), share_range)) for outcome, number in numbers.items()]
    return {"name": name, "walls": len(walls), "cells": cells}


def share_words(hits: int, walls: int, share_range: ShareRange) -> str:
    """'between 3 and 60 in 100', its ends rounded outward; TOO_FEW of a small group."""
    if walls < FEWEST:
        return TOO_FEW
    low, high = share_range(hits, walls)
    return f"between {floor(100 * low + 1e-9)} and {ceil(100 * high - 1e-9)} in 100"
