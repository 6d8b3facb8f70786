"""Files in: received bytes to judged rows to the store, with a receipt of every file."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import pyarrow as pa
import pyarrow.compute as pc

from monitor import ingest, schema
from monitor.errors import IntakeError, Where
from monitor.pipeline.assessing import settings_on
from monitor.pipeline.expecting import expected_at
from monitor.results import Intake
from monitor.store import Store
from monitor.terms import State


@dataclass(frozen=True)
class Taken:
    """What became of one received table: the intake, how many of its rows are new, and when it first came (or None)."""

    intake: Intake
    added: int
    first_received: datetime | None


def take_register(store: Store, name: str, data: bytes, *, received_at: datetime, sender: str) -> list[Taken]:
    """Take in a register file (CSV or XLSX, one or more tables).

    Raises IntakeError where no table in it is known; single bad rows are rejected with a reason and a mend sheet.
    """
    tables = current_register(store)
    intakes = ingest.read_register(name, data, tables, received_at=received_at, sender=sender)
    _refuse_empty(name, intakes)
    store.keep_file(data, name)
    return [_keep_register(store, intake, received_at, sender, len(data)) for intake in intakes]


def _keep_register(store: Store, intake: Intake, received_at: datetime, sender: str, size: int) -> Taken:
    before = _first_received(store, intake)
    if intake.holds == "people":
        store.office.put_people(intake.table)
        added = intake.table.num_rows
    else:
        fresh = _not_yet_known(intake.table, store.current(intake.holds), schema.KEY[intake.holds])
        added = fresh.num_rows if fresh.num_rows and store.add(intake.holds, fresh) else 0
    _receipt(store, intake, received_at, sender, size)
    return Taken(intake, added, before)


def take_readings(store: Store, name: str, data: bytes, *, received_at: datetime, sender: str, today: date) -> Taken:
    """Take in a file of readings. The same content twice adds nothing; a row that failed before and would now be
    used (because the register grew) is added again and stands.
    """
    earlier = store.readings()
    intake = _judged(store, name, data, earlier, received_at, sender, today)
    before = _first_received(store, intake)
    store.keep_file(data, name)
    fresh = _fresh_readings(intake.table, earlier)
    if fresh.num_rows:
        store.add("readings", fresh)
    _receipt(store, intake, received_at, sender, len(data))
    return Taken(intake, fresh.num_rows, before)


def preview_readings(store: Store, name: str, data: bytes, *, received_at: datetime, sender: str, today: date) -> Taken:
    """What `take_readings` would do, with nothing written."""
    earlier = store.readings()
    intake = _judged(store, name, data, earlier, received_at, sender, today)
    return Taken(intake, _fresh_readings(intake.table, earlier).num_rows, _first_received(store, intake))


def _judged(
    store: Store, name: str, data: bytes, earlier: pa.Table, received_at: datetime, sender: str, today: date
) -> Intake:
    """The file judged against register, stored readings, and what the model expects of the walls it names."""
    tables = current_register(store)
    visits = ingest.visits_named(name, data, tables)
    expected = expected_at(store, visits, tables, earlier, received_at)
    rules = settings_on(store, today, received_at).rules
    intake = ingest.read_readings(name, data, tables, earlier, received_at, sender, today, expected, rules)
    _refuse_empty(name, [intake])
    return intake


def _refuse_empty(name: str, intakes: Sequence[Intake]) -> None:
    """Headings without any row below them are hardly what somebody meant to send."""
    if not any(intake.received for intake in intakes):
        raise IntakeError(
            "The file has headings and no row below them; nothing was taken in.",
            where=Where(file=name),
            expected=f"rows of {' and '.join(intake.holds for intake in intakes)}",
            mend="Look whether the right file was sent.",
        )


def current_register(store: Store) -> dict[str, pa.Table]:
    """The register as known now, people included."""
    return {name: store.office.people() if name == "people" else store.current(name) for name in schema.REGISTER}


def _fresh_readings(rows: pa.Table, earlier: pa.Table) -> pa.Table:
    """Rows that the store does not have, or has only as not used while they would be used now."""
    known = dict(zip(earlier["reading_id"].to_pylist(), earlier["state"].to_pylist(), strict=True))
    keep = [
        reading not in known or (known[reading] in (State.REJECTED, State.HELD) and state == State.USED)
        for reading, state in zip(rows["reading_id"].to_pylist(), rows["state"].to_pylist(), strict=True)
    ]
    return rows.filter(pa.array(keep, pa.bool_()))


def _not_yet_known(rows: pa.Table, current: pa.Table, key: tuple[str, ...]) -> pa.Table:
    """Register rows that are new or differ from what stands, provenance aside."""
    provenance = {"source_sha256", "source_name", "source_sheet", "source_row", "known_at"}
    said = [name for name in rows.column_names if name not in provenance]
    standing = {tuple(row[part] for part in key): row for row in current.select(said).to_pylist()}
    keep = [standing.get(tuple(row[part] for part in key)) != row for row in rows.select(said).to_pylist()]
    return rows.filter(pa.array(keep, pa.bool_()))


def _first_received(store: Store, intake: Intake) -> datetime | None:
    receipts = store.facts("receipts")
    same = receipts.filter(pc.equal(receipts["source_sha256"], intake.source_sha256))
    return pc.min(same["known_at"]).as_py() if same.num_rows else None


def _receipt(store: Store, intake: Intake, received_at: datetime, sender: str, size: int) -> None:
    row = {
        "source_sha256": intake.source_sha256,
        "file_sha256": intake.file_sha256,
        "source_name": intake.source_name,
        "sender": sender,
        "holds": intake.holds,
        "bytes": size,
        "received": intake.received,
        "used": intake.used,
        "held": intake.held,
        "rejected": intake.rejected,
        "could_not_read": intake.could_not_read,
        "known_at": received_at,
    }
    store.add("receipts", pa.Table.from_pylist([row], schema=schema.RECEIPTS))
