"""Field sheets: what a technician has to know of each wall before a visit, from the store and the latest assessment."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import pyarrow as pa

from monitor import __version__
from monitor.errors import NotFoundError, ReportError
from monitor.ingest import misfits
from monitor.ingest.expectation import Expectations
from monitor.ingest.known import Known
from monitor.pipeline import keys as written_keys
from monitor.pipeline import runs
from monitor.pipeline.assessing import made_again
from monitor.pipeline.expecting import expected_at
from monitor.pipeline.field_lines import sheet_wall
from monitor.report import pages
from monitor.report.field_record import FieldSheet
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import Outcome, Part, Role, Rule, State, Verdict

Row = Mapping[str, Any]
Key = tuple[str, str]

SECOND_ONE_IN = 5
"""One wall in so many is read a second time though nothing asks for it: from these the company's own error is told."""
_NOT_FLAGS = (Rule.OVERDUE, Rule.HELD)
_READ = (State.USED, State.HELD, State.COULD_NOT_READ)


def field_sheet(
    store: Store,
    walls: Sequence[str],
    *,
    day: date,
    known_on: datetime,
    assessment: Assessment | None = None,
    upload_to: str = "",
    blind: bool = False,
) -> FieldSheet:
    """The sheet of walls (each house-wall) for a visit on a day, from what is known at that moment.

    assessment: the results of these walls are read here, whichever of its tables it has. Raises NotFoundError where the
    register has no such wall, or does not say how it is read.
    """
    keys = [written_keys.registered(store, text, known_on) for text in walls]
    houses = {house for house, _ in keys}
    neighbours, _ = store.walls_of(houses)
    tables = {
        "people": store.office.people(),
        "houses": store.current("houses", known_on, among=("house", houses)),
        **{name: store.current(name, known_on, walls=neighbours) for name in ("walls", "marks", "events")},
        **{name: store.current(name, known_on) for name in ("instruments", "thresholds")},
    }
    known = Known(tables)
    readings = store.readings(known_on=known_on, walls=neighbours)
    foretold = expected_at(store, {(house, day) for house in houses}, tables, readings, known_on)
    rows = _rows_before(readings, set(keys), day)
    expectations, flags = Expectations(foretold, known), _flags(store, keys, assessment)
    return FieldSheet(
        day=day,
        judged_on=assessment.judged_on if assessment else None,
        known_until=known_on,
        newest_reading=max((row["visit_date"] for found in rows.values() for row in found), default=None),
        walls=[
            sheet_wall(
                known, key, rows[key], expectations, day, second_why(store, key, rows[key], day, flags.get(key, ""))
            )
            for key in keys
        ],
        instruments=tables["instruments"].sort_by("instrument").to_pylist(),
        people=sorted(row["person"] for row in tables["people"].to_pylist() if row["role"] == Role.TECHNICIAN),
        company=store.office.company(),
        code_version=__version__,
        confirms=misfits.CONFIRMS,
        upload_to=upload_to,
        blind=blind,
    )


def as_built_sheet(
    store: Store,
    wall: str,
    *,
    day: date,
    known_on: datetime,
    assessment: Assessment | None = None,
    upload_to: str = "",
) -> FieldSheet:
    """The sheet for the day on which a wall is reinforced: the reading before, the record of the work, the one after.

    Of the reading after nothing is foretold, and all of it is read twice, as all later ones are held against it.
    Raises NotFoundError as `field_sheet` does.
    """
    made = field_sheet(store, [wall], day=day, known_on=known_on, assessment=assessment, upload_to=upload_to)
    [before] = made.walls
    lines = [replace(line, marks=[replace(mark, fine_mm=None) for mark in line.marks]) for line in before.lines]
    after = replace(before, part=Part.AFTER, lines=lines, second_why="all later readings are held against these")
    return replace(made, walls=[replace(before, part=Part.BEFORE), after], work=True)


