"""What is known of a person, and its erasure on request: the row, and the rows of the files that it came in with.

Readings, rulings and decisions name people by id alone, and stay as they are: with the row gone the id says nothing.
What somebody wrote into a note is part of a record that is never changed; it is found and told, not altered.
"""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pyarrow as pa

from monitor import ingest, schema
from monitor.errors import NotFoundError, Where
from monitor.ingest.known import nearest
from monitor.pipeline import legal_holds
from monitor.pipeline.runs import row_id
from monitor.pipeline.who import RulingError, who_and_why
from monitor.pipeline.who import person as registered
from monitor.records import dataclass
from monitor.report.context import Row
from monitor.store import Store
from monitor.store.store import OUTBOX
from monitor.terms import STAFF, AccountState, Role

PERSONAL = ("house", "name", "phone", "email", "note")
"""Columns of people that say who somebody is."""
_SOUGHT = ("name", "phone", "email")
_ACTING = (
    ("readings", "technician"), ("rulings", "who"), ("thresholds", "signed_by"), ("receipts", "sender"),
    ("decisions", "who"), ("decisions", "owner"), ("news", "told_by"), ("photos", "who"), ("photo_rulings", "who"),
    ("links", "person"), ("links", "who"), ("links_ended", "who"), ("accounts", "account"), ("audit", "who"),
    ("alert_sendings", "person"), ("alert_acknowledgements", "who"),
)  # fmt: skip
"""Tables and columns that name a person by id."""


@dataclass(frozen=True)
class About:
    """All that the store knows of a person.

    row: of schema.PEOPLE. acted: for (table, column) the number of rows that bear the id. written: places where name,
    phone or mail address stand in a text that is no row of the register of people. hold: what forbids erasing, or None.
    """

    row: Row
    acted: dict[tuple[str, str], int]
    written: list[str]
    hold: Row | None


@dataclass(frozen=True)
class Erased:
    """What was emptied (row of schema.ERASURES), and where name, phone or address still stand, as in About.written."""

    row: Row
    written: list[str]


def about(store: Store, person: str) -> About:
    """All that is known of a person. Raises NotFoundError."""
    row = _row(store, person)
    acted = {
        (table, column): count
        for table, column in _ACTING
        if (count := _rows(store, table)[column].to_pylist().count(row["person"]))
    }
    return About(row, acted, list(_written(store, row)), legal_holds.against(store, row["house"]))


def erase(store: Store, person: str, *, who: str, why: str, made_at: datetime) -> Erased:
    """Empty a person's row and their rows in received files, for good, and record that it was done.

    Erased once more, whatever an interrupted erasure left is taken away. Raises NotFoundError, RulingError where the
    person may still sign in or a hold stands, StoreError.
    """
    who_and_why(who, why)
    who = registered(store, who, STAFF)
    with store.taking_in():
        row = _row(store, person)
        _may_be_erased(store, row)
        bare = _bare_files(store, row["person"])
        for old, (name, data) in bare.items():
            bare[old] = (store.keep_file(data, name), data)
        done: dict[str, Any] = {
            "person": row["person"],
            "columns": " ".join(column for column in PERSONAL if row[column]),
            "files": " ".join(f"{old}>{new}" for old, (new, _) in bare.items()),
            "who": who,
            "why": why.strip(),
            "known_at": made_at,
        }
        done["erasure_id"] = row_id(done)
        nobody = dict.fromkeys(PERSONAL, "") | {"role": Role.ERASED.value, "known_at": made_at}
        store.office.replace_person({**row, **nobody}, done)
        for old in replaced_files(store):
            store.drop_file(old)
        return Erased(done, list(_written(store, row)))


def replaced_files(store: Store) -> dict[str, str]:
    """For each received file of which an erasure left a bare copy only, by SHA-256, the SHA-256 of that copy."""
    pairs = [pair.partition(">") for row in store.office.rows("erasures") for pair in row["files"].split()]
    return {old: new for old, _, new in pairs}


def _may_be_erased(store: Store, row: Row) -> None:
    accounts = store.office.rows("accounts", account=row["person"])
    if accounts and accounts[-1]["state"] == AccountState.OPEN:
        raise RulingError(
            "This person may still sign in.",
            got=f"an open account of {row['person']}",
            mend=f"Run `wallbow account close {row['person']}` first.",
        )
    hold = legal_holds.against(store, row["house"])
    if hold:
        raise RulingError(
            "A hold for a dispute stands, so nothing known of this person may be erased.",
            where=Where(wall=hold["house"]) if hold["house"] else None,
            got=f"placed by {hold['who']} on {hold['known_at']:%Y-%m-%d}: {hold['why']}",
            mend="Erase once the hold is lifted (`wallbow legal-hold --lift`), by who may decide that.",
        )


def _bare_files(store: Store, person: str) -> dict[str, tuple[str, bytes]]:
    """Received files with rows of the person, by SHA-256: name, and the bytes without what they say of them."""
    newer = replaced_files(store)
    bare: dict[str, tuple[str, bytes]] = {}
    for receipt in store.facts("receipts").to_pylist():
        if receipt["holds"] != "people":
            continue
        at = receipt["file_sha256"]
        while at in newer:
            at = newer[at]
        data = store.received_file(at)
        found = ingest.without_person(receipt["source_name"], data, person) if data is not None else None
        if found is not None:
            bare[at] = (receipt["source_name"], found)
    return bare


def _row(store: Store, person: str) -> Row:
    rows: dict[str, Row] = {row["person"].casefold(): row for row in store.office.people().to_pylist()}
    found = rows.get(person.strip().casefold())
    if found is None:
        raise NotFoundError(
            "Nobody with this person id is registered.",
            got=person,
            expected=nearest(person, [row["person"] for row in rows.values()]),
        )
    return found


def _rows(store: Store, table: str) -> pa.Table:
    if table in schema.FACTS:
        return store.facts(table)
    return pa.Table.from_pylist(store.office.rows(table), schema=schema.find(table))


def _written(store: Store, row: Row) -> Iterator[str]:
    """Places where what the row says of the person is written elsewhere: columns of tables, and received files."""
    sought = [row[column].casefold() for column in _SOUGHT if row[column]]
    if not sought:
        return
    for table in (*schema.FACTS, *schema.OFFICE):
        rows = _rows(store, table)
        for field in rows.schema if table != "people" else ():
            if pa.types.is_string(field.type):
                texts = rows[field.name].unique().to_pylist()
                count = sum(any(one in (text or "").casefold() for one in sought) for text in texts)
                if count:
                    yield f"{table}, column {field.name}: {count} {'text' if count == 1 else 'texts'}"
    for path in sorted((store.path / OUTBOX).glob("*")):
        if any(one in path.read_text("utf-8", "replace").casefold() for one in sought):
            yield f"a mail in the outbox, {OUTBOX}/{path.name}"
    newer = replaced_files(store)
    for receipt in {row["file_sha256"]: row for row in store.facts("receipts").to_pylist()}.values():
        data = store.received_file(receipt["file_sha256"])
        if data is not None and receipt["file_sha256"] not in newer and receipt["holds"] != "people":
            text = ingest.text_of(receipt["source_name"], data).casefold()
            if any(one in text for one in sought):
                yield f"the received file {receipt['source_name']}, kept as files/{receipt['file_sha256'][:12]}..."
