"""What people rule on readings and decide about walls, always with who and why, always as new rows."""

from collections.abc import Collection
from datetime import date, datetime
from hashlib import sha256

import pyarrow as pa
import pyarrow.compute as pc

from monitor import ingest, schema
from monitor.pipeline import keys
from monitor.pipeline.as_judged import is_suspect
from monitor.pipeline.intake import current_register
from monitor.pipeline.who import RulingError, person, who_and_why
from monitor.store import Store
from monitor.terms import DESK, STAFF, Act, State, Step


def rule(
    store: Store,
    reading: str,
    act: Act,
    *,
    who: str,
    why: str,
    made_at: datetime,
    value: str = "",
    unit: str = "",
    set_aside: Collection[str] = (),
) -> dict[str, object]:
    """Release, reject or correct one reading, or withdraw the last ruling on it; returns the ruling, and its wall.

    reading: its id or the beginning of one that is unique. set_aside: ids of readings that whoever rules was shown as
    held, by a look at the wall newer than the stored assessment. Raises NotFoundError, RulingError, LengthError.
    """
    who_and_why(who, why)
    who = person(store, who, DESK)
    row = find_reading(store, reading)
    reading_id = str(row["reading_id"])
    suspect = row["state"] == State.USED and (reading_id in set_aside or is_suspect(store, reading_id))
    if act is Act.RELEASE and row["state"] != State.HELD and not suspect:
        raise RulingError(
            "Only a held reading can be released.",
            got=f"reading {row['reading_id']} is {row['state']}",
            mend="To change a value use correct; to take back a ruling use withdraw.",
        )
    if act is Act.RELEASE and row["deflection_mm"] is None:
        raise RulingError(
            "This reading was held because its value could not be read as a length, so there is nothing to release.",
            got=str(row["value_raw"]),
            mend="Give the value with correct.",
        )
    value_mm, deflection_mm = None, None
    if act is Act.CORRECT:
        value_mm, deflection_mm = ingest.judge_correction(row, value, unit, current_register(store))
    ruling: dict[str, object] = {
        "reading_id": row["reading_id"],
        "act": act.value,
        "value_raw": value,
        "unit": unit,
        "value_mm": value_mm,
        "deflection_mm": deflection_mm,
        "who": who,
        "why": why.strip(),
        "known_at": made_at,
    }
    ruling["ruling_id"] = _id(ruling)
    store.add("rulings", pa.Table.from_pylist([ruling], schema=schema.RULINGS))
    return ruling | {"house": row["house"], "wall": row["wall"]}


def find_reading(store: Store, reading: str) -> dict[str, object]:
    """The effective row of a reading by its id or a unique beginning of it (four signs or more)."""
    rows = store.readings()
    alike = rows.filter(pc.starts_with(rows["reading_id"], keys.id_signs(reading))).slice(0, 2).to_pylist()
    mend = "`wallbow wall HOUSE-WALL` lists the ids of held and recent readings."
    return keys.by_beginning({row["reading_id"]: row for row in alike}, reading, "reading", mend)


def decide(
    store: Store,
    wall: str,
    step: Step,
    *,
    who: str,
    why: str,
    owner: str,
    due: date | None,
    made_at: datetime,
    today: date,
) -> dict[str, object]:
    """Record what was decided about a wall; returns the stored decision. Raises NotFoundError, RulingError."""
    who_and_why(who, why)
    who = person(store, who, DESK)
    owner = person(store, owner, STAFF) if owner.strip() else who
    if due is not None and due < today:
        raise RulingError(
            "The day by which it is due is over.", got=str(due), expected=f"{today} or later", mend="Give a later day."
        )
    house, name = keys.registered(store, wall)
    decision: dict[str, object] = {
        "house": house,
        "wall": name,
        "step": step.value,
        "owner": owner,
        "due": due,
        "who": who,
        "why": why.strip(),
        "known_at": made_at,
    }
    decision["decision_id"] = _id(decision)
    store.office.decide(decision)
    return decision


def _id(row: dict[str, object]) -> str:
    return sha256("\x1f".join(f"{name}={row[name]}" for name in sorted(row)).encode()).hexdigest()[:16]
