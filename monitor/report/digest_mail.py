"""The month in five lines and a link; no name, house or wall stands in it."""

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.report.wording import count_text


def subject(month: str) -> str:
    """Subject of a month's digest, like '2026-04'."""
    return f"Walls in {month}: the month in five lines"


def body(sheet: Mapping[str, Any], alerts: tuple[int, int], link: str) -> str:
    """Five lines, and where the list is. sheet: context of the monthly list; alerts: all told of, not acknowledged."""
    said = dict(sheet["counts"])
    sections = {row["name"]: row["heading"] for row in sheet["sections"]}
    total, count = sum(said.values()), {name: said[heading] for name, heading in sections.items()}
    changes, false = sheet["changes"], sheet["expected_false"]
    lines: Sequence[str] = (
        f"{count_text(total, 'wall')}: {count['hard']} over a hard limit, {count['moving']} moving, "
        f"{count['again']} to look at again.",
        f"Since the list before: {changes['new'] + changes['first']} new, {changes['open']} still open, "
        f"{len(sheet['closed'])} closed, {count['newly']} newly holding.",
        f"Waiting: {count_text(count['held'], 'wall')} with held readings, {count_text(count['overdue'], 'visit')} "
        "overdue.",
        f"Alerts: {alerts[0]} on record, {alerts[1]} that nobody has acknowledged.",
        f"Of {false['walls']} called moving, {false['number']} are expected to be so by chance.",
    )
    return "\n".join([*lines, "", link or "The list: wallbow flagged", ""])
