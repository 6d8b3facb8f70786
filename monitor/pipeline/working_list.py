"""The monthly list to work from: what changed since the last list first, with what was decided by now."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from monitor.pipeline.publishing import book_of_list
from monitor.report.context import Book
from monitor.report.monthly_closed import CLOSED, Closed, closed
from monitor.report.monthly_rows import FIRST, NEW, NEWLY, STILL, Line, List, the_list
from monitor.report.monthly_sheet import NOBODY, monthly_sheet
from monitor.results import Assessment
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


def book(store: Store, assessment: Assessment) -> Book:
    """What the list is made from; decisions are put in with `with_decisions`, which change more often."""
    return book_of_list(store, assessment)


def with_decisions(store: Store, made: Book) -> Book:
    """The same book with every decision made by now."""
    return replace(made, decisions=store.office.decisions())


def working_list(content: Book, wanted: Mapping[str, str]) -> Mapping[str, Any]:
    """Context of the list: that of the written one, and its lines by what became of them, narrowed to what is wanted.

    wanted: 'text' (words that all stand in the line), 'list', 'state', 'owner'; '' or left out for all.
    """
    found = the_list(content)
    gone = closed(content, found)
    sheet = monthly_sheet(content)
    groups = [_group(name, heading, found, gone, wanted) for name, heading in _GROUPS]
    return {
        **sheet,
        "groups": [group for group in groups if group.number or (group.name != FIRST and content.previous)],
        "total": len(found.all_lines) + len(gone),
        "shown": sum(len(group.lines) + len(group.closed) for group in groups),
        "undecided": sum(line.decision is None for line in found.all_lines if line.state != NEWLY),
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
