"""Files in: received bytes to judged rows to the store, with a receipt of every file.

Judging and storing are one step that no other writer comes between, so that what one file says twice another way is
seen whoever sends it.
"""

from collections.abc import Collection, Sequence
from datetime import date, datetime

import pyarrow as pa

from monitor import schema
from monitor.pipeline import judging
from monitor.pipeline.judging import Judged
from monitor.pipeline.judging import current_register as current_register
from monitor.records import dataclass
from monitor.results import Intake
from monitor.store import Store
from monitor.store.generations import Wall


@dataclass(frozen=True)
class Taken:
    """What became of one received table: the intake, how many of its rows are new; where none is, when it first came.

    walls: those on which the new rows have a bearing, once they are stored.
    """

    intake: Intake
    added: int
    first_received: datetime | None
    walls: Collection[Wall] = ()


def take_visit(store: Store, name: str, data: bytes, *, received_at: datetime, sender: str, today: date) -> list[Taken]:
    """Take in a file of readings, or all tables of a field sheet's file; one result per table.

    Raises IntakeError where nothing of it can be taken in.
    """
    with store.taking_in():
        known = judging.known_of(store, [(name, data)])
        found = judging.judged_visit(store, known, name, data, received_at=received_at, sender=sender, today=today)
        return keep(store, name, data, found, received_at=received_at, sender=sender)


def preview_visit(
    store: Store, name: str, data: bytes, *, received_at: datetime, sender: str, today: date
) -> list[Taken]:
    """What `take_visit` would do, with nothing written."""
    known = judging.known_of(store, [(name, data)])
    found = judging.judged_visit(store, known, name, data, received_at=received_at, sender=sender, today=today)
    return [preview(each) for each in found]


def take_register(store: Store, name: str, data: bytes, *, received_at: datetime, sender: str) -> list[Taken]:
    """Take in a register file (CSV or XLSX, one or more tables).

    Raises IntakeError where no table in it is known; single bad rows are rejected with a reason and a mend sheet.
    """
    with store.taking_in():
        known = judging.known_of(store, [(name, data)])
        found = judging.judged_register(store, known, name, data, received_at=received_at, sender=sender)
        return keep(store, name, data, found, received_at=received_at, sender=sender)


def take_readings(store: Store, name: str, data: bytes, *, received_at: datetime, sender: str, today: date) -> Taken:
    """Take in a file of readings. The same content twice adds nothing; a row that failed before and would now be
    used (because the register grew) is added again and stands.
    """
    with store.taking_in():
        known = judging.known_of(store, [(name, data)])
        found = judging.judged_readings(store, known, name, data, received_at=received_at, sender=sender, today=today)
        return keep(store, name, data, [found], received_at=received_at, sender=sender)[0]


def preview_readings(store: Store, name: str, data: bytes, *, received_at: datetime, sender: str, today: date) -> Taken:
    """What `take_readings` would do, with nothing written."""
    known = judging.known_of(store, [(name, data)])
    return preview(
        judging.judged_readings(store, known, name, data, received_at=received_at, sender=sender, today=today)
    )


def preview(found: Judged) -> Taken:
    """What taking in would say of it."""
    return Taken(found.intake, found.fresh.num_rows, found.first_received)


def keep(
    store: Store, name: str, data: bytes, found: Sequence[Judged], *, received_at: datetime, sender: str
) -> list[Taken]:
    """Store exactly what was judged, and the file and its receipts; to be called within `store.taking_in()`."""
    store.keep_file(data, name)
    return [_keep(store, each, received_at, sender, len(data)) for each in found]


def _keep(store: Store, found: Judged, received_at: datetime, sender: str, size: int) -> Taken:
    intake, fresh = found.intake, found.fresh
    if intake.holds == "people":
        store.office.put_people(intake.table)
        added = intake.table.num_rows
    else:
        added = fresh.num_rows if fresh.num_rows and store.add(intake.holds, fresh) else 0
    came = None if added else found.first_received or judging.first_received(store, intake)
    _receipt(store, intake, received_at, sender, size)
    return Taken(intake, added, came, judging.touched(store, [found]) if added else ())


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
