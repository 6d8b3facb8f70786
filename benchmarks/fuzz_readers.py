"""The demo's files and the readers they go through, up to judged rows; what is held to hold whatever comes in."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Any

import mutations
import pyarrow as pa
import pyarrow.compute as pc

from monitor import ingest, schema
from monitor.errors import IntakeError
from monitor.ingest.columns import READING_NEEDS, reading_names
from monitor.ingest.headers import find_header, rows_below
from monitor.ingest.pictures import NoPictureError, bare
from monitor.ingest.reader import read_book
from monitor.ingest.visit_sheet import KIND, VERSION
from monitor.results import Intake

DEMO = Path(__file__).parents[1] / "data" / "demo"
RECEIVED = datetime(2026, 5, 1, 9, tzinfo=UTC)

REFUSED, HELD, REJECTED, ALL_USED = "refused", "held", "rejected", "all used"


class BrokenError(AssertionError):
    """Rows that are not accounted for, or an error that does not help."""


@dataclass(frozen=True)
class Kind:
    """Files of one kind, how they are changed, and what reads one: gives what became of it."""

    name: str
    files: Sequence[tuple[str, bytes]]
    mutate: Callable[[Random, bytes, bytes], mutations.Mutated]
    read: Callable[[str, bytes, int | None], set[str]]


class Demo:
    """The register and some visits of the demo, as the readers are given them."""

    def __init__(self) -> None:
        self.tables: dict[str, pa.Table] = {name: schema.empty(name) for name in schema.REGISTER}
        self.register = [(path.name, path.read_bytes()) for path in sorted((DEMO / "register").iterdir())]
        for name, data in self.register:
            for intake in ingest.read_register(name, data, self.tables, RECEIVED, "O1"):
                both = pa.concat_tables([self.tables[intake.holds], intake.table])
                self.tables[intake.holds] = both
        paths = sorted((DEMO / "visits").iterdir())
        self.visits = [(path.name, path.read_bytes()) for path in [*paths[::8], *paths[-3:]]]
        self.readings = {name: self.judged(name, data, schema.empty("readings")) for name, data in self.visits}
        self.everything = pa.concat_tables([intake.table for intake in self.readings.values()])
        self.expected = {name: _expected(intake.table) for name, intake in self.readings.items()}

    def judged(self, name: str, data: bytes, earlier: pa.Table, expected: pa.Table | None = None) -> Intake:
        """One file of readings, judged."""
        return ingest.read_readings(name, data, self.tables, earlier, RECEIVED, "T1", RECEIVED.date(), expected)

    def sheets(self) -> list[tuple[str, bytes]]:
        """Visits as a field sheet saves them, the last with an event."""
        found = []
        for name, data in self.visits:
            if name.endswith(".csv"):
                titles, *rows = [row for row in mutations.grid_of_csv(data) if len(row) > 3]
                tables: dict[str, Any] = {"readings": [dict(zip(titles, row, strict=True)) for row in rows]}
                found.append((name, tables))
        event = {"house": "DH-01", "wall": "N", "event date": "2024-04-10", "kind": "reinforcement", "strap count": "6"}
        found[-1][1]["events"] = [event]
        sheet = {"kind": KIND, "version": VERSION, "made_from": {}}
        return [(name.replace(".csv", ".json"), json.dumps(sheet | {"tables": each}).encode()) for name, each in found]

    def kinds(self) -> Mapping[str, Kind]:
        """Every kind of file."""
        by_end = {end: [file for file in self.visits if file[0].endswith(end)] for end in (".csv", ".xlsx")}
        lists = {end: [file for file in self.register if file[0].endswith(end)] for end in (".csv", ".xlsx")}
        photos = [(path.name, path.read_bytes()) for path in sorted((DEMO / "photos").iterdir())]
        kinds = (
            Kind("readings CSV", by_end[".csv"], mutations.mutated_csv, self.read_visit),
            Kind("readings XLSX", by_end[".xlsx"], mutations.mutated_xlsx, self.read_visit),
            Kind("register CSV", lists[".csv"], mutations.mutated_csv, self.read_list),
            Kind("register XLSX", lists[".xlsx"], mutations.mutated_xlsx, self.read_list),
            Kind("field sheet JSON", self.sheets(), mutations.mutated_json, self.read_sheet),
            Kind("photos", photos, mutations.mutated_photo, self.read_photo),
        )
        return {kind.name: kind for kind in kinds}

    def read_visit(self, name: str, data: bytes, rows: int | None) -> set[str]:
        """A file of readings against the other visits and what this one was expected to read."""
        others = self.everything.filter(pc.not_equal(self.everything["source_name"], name))
        intake = self.judged(name, data, others, self.expected.get(name))
        _check_readings(intake)
        _check_rows(name, data, intake, rows)
        return _became([intake])

    def read_list(self, name: str, data: bytes, rows: int | None) -> set[str]:
        """A register file against the register as it stands."""
        intakes = ingest.read_register(name, data, self.tables, RECEIVED, "O1")
        for intake in intakes:
            _ask(intake.received == intake.used + intake.rejected, "received is not used and rejected")
            _ask(intake.used == intake.table.num_rows, "used rows are not in the table")
            _ask(len(intake.messages) == intake.rejected, "a rejected row without a message")
            _check_mend_sheet(intake, intake.rejected)
        if rows is not None:
            found = sum(len(sheet.lines) for sheet in read_book(name, data).sheets)
            _ask(found == rows, f"{rows} rows were written and {found} read")
        return _became(intakes)

    def read_sheet(self, name: str, data: bytes, _: int | None) -> set[str]:
        """A field sheet's file: its register tables, then its readings."""
        kinds = ingest.kinds_of(name, data)
        intakes = (
            ingest.read_register(name, data, self.tables, RECEIVED, "T1", alone=False) if "register" in kinds else []
        )
        if "readings" in kinds:
            intakes.append(self.judged(name, data, self.everything))
            _check_readings(intakes[-1])
        return _became(intakes)

    def read_photo(self, _: str, data: bytes, __: int | None) -> set[str]:
        """A photo without what the camera wrote: read again it stays as it is."""
        kept = bare(data).data
        _ask(bare(kept).data == kept, "what was kept is not bare")
        return {ALL_USED}


