"""A file of readings to judged rows: every row ends used, held, rejected or could-not-read, with its reason."""

import hashlib
import re
from collections.abc import Sequence
from contextlib import suppress
from datetime import date, datetime
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.config import Rules
from monitor.errors import IntakeError, Where
from monitor.ingest import checks
from monitor.ingest.cells import Book, Cell, Sheet, content_sha256, sheet_key
from monitor.ingest.columns import READING_NEEDS, reading_names
from monitor.ingest.draft import Draft, Setting
from monitor.ingest.expectation import Expectations
from monitor.ingest.findings import CellError, Finding
from monitor.ingest.geometry import needs_standoff
from monitor.ingest.headers import Header, Row, beyond_headings, find_header, rows_below
from monitor.ingest.history import History, earlier_rows, settled
from monitor.ingest.judge import judge
from monitor.ingest.known import Every, Known
from monitor.ingest.mend import Failing, mend_sheet
from monitor.ingest.reader import read_book
from monitor.ingest.sort_of_file import refuse_register, register_table
from monitor.ingest.value import judge_correction_value
from monitor.ingest.values import day_first, parse_date
from monitor.results import Intake
from monitor.terms import Kind, Method, State

_ALREADY_IN = "already-in"
_ADDS_NOTHING = frozenset({_ALREADY_IN, "twice-in-file"})
_TOTAL = re.compile(r"(grand |sub)?(total|sum|average|mean|count|max|min)\b.*", re.I)
_NAMED = 8
"""Columns that are named in a sentence."""
_TELLING = ("wall", "visit_date", "mark", "value")


def read_readings(
    name: str,
    data: bytes,
    tables: schema.Tables,
    earlier: pa.Table,
    received_at: datetime,
    sender: str,
    today: date,
    expected: pa.Table | None = None,
    rules: Rules | None = None,
    *,
    alone: bool = True,
    every: Every | None = None,
) -> Intake:
    """Judge a file of readings (CSV or XLSX) against the register `tables` and the readings in the store.

    expected: what the visits' marks were expected to read (expectation.COLUMNS); of what it does not have nothing is.
    rules: how far inward a reading in doubt asks for a re-read at once; the defaults where not given.
    alone: nobody takes in the file's register tables besides, so that they are said to be left aside.
    every: as for Known, where `tables` and `earlier` have only what bears on what the file names.

    Raises IntakeError where nothing in the file can be read as a table of readings; a bad row never does.
    """
    del sender  # it stands in the receipt, not in the rows
    book = read_book(name, data)
    source = content_sha256(book.sheets)
    found, notes = _tables_of(book, alone)
    read = [(sheet, rows_below(sheet, header)) for sheet, header in found]
    drafts = [_draft(row, book, sheet, source, received_at) for sheet, rows in read for row in rows]
    drafts, left_aside = _without_totals(drafts)
    known = Known(tables, every)
    houses = {known.split_wall(d.row.text("house"), d.row.text("wall"))[0] for d in drafts}
    setting = Setting(
        known=known,
        history=History(earlier_rows(earlier, houses, source)),
        day_first=day_first(draft.row.text("visit_date") for draft in drafts),
        today=today,
        upload_days=frozenset({today, received_at.date()}),
        expected=Expectations(expected, known),
        rules=rules or Rules(),
    )
    done = settled(earlier, source)
    for draft in drafts:
        judge(draft, setting)
        if fate := done.get(draft.values["reading_id"]):
            wrong = f"{draft.at}: this reading is in already, {fate}."
            draft.findings = [Finding(State.REJECTED, _ALREADY_IN, wrong, "Nothing to do.")]
    checks.run(drafts, setting)
    notes += beyond_headings(book.name, read)
    noted = [*book.notes, *notes, *left_aside, *(_said(d, note) for d in drafts for note in d.notes)]
    return _intake(book, source, drafts, noted)


def visits_named(name: str, data: bytes, tables: schema.Tables) -> set[tuple[str, date]]:
    """The houses that a file of readings names, each with the days of its visits; what cannot be read is left out.

    Raises IntakeError as `read_readings` does.
    """
    book = read_book(name, data)
    rows = [row for sheet, header in _tables_of(book)[0] for row in rows_below(sheet, header)]
    known, order = Known(tables), day_first(row.text("visit_date") for row in rows)
    found = set()
    for row in rows:
        house, _ = known.split_wall(row.text("house"), row.text("wall"))
        with suppress(CellError):
            found.add((house, parse_date(row.cell("visit_date"), row.at("visit_date"), order)))
    return found


def judge_correction(
    reading_row: dict[str, Any], value_raw: str, unit: str, tables: schema.Tables
) -> tuple[float, float]:
    """Millimetres and deflection of a corrected value, by that reading's own method, kind and stand-off.

    Raises LengthError where the value is no length, IntakeError where the reading lacks what the value means.
    """
    del tables  # the reading carries the stand-off that was used
    if not reading_row["method"] or not reading_row["kind"]:
        raise _cannot_correct(reading_row, "its method or kind is not known")
    kind = Kind(reading_row["kind"])
    if needs_standoff(Method(reading_row["method"]), kind) and reading_row["standoff_mm"] is None:
        raise _cannot_correct(reading_row, "its stand-off is not known")
    return judge_correction_value(value_raw, unit, kind, reading_row["standoff_mm"])


def _cannot_correct(row: dict[str, Any], why: str) -> IntakeError:
    return IntakeError(
        f"Reading {row['reading_id']} cannot be corrected: {why}.",
        where=Where(row["source_name"], row["source_sheet"], row["source_row"], row["source_cell"]),
        expected="a reading with method, kind and, for a gap to a string, a stand-off",
        mend=f"Send the whole row again with {row['reading_id']} under mends.",
    )


