"""The monthly list, the held readings and one wall as headers and rows of text for a terminal or a script.

The order and the reasons are those of the pages: both are read from the report room's contexts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from monitor.pipeline import keys
from monitor.pipeline.as_judged import as_judged
from monitor.pipeline.assessing import settings_on
from monitor.pipeline.publishing import book_of
from monitor.pipeline.repeatability import by_technician
from monitor.report import repair_sheet, repeatability_sheet
from monitor.report.context import Book, Row
from monitor.report.monthly_sheet import monthly_sheet
from monitor.report.wall_sheet import wall_sheet
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import State

LATEST_READINGS = 12
FEW_SETUPS = 20
"""Below this many set-ups a technician's number is a hint at most (common practice, no source)."""


@dataclass(frozen=True)
class Listing:
    """A table of text: title, headers, rows; `closing` is what stands below it."""

    title: str
    headers: Sequence[str]
    rows: Sequence[Sequence[str]]
    closing: str = ""


def monthly(store: Store, assessment: Assessment) -> Listing:
    """Walls that need somebody, in the order of the monthly list."""
    sheet = monthly_sheet(book_of(store, assessment))
    rows = [
        (
            section["heading"],
            row["key"],
            row["urgency"],
            " ".join((_bounds(row["rate"])[1], row["unit"])) if row["rate"] else "not measured",
            row["reason"],
            row["next_step"],
            row["decision"]["owner"] if row["decision"] else "",
        )
        for section in sheet["sections"]
        for row in section["rows"]
    ]
    counts = ", ".join(f"{heading.lower()} {count}" for heading, count in sheet["counts"] if count)
    false = sheet["expected_false"]
    closing = (
        f"Walls: {counts}. Of {false['walls']} listed as moving, {false['number']} are expected to be so by chance."
    )
    return Listing(
        f"{sheet['title']} (judged for {assessment.judged_on})",
        ("list", "wall", "urgency", "rate a year, 9 times in 10 between", "reason", "next step", "owner"),
        rows,
        closing,
    )


def held(store: Store, assessment: Assessment) -> Listing:
    """Readings that wait for somebody, with their ids."""
    rows = as_judged(store.readings(known_on=assessment.known_until), assessment)
    waiting = [row for row in rows.to_pylist() if row["state"] == State.HELD]
    return Listing(
        f"Held readings ({len(waiting)})",
        ("id", "wall", "mark", "visit", "as typed", "why"),
        [
            (
                row["reading_id"],
                keys.written(row["house"], row["wall"]),
                row["mark"],
                str(row["visit_date"] or ""),
                row["value_raw"],
                row["reason"],
            )
            for row in waiting
        ],
    )


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
        for row in by_technician(store, judged_on=judged_on, known_on=known_on).to_dict("records")
    ]
    return Listing(
        "Technicians: how much further in their set-ups stand than the others' on the same walls",
        ("read by", "technician", "further in", "standard error", "walls", "set-ups", "others' set-ups", ""),
        rows,
        "Private, for coaching only. Of two who differ either may be right. Who never shared a wall with others is not "
        "listed: nothing can be known. With few set-ups these numbers say little.",
    )


def one_wall(store: Store, assessment: Assessment, key: str) -> tuple[Sequence[str], Sequence[Listing]]:
    """One wall for a terminal: sentences first, then its rates, findings and readings. NotFoundError as keys.find."""
    content = book_of(store, assessment)
    house, wall = keys.find(content.fact("walls"), key)
    view = content.view(house, wall)
    current = view.current
    lines = [f"{view.key}, {view.nickname}"]
    if current:
        lines += [f"{current['verdict']}: {current['reason']}", *filter(None, [current["missing"]])]
    lines += [f"{row['urgency']}: {row['reason']} {row['next_step']}" for row in view.alarms if row["rule"] != "trend"]
    lines += repair_sheet.notes(current)
    lines += filter(None, (text for row in view.repairs for text in (row["reason"], row["warning"])))
    if said := repair_sheet.limit_range(current):
        lines.append(f"The limit of the total {said}.")
    readings = [row for row in view.readings if row["state"] == State.HELD]
    readings += [row for row in view.readings if row["state"] != State.HELD][-LATEST_READINGS:]
    return lines, [_rates(content, house, wall), _readings(readings)]


def _rates(content: Book, house: str, wall: str) -> Listing:
    sheet = wall_sheet(content, content.view(house, wall))
    return Listing(
        "Rates of the current period",
        ("movement", "most likely a year", "9 times in 10 between", ""),
        [
            (row["words"], *_bounds(row["bounds"]), "not settled" if row["unsettled"] else "")
            for row in sheet["components"]
        ],
    )


def _readings(rows: Sequence[Row]) -> Listing:
    return Listing(
        f"Readings: held, then the latest {LATEST_READINGS}",
        ("id", "visit", "part", "method", "set-up", "mark", "as typed", "deflection mm", "state", "why"),
        [
            (
                row["reading_id"],
                str(row["visit_date"] or ""),
                row["part"],
                row["method"],
                str(row["setup"] or ""),
                row["mark"],
                f"{row['value_raw']} {row['unit']}".strip(),
                "" if row["deflection_mm"] is None else f"{row['deflection_mm']:.1f}",
                row["state"],
                row["reason"],
            )
            for row in rows
        ],
    )


def _bounds(found: dict[str, str] | None) -> tuple[str, str]:
    return (found["rate"], found["range"]) if found else ("not measured", "")
