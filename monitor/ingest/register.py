"""Register files to rows of the register tables: one intake per table, bad rows rejected one by one and explained."""

import hashlib
import re
from datetime import datetime
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.errors import IntakeError, Where
from monitor.ingest import as_built
from monitor.ingest.cells import Book, Sheet, content_sha256
from monitor.ingest.columns import REGISTER_NEEDS, register_columns, register_names
from monitor.ingest.findings import CellError, Finding
from monitor.ingest.headers import Header, Row, beyond_headings, find_header, rows_below
from monitor.ingest.known import Every, Known
from monitor.ingest.mend import Failing, mend_sheet
from monitor.ingest.reader import read_book
from monitor.ingest.register_cells import read_cell
from monitor.ingest.register_rules import faults, notes
from monitor.ingest.sort_of_file import holds_readings, refuse_readings
from monitor.ingest.values import day_first, is_blank
from monitor.records import dataclass, field
from monitor.results import Intake
from monitor.terms import State

_ASIDE = "left aside, readings; send them with `wallbow ingest`."


@dataclass
class _Entry:
    """A register row under way."""

    row: Row
    sheet: Sheet
    values: dict[str, Any]
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def read_register(
    name: str,
    data: bytes,
    tables: schema.Tables,
    received_at: datetime,
    sender: str,
    *,
    alone: bool = True,
    every: Every | None = None,
) -> list[Intake]:
    """Read a register file (CSV, or XLSX with one or more tables) against the register as known, `tables`.

    alone: nobody takes in the file's readings besides, so that they are said to be left aside. every: as for Known,
    where `tables` have only what bears on what the file names.

    One Intake per table found, in the order of schema.REGISTER, so that a wall may stand in the same file as its house.
    Raises IntakeError where no table is recognised.
    """
    del sender  # it stands in the receipt, not in the rows
    book = read_book(name, data)
    found, left_aside = tables_of(book, alone)
    known = Known(tables, every)
    intakes: list[Intake] = []
    for table in schema.REGISTER:
        parts = [(sheet, header) for sheet, header, named in found if named == table]
        if parts:
            said = [*book.notes, *left_aside] if not intakes else []
            intakes.append(_intake(book, table, parts, known, received_at, said))
    return intakes


def tables_of(book: Book, alone: bool) -> tuple[list[tuple[Sheet, Header, str]], list[str]]:
    """Each sheet with its headings and table, and notes on sheets that are no register table.

    Raises IntakeError where none is.
    """
    found, left_aside = [], []
    readings = [sheet for sheet in book.sheets if holds_readings(sheet)]
    if len(readings) == len(book.sheets):
        raise refuse_readings(book, readings[0])
    for sheet in book.sheets:
        if sheet in readings:
            left_aside += [f"{Where(book.name, sheet.name)}: {_ASIDE}"] if alone else []
            continue
        named = _named(sheet.name) or (_named(book.name) if len(book.sheets) == 1 else "")
        table, header = _by_columns(sheet, (named,) if named else schema.REGISTER)
        if table:
            found.append((sheet, header, table))
        elif named:
            raise _without_needs(book, sheet, header, named)
        else:
            left_aside.append(f"{Where(book.name, sheet.name)}: left aside, no table of the register.")
    if not found:
        sheet = book.sheets[0]
        raise _without_needs(book, sheet, _by_columns(sheet, schema.REGISTER)[1], "")
    return found, left_aside


def _named(text: str) -> str:
    """The register table that a sheet's or file's name names, in the singular or plural; '' where it names none."""
    stem = re.sub(r"\.[a-z]+$", "", text.lower())
    tokens = set(re.split(r"[^a-z]+", stem))
    hits = [table for table in schema.REGISTER if {table, table.removesuffix("s")} & tokens]
    hits += ["people"] if "person" in tokens else []
    return hits[0] if len(hits) == 1 else ""


def _by_columns(sheet: Sheet, tables: tuple[str, ...]) -> tuple[str, Header]:
    """The table whose needed columns the sheet has and of which it has most columns; '' where it has none's."""
    looked = [(table, *find_header(sheet, register_names(table), REGISTER_NEEDS[table])) for table in tables]
    table, header, whole = max(looked, key=lambda item: (item[2], len(item[1].columns)))
    return table if whole else "", header


def _without_needs(book: Book, sheet: Sheet, header: Header, table: str) -> IntakeError:
    wanted = (
        f"the columns {', '.join(REGISTER_NEEDS[table])} of {table}"
        if table
        else "; ".join(f"{each}: {', '.join(needs)}" for each, needs in REGISTER_NEEDS.items())
    )
    return IntakeError(
        "The needed headings of a register table are not there.",
        where=Where(file=book.name, sheet=sheet.name, row=header.row),
        got=header.shown,
        expected=wanted,
        mend="Name the columns so; order, case and further columns do not matter.",
    )


