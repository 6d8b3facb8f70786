"""Holds for the sake of a dispute: while one stands on a house, nothing known of its people is erased."""

from datetime import datetime

from monitor.errors import NotFoundError
from monitor.ingest.known import nearest
from monitor.pipeline.runs import row_id
from monitor.pipeline.who import RulingError, person, who_and_why
from monitor.report.context import Row
from monitor.store import Store
from monitor.terms import STAFF, HoldAct

EVERYBODY = ""
"""In place of a house: the hold stands for everybody."""


def standing(store: Store) -> dict[str, Row]:
    """Holds in force: by house ('' for everybody) the row of schema.LEGAL_HOLDS that placed it."""
    latest = {row["house"]: row for row in store.office.rows("legal_holds")}
    return {house: row for house, row in sorted(latest.items()) if row["act"] == HoldAct.PLACE}


def rule(store: Store, house: str, act: HoldAct, *, who: str, why: str, made_at: datetime) -> Row:
    """Place or lift a hold on a house, or on everybody; returns the stored row. Raises NotFoundError, RulingError."""
    who_and_why(who, why)
    who = person(store, who, STAFF)
    house = _house(store, house) if house else EVERYBODY
    if (house in standing(store)) is (act is HoldAct.PLACE):
        raise RulingError(
            "This hold stands already." if act is HoldAct.PLACE else "There is no such hold to lift.",
            got=house or "everybody",
            mend="`wallbow legal-hold` without a house lists those that stand.",
        )
    row = {"house": house, "act": act.value, "who": who, "why": why.strip(), "known_at": made_at}
    row["legal_hold_id"] = row_id(row)
    store.office.add({"legal_holds": [row]})
    return row


def against(store: Store, house: str) -> Row | None:
    """The hold that keeps a person of that house from being erased; of one of no house (staff) any hold does."""
    holds = standing(store)
    if not house:
        return next(iter(holds.values()), None)
    return holds.get(house) or holds.get(EVERYBODY)


def _house(store: Store, written: str) -> str:
    known: dict[str, str] = {name.casefold(): name for name in store.current("houses")["house"].to_pylist()}
    found = known.get(written.strip().casefold())
    if found is None:
        raise NotFoundError(
            "No such house is registered.", got=written.strip(), expected=nearest(written, known.values())
        )
    return found
