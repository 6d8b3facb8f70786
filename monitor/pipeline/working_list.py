"""The monthly list to work from: what changed since the last list first, with what was decided by now."""

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.pipeline import assessed_again
from monitor.pipeline.assessed_again import Changed
from monitor.records import dataclass, replace
from monitor.report.context import Book
from monitor.report.monthly_closed import CLOSED, Closed, closed
from monitor.report.monthly_line import FIRST, NEW, NEWLY, STILL, Line
from monitor.report.monthly_rows import List, the_list
from monitor.report.monthly_sheet import NOBODY, monthly_sheet
from monitor.store import Store

_GROUPS = (
    (FIRST, "On the first list"),
    (NEW, "New since the last list"),
    (CLOSED, "Closed since the last list"),
    (NEWLY, "Newly holding"),
    (STILL, "Still open"),
)
"""What became of a wall since the last list, in the order the office reads it."""


@dataclass(frozen=True)
class Group:
    """Walls that one thing became of since the last list; within, in the order of the written list."""

    name: str
    heading: str
    lines: Sequence[Line]
    closed: Sequence[Closed]
    number: int


@dataclass(frozen=True)
class Whole:
    """All lines, those to phone about first, walls that left the list, and the context of the written list.

    again: walls that were assessed again since, which stand in the lines as they are now.
    """

    found: List
    to_phone: Sequence[Line]
    gone: Sequence[Closed]
    sheet: Mapping[str, Any]
    has_earlier: bool
    again: Sequence[Changed]


def whole(store: Store, content: Book) -> Whole:
    """The list of a book (publishing.book_of_list) with every decision made, and every wall assessed again, by now."""
    content, again = assessed_again.over(store, replace(content, decisions=store.office.decisions()))
    found = the_list(content)
    waits = {key for key, news in content.news.items() if news.waits}
    to_phone = [line for line in found.all_lines if (line.house, line.wall) in waits]
    return Whole(found, to_phone, closed(content, found), monthly_sheet(content), content.previous is not None, again)


def narrowed(made: Whole, wanted: Mapping[str, str]) -> Mapping[str, Any]:
    """Context of the list: that of the written one, and its lines by what became of them, narrowed to what is wanted.

    wanted: 'text' (words that all stand in the line), 'list', 'state', 'owner'; '' or left out for all.
    """
    groups = [_group(name, heading, made.found, made.gone, wanted) for name, heading in _GROUPS]
    return {
        **made.sheet,
        "to_phone": made.to_phone,
        "again": made.again,
        "groups": [group for group in groups if group.number or (group.name != FIRST and made.has_earlier)],
        "total": len(made.found.all_lines) + len(made.gone),
        "shown": sum(len(group.lines) + len(group.closed) for group in groups),
        "undecided": sum(line.decision is None for line in made.found.all_lines if line.state != NEWLY),
    }


def _group(name: str, heading: str, found: List, gone: Sequence[Closed], wanted: Mapping[str, str]) -> Group:
    lines = [line for line in found.all_lines if line.state == name]
    left = list(gone) if name == CLOSED else []
    return Group(
        name,
        heading,
        [line for line in lines if _fits(wanted, line.section, name, line.owner, _words(line))],
        [row for row in left if _fits(wanted, CLOSED, CLOSED, _owner(row), f"{row.key} {row.nickname} {row.why}")],
        len(lines) + len(left),
    )


def _fits(wanted: Mapping[str, str], section: str, state: str, owner: str, words: str) -> bool:
    said = {"list": section, "state": state, "owner": owner or NOBODY}
    return all(not wanted.get(name) or wanted[name] == value for name, value in said.items()) and all(
        word in words.casefold() for word in wanted.get("text", "").casefold().split()
    )


def _words(line: Line) -> str:
    decided = line.decision or {}
    told = (line.key, line.nickname, line.heading, line.urgency, line.reason, *line.also, line.next_step)
    return " ".join((*told, *(str(decided.get(name) or "") for name in ("step", "owner", "why"))))


def _owner(row: Closed) -> str:
    return str(row.decision["owner"] or "") if row.decision else ""