def _intake(
    book: Book, table: str, parts: list[tuple[Sheet, Header]], known: Known, received_at: datetime, said: list[str]
) -> Intake:
    source = content_sha256([sheet for sheet, _ in parts])
    read = [(sheet, rows_below(sheet, header)) for sheet, header in parts]
    said = [*said, *beyond_headings(book.name, read)]
    entries = [_Entry(row, sheet, {}) for sheet, rows in read for row in rows]
    entries = [entry for entry in entries if _says_something(entry.row, table)]
    order = day_first(
        entry.row.text(column)
        for entry in entries
        for column in register_columns(table)
        if pa.types.is_date(schema.find(table).field(column).type)
    )
    taken: dict[tuple[str, ...], int] = {}
    for entry in entries:
        _judge(entry, table, known, order, received_at)
        _once(entry, table, taken)
        if not entry.findings:
            entry.values |= _provenance(table, source, book, entry, received_at)
            known.add(table, entry.values)
            entry.notes += notes(table, entry.values, entry.row)
    return _result(book, table, source, entries, said)


def _says_something(row: Row, table: str) -> bool:
    return any(not is_blank(row.text(column)) for column in register_columns(table))


def _judge(entry: _Entry, table: str, known: Known, order: bool | None, received_at: datetime) -> None:
    """Read every cell, ask for the needed ones, and hold the row to the register's rules."""
    row, values = entry.row, entry.values
    if table == "events":
        values["doubts"] = ""
    for column in register_columns(table):
        try:
            values[column] = read_cell(table, column, row, order)
        except CellError as error:
            values[column] = "" if schema.find(table).field(column).type == "string" else None
            if table == "events" and column in as_built.COLUMNS:
                values["doubts"] = "; ".join(filter(None, [values["doubts"], f"cannot be read: {error.finding.wrong}"]))
            else:
                entry.findings.append(error.finding)
    for column in REGISTER_NEEDS[table]:
        if is_blank(row.text(column)):
            wrong = f"{row.at(column)} is blank: {column.replace('_', ' ')} expected."
            entry.findings.append(Finding(State.REJECTED, "blank", wrong, "Write it."))
    if "house" in values and "wall" in values:
        values["house"], values["wall"] = known.split_wall(values["house"], values["wall"])
    if all(values[column] not in (None, "") for column in REGISTER_NEEDS[table]):
        entry.findings += faults(table, values, row, known, received_at.date())
    if table == "events" and not values["event_id"]:
        # Of what names the event, not of all its cells: a corrected as-built record is the same reinforcement.
        said = "\n".join(str(values[column]) for column in ("house", "wall", "event_date", "kind", "marks"))
        values["event_id"] = hashlib.sha256(said.encode()).hexdigest()[:16]


def _once(entry: _Entry, table: str, taken: dict[tuple[str, ...], int]) -> None:
    """Of two rows of one file with one key nobody can say which stands."""
    key = tuple(str(entry.values[part]).casefold() for part in schema.KEY[table])
    if not entry.findings and key in taken:
        wrong = f"Row {entry.row.number}: row {taken[key]} is the same {' '.join(schema.KEY[table])} already."
        entry.findings.append(Finding(State.REJECTED, "twice-in-file", wrong, "Keep one of them."))
    taken.setdefault(key, entry.row.number)


def _provenance(table: str, source: str, book: Book, entry: _Entry, received_at: datetime) -> dict[str, Any]:
    known_from = {
        "source_sha256": source,
        "source_name": book.name,
        "source_sheet": entry.sheet.name,
        "source_row": entry.row.number,
        "known_at": received_at,
    }
    return {name: value for name, value in known_from.items() if name in schema.find(table).names}


def _result(book: Book, table: str, source: str, entries: list[_Entry], said: list[str]) -> Intake:
    good = [entry.values for entry in entries if not entry.findings]
    bad = [entry for entry in entries if entry.findings]
    return Intake(
        source_name=book.name,
        source_sha256=source,
        file_sha256=book.file_sha256,
        holds=table,
        table=pa.Table.from_pylist(good, schema=schema.find(table)),
        received=len(entries),
        used=len(good),
        held=0,
        rejected=len(bad),
        could_not_read=0,
        messages=[
            f"{Where(book.name, entry.sheet.name)}, {' '.join(finding.reason for finding in entry.findings)}"
            for entry in bad
        ],
        mend_sheet=mend_sheet([_failing(entry) for entry in bad]),
        notes=[*said, *(f"{Where(book.name, e.sheet.name)}, {note}" for e in entries for note in e.notes)],
    )


def _failing(entry: _Entry) -> Failing:
    return Failing(
        titles=entry.row.header.titles,
        cells=[cell.text for cell in entry.row.line.cells],
        wrong=" ".join(finding.wrong for finding in entry.findings),
        mend=" ".join(finding.mend for finding in entry.findings),
    )
