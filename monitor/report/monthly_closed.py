"""Walls that stood on the last list and ask for nobody on this one: with what came in between, and why."""

from collections.abc import Sequence
from datetime import date

import numpy as np

from monitor.records import dataclass
from monitor.report import names, wording
from monitor.report.context import Book, Key, Row
from monitor.report.monthly_rows import List, decisions_by_wall, was_place
from monitor.report.placing import Item
from monitor.terms import EventKind

CLOSED = "closed"
"""State, and section, of a wall that has left the list."""


@dataclass(frozen=True)
class Closed:
    """One wall that left the list. came: what came in since; reason: of its verdict now; decision: its last."""

    house: str
    wall: str
    nickname: str
    page: str
    was: str
    now: str
    came: Sequence[str]
    reason: str
    decision: Row | None

    @property
    def key(self) -> str:
        """House and wall as people write them."""
        return f"{self.house}-{self.wall}"

    @property
    def why(self) -> str:
        """What came in, and what the verdict rests on now, in one cell."""
        came = "; ".join(self.came)
        return f"{came[:1].upper()}{came[1:]}. {self.reason}".strip()


def closed(book: Book, found: List) -> list[Closed]:
    """Every wall that the last list named and this one does not; empty where there was no last list."""
    if found.earlier is None:
        return []
    now = found.placed.numbers_of(found.earlier.walls)
    left = np.flatnonzero(found.earlier.is_open & ~np.append(found.placed.is_open, False)[now])
    stand = dict(found.placed.at(now[left][now[left] >= 0]))
    decided = decisions_by_wall(book) if len(left) else {}
    return [_closed(book, key, before, stand.get(key), decided.get(key, [])) for key, before in found.earlier.at(left)]


def _closed(book: Book, key: Key, before: Item, now: Item | None, decided: Sequence[Row]) -> Closed:
    known = key in book.walls
    return Closed(
        house=key[0],
        wall=key[1],
        nickname=book.view(*key).nickname if known else "",
        page=names.page_name(*key, "wall") if known else "",
        was=was_place(before),
        now=was_place(now),
        came=_came(book, key, before.result, now.result if now else None) or ["nothing new came in of this wall"],
        reason=str(now.result["reason"]) if now and now.result else "",
        decision=decided[-1] if decided else None,
    )


def _came(book: Book, key: Key, before: Row | None, now: Row | None) -> list[str]:
    """What became known of a wall since the last list: work, a visit, rulings; else other settings."""
    if book.previous is None or key not in book.walls:
        return []
    view, since = book.view(*key), book.previous.known_until
    came = [
        f"reinforced on {row['event_date'].isoformat()}"
        for row in view.events
        if row["kind"] == EventKind.REINFORCEMENT and row["known_at"] and row["known_at"] > since
    ]
    if now and now["last_visit"] and now["last_visit"] > ((before and before["last_visit"]) or date.min):
        came.append(f"visit of {now['last_visit'].isoformat()}")
    rulings = [row for rows in view.rulings.values() for row in rows if row["known_at"] > since]
    for act, who, why in sorted({(row["act"], row["who"], row["why"]) for row in rulings}):
        number = sum((row["act"], row["who"], row["why"]) == (act, who, why) for row in rulings)
        came.append(f"{wording.count_text(number, 'reading')} ruled on by {who}: {act} ({why})")
    if not came and book.previous.settings_sha256 != book.assessment.settings_sha256:
        came.append("settings, thresholds or variances changed")
    return came