def route(assessment: Assessment, day: date, most: int) -> list[str]:
    """Walls due on a day by the visit plan, overdue ones first, at most so many; those of one house stand together.

    assessment: with its plan. Raises NotFoundError where none is due.
    """
    rows = sorted(assessment.plan.to_pylist(), key=lambda row: row["rank"])
    due = [row for row in rows if row["overdue_days"] or (row["visit_on"] and row["visit_on"] <= day)][:most]
    if not due:
        later = min((row["visit_on"] for row in rows if row["visit_on"]), default=None)
        raise NotFoundError(
            f"No wall is due by {day}.", mend=f"The next is due on {later}." if later else "Assess the walls first."
        )
    houses = list(dict.fromkeys(row["house"] for row in due))
    due.sort(key=lambda row: (houses.index(row["house"]), row["rank"]))
    return [f"{row['house']}-{row['wall']}" for row in due]


def write(sheet: FieldSheet, to: Path) -> Path:
    """Write a sheet into a folder as one self-contained page; its file, named by day and walls."""
    keys = list(dict.fromkeys(wall.key for wall in sheet.walls))
    name = keys[0] if len(keys) == 1 else f"{len(keys)}-walls"
    path = to / f"{'as-built' if sheet.work else 'field'}-sheet_{sheet.day.isoformat()}_{name}.html"
    try:
        to.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pages.field_sheet(sheet))
    except OSError as error:
        raise ReportError(
            "The sheet could not be written.", got=f"{path}: {error.strerror}", mend="Choose another folder with --to."
        ) from error
    return path


def second_why(store: Store, key: Key, rows: Sequence[Row], day: date, flag: str) -> str:
    """Why all of a wall is read a second time on that day, '' where it is not: flagged, never read, or drawn.

    rows: its readings before that day; flag: why the latest assessment wants to see it again, '' where it does not.
    """
    if flag:
        return f"asked for: {flag}"
    if not any(row["state"] == State.USED for row in rows):
        return "first readings of this wall"
    return "drawn: one wall in five" if drawn(store, key, day) else ""


def drawn(store: Store, key: Key, day: date) -> bool:
    """Whether a wall is drawn for a second reading on that day.

    From the moment the store was set up, which nobody can choose again, so the same sheet draws the same.
    """
    text = f"{store.set_up_at.isoformat()}\n{key[0]}\n{key[1]}\n{day.isoformat()}"
    return int.from_bytes(sha256(text.encode()).digest()[:8], "big") * SECOND_ONE_IN < 2**64


def _flags(store: Store, keys: Sequence[Key], assessment: Assessment | None) -> dict[Key, str]:
    """Of those walls that the latest assessment wants to see again, why."""
    if assessment is None:
        return {}
    flags: dict[Key, str] = {}
    found = made_again(store, runs.of(store, assessment), ("findings", "wall_results"), walls=keys)
    for row in found.findings.to_pylist():
        if row["outcome"] == Outcome.YES and row["rule"] not in _NOT_FLAGS:
            flags.setdefault((row["house"], row["wall"]), row["rule"])
    for row in found.wall_results.to_pylist():
        if row["is_current"] and row["verdict"] in (Verdict.MOVING, Verdict.LOOK_AGAIN):
            flags[row["house"], row["wall"]] = row["verdict"]
    return flags


def _rows_before(readings: pa.Table, keys: Collection[Key], day: date) -> dict[Key, list[Row]]:
    """Readings of those walls from before a day, whatever became of them save rejected ones, oldest first."""
    found: dict[Key, list[Row]] = defaultdict(list)
    for row in readings.to_pylist():
        key = (row["house"], row["wall"])
        if key in keys and row["state"] in _READ and row["visit_date"] and row["visit_date"] < day:
            found[key].append(row)
    for rows in found.values():
        rows.sort(key=lambda row: (row["visit_date"], row["part"] == "after", row["setup"] or 0, row["reading_id"]))
    return found
