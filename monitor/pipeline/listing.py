"""The monthly list and the held readings as headers and rows of text for a terminal or a script.

The order and the reasons are those of the pages: both are read from the report room's contexts.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

import pyarrow.compute as pc

from monitor.pipeline import assessed_again, keys
from monitor.pipeline.as_judged import as_judged
from monitor.pipeline.assessed_again import Changed
from monitor.pipeline.assessing import settings_on
from monitor.pipeline.listed import Listing, Made
from monitor.pipeline.publishing import book_of, book_of_list
from monitor.report import monthly_files, repeatability_sheet
from monitor.report.monthly_line import Line
from monitor.report.monthly_rows import the_list
from monitor.report.monthly_sheet import monthly_sheet
from monitor.report.spreadsheets import cell_text, seen_text
from monitor.report.wording import count_text
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import State

FEW_SETUPS = 20
"""Below this many set-ups a technician's number is a hint at most (common practice, no source)."""
_SHORT_ID = 8
"""So many signs of a reading's id tell it from all others; the commands ask for four or more."""


_FLAGGED = ("hard", "moving", "again", "overdue")
"""Sections whose walls are flagged, or to be looked at before one can tell."""
_WIDE = ("list", "wall", "state", "urgency", "rate, 9 times in 10 between", "reason", "next step")
"""Columns of the list that a wide terminal shows; beside them stands what was decided, in one column."""


def monthly(store: Store, assessment: Assessment, at: datetime | None = None) -> Listing:
    """Walls that need somebody, in the order of the monthly list, each with what was decided about it by now.

    Columns and rows are those of the list's CSV file, which also has what left the list. at: as for book_of_list.
    """
    book = replace(book_of_list(store, assessment, at), decisions=store.office.decisions())
    book, again = assessed_again.over(store, book)
    sheet, lines = monthly_sheet(book), the_list(book).all_lines
    return Listing(
        f"{sheet['title']} (judged for {assessment.judged_on})",
        monthly_files.HEADERS,
        Made(lines, _texts),
        "\n".join([_closing(sheet), *map(_again, again)]),
        blocks=Made(lines, _block),
        wide=((*_WIDE, "decided"), Made(lines, _wide)),
    )


def _texts(line: Line) -> Sequence[str]:
    return [cell_text(cell) for cell in monthly_files.cells(line)]


def _wide(line: Line) -> Sequence[str]:
    texts = [seen_text(cell) for cell in monthly_files.cells(line)]  # nothing runs in a terminal
    return [*(texts[monthly_files.HEADERS.index(name)] for name in _WIDE), _decided(line)]


def _closing(sheet: Mapping[str, Any]) -> str:
    counts = ", ".join(f"{heading.lower()} {count}" for heading, count in sheet["counts"] if count)
    false, changes = sheet["expected_false"], sheet["changes"]
    since = (
        f" Since the list of {sheet['earlier_on']}: {changes['new']} new, {changes['open']} still open, "
        f"{len(sheet['closed'])} closed."
        if sheet["earlier_on"]
        else ""
    )
    return (
        f"Walls: {counts}. Of {false['walls']} called moving, {false['number']} are expected to be so by chance.{since}"
    )


def _again(wall: Changed) -> str:
    before = f", before {wall.before}" if wall.before and wall.before != wall.now else ""
    return f"Assessed again since, for {wall.judged_on}: {wall.wall}, {wall.now}{before}."


def flagged_briefly(store: Store, assessment: Assessment) -> Listing:
    """The walls that are flagged or to be looked at again, each with its reason."""
    found = the_list(book_of(store, assessment))
    lines = [line for line in found.all_lines if line.section in _FLAGGED]
    return Listing(
        f"Flagged walls, and walls to look at again ({len(lines)})",
        ("wall", "list", "reason"),
        [(line.key, line.heading.lower(), line.reason) for line in lines],
        blocks=[(f"{line.key}: {line.heading.lower()}", line.reason) for line in lines],
    )


def _block(line: Line) -> Sequence[str]:
    """One wall for a narrow terminal: what, how soon and since when; why; what next; what was decided."""
    rate = monthly_files.rate_words(line)
    lines = [f"{line.key} | {line.heading} | {line.urgency} | rate {rate} | {line.age}", line.reason]
    lines += [f"Next: {line.next_step}"] if line.next_step else []
    return [*lines, f"Decided: {_decided(line)}"] if line.decision else lines