def became(kind: Kind, name: str, data: bytes, rows: int | None) -> set[str]:
    """What became of one file. Raises BrokenError, and whatever a reader should not raise."""
    try:
        return kind.read(name, data, rows)
    except IntakeError as error:
        _ask(bool(error.mend and error.where.file and error.expected), f"an error that does not help: {error}")
        _ask(len(str(error)) < 3_000, "an error longer than anybody reads")
        return {REFUSED}
    except NoPictureError as error:
        _ask(bool(str(error)), "an error that says nothing")
        return {REFUSED}


def _expected(rows: pa.Table) -> pa.Table | None:
    """Each visit's marks expected where they were read, with usual errors."""
    groups: dict[tuple[Any, ...], dict[str, float]] = {}
    for row in rows.to_pylist():
        if row["deflection_mm"] is not None and row["visit_date"]:
            key = (row["house"], row["wall"], row["visit_date"], row["method"])
            groups.setdefault(key, {})[row["mark"]] = row["deflection_mm"]
    found = [
        {"house": house, "wall": wall, "visit_date": day, "mark": mark, "method": method,
         "expected_deflection_mm": mean, "sd_mm": 1.6, "bow": 0.5, "others": list(marks),
         "spread_mm2": [0.1] * len(marks), "setup_mm2": [1.4 + (mark == other) for other in marks]}
        for (house, wall, day, method), marks in groups.items()
        for mark, mean in marks.items()
    ]  # fmt: skip
    return pa.Table.from_pylist(found) if found else None


def _check_readings(intake: Intake) -> None:
    counted = intake.used + intake.held + intake.rejected + intake.could_not_read
    _ask(intake.received == counted == intake.table.num_rows, f"{intake.received} received, {counted} with a state")
    rows = intake.table.to_pylist()
    _ask(all(bool(row["reason"]) == (row["state"] != "used") for row in rows), "a row not used without a reason")
    _ask(all(row["deflection_mm"] is not None for row in rows if row["state"] == "used"), "used without a deflection")
    _ask(len({row["reading_id"] for row in rows}) == len(rows), "two readings with one id")
    _ask(all(len(row["reason"]) < 3_000 for row in rows), "a reason longer than anybody reads")
    again = {"already-in", "twice-in-file"}
    _check_mend_sheet(
        intake, sum(row["state"] in ("held", "rejected") and row["reason_code"] not in again for row in rows)
    )


def _check_mend_sheet(intake: Intake, failing: int) -> None:
    """The mend sheet can be read, and has each failing row."""
    sheets = read_book("mend.csv", intake.mend_sheet).sheets if intake.mend_sheet else ()
    found = sum(len(sheet.lines) - 1 for sheet in sheets)
    _ask(found == failing, f"{failing} rows fail, and the mend sheet has {found}")


def _check_rows(name: str, data: bytes, intake: Intake, rows: int | None) -> None:
    """Rows read are those written; each below the headings is received or told of as left aside."""
    sheets = read_book(name, data).sheets
    found = sum(len(sheet.lines) for sheet in sheets)
    if rows is not None:
        _ask(found == rows, f"{rows} rows were written and {found} read")
    headed = [(sheet, *find_header(sheet, reading_names(), READING_NEEDS)) for sheet in sheets]
    below = sum(len(rows_below(sheet, header)) for sheet, header, whole in headed if whole)
    spoken = intake.received + sum("is no reading; left aside" in note for note in intake.notes)
    _ask(below == spoken, f"{below} rows below the headings, {spoken} spoken of")


def _became(intakes: Sequence[Intake]) -> set[str]:
    """In the words of the table; a file of which nothing is left over is refused by who asks for the rows."""
    found = {HELD} if any(intake.held for intake in intakes) else set()
    found |= {REJECTED} if any(intake.rejected for intake in intakes) else set()
    return found or ({ALL_USED} if any(intake.received for intake in intakes) else {REFUSED})


def _ask(holds: bool, else_: str) -> None:
    if not holds:
        raise BrokenError(else_)