def _tables_of(book: Book, alone: bool = True) -> tuple[list[tuple[Sheet, Header]], list[str]]:
    """Sheets with the headings of readings, and notes on the others; IntakeError where there is none."""
    looked = [(sheet, *find_header(sheet, reading_names(), READING_NEEDS)) for sheet in book.sheets]
    found = [(sheet, header) for sheet, header, whole in looked if whole]
    if not found:
        for other in book.sheets:
            if table := register_table(other):
                raise refuse_register(book, other, table)
        sheet, header, _ = max(looked, key=lambda item: len(item[1].columns))
        raise IntakeError(
            "No row of the file has the headings of a table of readings.",
            where=Where(file=book.name, sheet=sheet.name, row=header.row),
            got=header.shown,
            expected=f"at least {_listed(list(READING_NEEDS))}; not found: "
            + _listed([need for need in READING_NEEDS if need not in header.columns]),
            mend="Name the columns so; order, case and further columns do not matter.",
        )
    for sheet, header in found:
        _refuse_doubled(book, sheet, header)
    notes = [
        f"{Where(book.name, sheet.name)}: of the columns {_shown(titles)} only the first is read."
        for sheet, header in found
        for titles in header.doubled.values()
    ]
    notes += [
        f"{Where(book.name, sheet.name)}: row {line.number} stands above the headings; left aside"
        f" ({Header(line.number, tuple(cell.text for cell in line.cells), {}, {}, {}).shown})."
        for sheet, header in found
        for line in sheet.lines
        if line.number < header.row and sum(bool(cell.text) for cell in line.cells) >= len(READING_NEEDS)
    ]
    notes += [
        f"{Where(book.name, sheet.name)}: left aside, no headings of readings ({header.shown})."
        for sheet, header, whole in looked
        if not whole and (alone or not register_table(sheet))
    ]
    return found, notes


def _refuse_doubled(book: Book, sheet: Sheet, header: Header) -> None:
    """Two columns for one thing that decides the reading: nobody can say which counts."""
    for column, titles in header.doubled.items():
        if column in (*READING_NEEDS, "house", "unit", "kind", "standoff", "setup", "method"):
            raise IntakeError(
                f"Two columns can both be the {column.replace('_', ' ')}.",
                where=Where(file=book.name, sheet=sheet.name, row=header.row),
                got=_shown(titles),
                expected=f"one column named {column}",
                mend="Rename or delete one of them.",
            )


def _shown(titles: Sequence[str]) -> str:
    return _listed([Cell(title).shown for title in titles[:_NAMED]])


def _listed(names: list[str]) -> str:
    return ", ".join(name.replace("_", " ") for name in names) or "nothing"


def _draft(row: Row, book: Book, sheet: Sheet, source: str, received_at: datetime) -> Draft:
    key = f"{source}\n{sheet_key(sheet, book.sheets)}\n{row.number}"
    values: dict[str, Any] = {field.name: "" if field.type == "string" else None for field in schema.READINGS}
    values |= {
        "reading_id": hashlib.sha256(key.encode()).hexdigest()[:16],
        "note": row.text("note"),
        "error_factor": 1.0,
        "source_cell": row.at("value"),
        "source_sha256": source,
        "source_name": book.name,
        "source_sheet": sheet.name,
        "source_row": row.number,
        "known_at": received_at,
    }
    return Draft(row, sheet.name, values)


def _without_totals(drafts: list[Draft]) -> tuple[list[Draft], list[str]]:
    """Rows that can be readings, and notes on those that are a total, a signature or the like."""
    kept, notes = [], []
    for draft in drafts:
        first = next(cell.shown for cell in draft.row.line.cells if cell.text)
        says_where_or_when = draft.row.text("wall") or draft.row.text("visit_date")
        tells = [name for name in _TELLING if draft.row.text(name)]
        if not tells or (_TOTAL.fullmatch(first) and not says_where_or_when):
            notes.append(_said(draft, f"Row {draft.row.number} ('{first}') is no reading; left aside."))
        else:
            kept.append(draft)
    return kept, notes


def _said(draft: Draft, text: str) -> str:
    return f"{Where(draft.values['source_name'], draft.sheet)}, {text}"


def _intake(book: Book, source: str, drafts: list[Draft], notes: list[str]) -> Intake:
    rows = [draft.stored() for draft in drafts]
    states = [row["state"] for row in rows]
    failing = [
        Failing(
            titles=draft.row.header.titles,
            cells=[cell.text for cell in draft.row.line.cells],
            wrong=" ".join(finding.wrong for finding in draft.findings),
            mend=" ".join(finding.mend for finding in draft.findings),
            mends=row["reading_id"],
        )
        for draft, row in zip(drafts, rows, strict=True)
        if draft.findings and row["reason_code"] not in _ADDS_NOTHING
    ]
    return Intake(
        source_name=book.name,
        source_sha256=source,
        file_sha256=book.file_sha256,
        holds="readings",
        table=pa.Table.from_pylist(rows, schema=schema.READINGS),
        received=len(rows),
        used=states.count(State.USED),
        held=states.count(State.HELD),
        rejected=states.count(State.REJECTED),
        could_not_read=states.count(State.COULD_NOT_READ),
        already_in=sum(row["reason_code"] == _ALREADY_IN for row in rows),
        messages=[
            _said(draft, row["reason"]) for draft, row in zip(drafts, rows, strict=True) if row["state"] != State.USED
        ],
        mend_sheet=mend_sheet(failing),
        notes=notes,
    )