def _decided(line: Line) -> str:
    row = line.decision
    if row is None:
        return ""
    due = f", due {row['due']}" if row["due"] else ""
    return f"{row['step']}, by {row['owner']}{due}: {row['why']}"


def held(store: Store, assessment: Assessment) -> Listing:
    """Readings that wait for somebody: one row each, one block a set-up, with their ids."""
    suspects = assessment.suspects
    walls = store.walls_with("readings", "state", (State.HELD,)) | set(keys.of(suspects))
    found = as_judged(store.readings(known_on=assessment.known_until, walls=walls), assessment)
    waiting = found.filter(pc.field("state") == State.HELD.value).to_pylist()
    groups: dict[tuple[Any, ...], list[Mapping[str, Any]]] = defaultdict(list)
    for row in waiting:
        place = ("house", "wall", "visit_date", "part", "method", "setup", "reason_code", "source_name")
        groups[tuple(row[name] for name in place)].append(row)
    return Listing(
        f"Held readings ({count_text(len(waiting), 'reading')} of {count_text(len(groups), 'set-up')})",
        ("id", "wall", "mark", "visit", "as typed", "file", "why"),
        [
            [
                cell_text(cell)
                for cell in (
                    row["reading_id"],
                    keys.written(row["house"], row["wall"]),
                    row["mark"],
                    row["visit_date"],
                    row["value_raw"],
                    row["source_name"],
                    row["reason"],
                )
            ]
            for row in waiting
        ],
        blocks=[_held_block(sorted(rows, key=lambda row: row["source_row"])) for rows in groups.values()],
    )


def _held_block(rows: Sequence[Mapping[str, Any]]) -> Sequence[str]:
    """One set-up: where and when, the reason its readings share, their marks with the ids to rule by."""
    row = rows[0]
    visit = " ".join(filter(None, (str(row["visit_date"] or "no date"), row["part"])))
    place = f"{keys.written(row['house'], row['wall'])} | {visit} | {row['method']}, set-up {row['setup'] or '?'}"
    ids = ", ".join(f"{row['mark']} {row['reading_id'][:_SHORT_ID]}" for row in rows)
    head = f"{place} | {count_text(len(rows), 'reading')} of {row['source_name']}"
    return head, _common([row["reason"] for row in rows]), f"Ids: {ids}"


def _common(reasons: Sequence[str]) -> str:
    """The reason that all share; else the first, and how many are put alike."""
    if len(set(reasons)) == 1:
        return reasons[0]
    return f"{reasons[0]} ({count_text(len(reasons) - 1, 'reading')} more, put alike)"


def repeatability(store: Store, *, judged_on: date, known_on: datetime) -> Listing:
    """The variances that an assessment would rest on, beside the defaults."""
    stored = repeatability_sheet.newest(store.facts("variances", known_on=known_on))
    current = settings_on(store, judged_on, known_on).variances
    rows = [(group["heading"], *row) for group in repeatability_sheet.groups(stored, current) for row in group["rows"]]
    told = repeatability_sheet.told(stored)
    return Listing(
        "Repeatability: standard deviations", ("read by", *repeatability_sheet.HEADERS), rows,
        f"{told} {repeatability_sheet.scale_text(stored, current)}",
    )  # fmt: skip


def technicians(store: Store, *, judged_on: date, known_on: datetime) -> Listing:
    """Each technician's set-ups against the others' on the same walls, for coaching."""
    from monitor.pipeline.repeatability import by_technician  # with the trend room: no other list needs it

    rows = [
        (
            row["method"],
            row["technician"],
            f"{row['offset_mm']:+.1f} mm",
            f"{row['se_mm']:.1f} mm",
            str(row["walls"]),
            str(row["setups"]),
            str(row["others"]),
            "few: a hint at most" if min(row["setups"], row["others"]) < FEW_SETUPS else "",
        )
        for row in by_technician(store, judged_on=judged_on, known_on=known_on)
    ]
    return Listing(
        "Technicians: how much further in their set-ups stand than the others' on the same walls",
        ("read by", "technician", "further in", "standard error", "walls", "set-ups", "others' set-ups", ""),
        rows,
        "Private, for coaching only. Of two who differ either may be right. Who never shared a wall with others is not "
        "listed: nothing can be known. With few set-ups these numbers say little.",
    )
