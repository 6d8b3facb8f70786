"""One wall's share of the company's tables, as far as an outsider may have it."""

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.report.context import Book, Key
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import Part, State

Row = Mapping[str, Any]

KEPT_BACK: Mapping[str, tuple[str, ...]] = {
    "houses": ("nickname", "note", "source_name", "source_sheet"),
    "receipts": ("sender",),
}
"""Columns that may name an owner, an address or a sender; the rest of those tables goes out."""

_PARTS = (Part.BEFORE, Part.NONE, Part.AFTER)
_COUNTED: Mapping[str, str] = {
    "used": State.USED,
    "held": State.HELD,
    "rejected": State.REJECTED,
    "could_not_read": State.COULD_NOT_READ,
}


def of_wall(rows: pa.Table, key: Key) -> pa.Table:
    """Rows of one wall."""
    house, wall = key
    return rows.filter(pc.and_(pc.equal(rows["house"], house), pc.equal(rows["wall"], wall)))


def received(store: Store, judged: Assessment, key: Key) -> schema.Tables:
    """`readings` as they came in and `receipts` of their files, up to what the assessment knew."""
    readings = of_wall(store.facts("readings", known_on=judged.known_until, walls=[key]), key)
    receipts = store.facts("receipts", known_on=judged.known_until)
    sources = pc.unique(readings["source_sha256"])
    theirs = receipts.filter(pc.is_in(receipts["source_sha256"], value_set=sources))
    return {"readings": readings, "receipts": theirs.drop_columns(list(KEPT_BACK["receipts"]))}


def register(content: Book, key: Key, readings: pa.Table) -> schema.Tables:
    """House, wall, marks, events, instruments used, and thresholds."""
    houses, instruments = content.fact("houses"), content.fact("instruments")
    used = pc.unique(readings["instrument"])
    return {
        "houses": houses.filter(pc.equal(houses["house"], key[0])).drop_columns(list(KEPT_BACK["houses"])),
        **{name: of_wall(content.fact(name), key) for name in ("walls", "marks", "events")},
        "instruments": instruments.filter(pc.is_in(instruments["instrument"], value_set=used)),
        "thresholds": content.fact("thresholds"),
    }


def visits(readings: pa.Table, key: Key) -> pa.Table:
    """Table schema.VISITS, from effective readings of one wall, oldest first, rows without a date last."""
    groups: dict[tuple[Any, str], list[Row]] = defaultdict(list)
    for row in readings.to_pylist():
        groups[row["visit_date"], row["part"]].append(row)
    ordered = sorted(groups, key=lambda at: (at[0] is None, str(at[0]), _place(at[1])))
    return pa.Table.from_pylist([_visit(key, at, groups[at]) for at in ordered], schema=schema.find("visits"))


def _place(part: str) -> int:
    return _PARTS.index(Part(part)) if part in tuple(Part) else len(_PARTS)


def _visit(key: Key, at: tuple[Any, str], rows: list[Row]) -> dict[str, Any]:
    return {
        "house": key[0],
        "wall": key[1],
        "visit_date": at[0],
        "part": at[1],
        "methods": _joined(rows, "method"),
        "setups": len({(row["method"], row["setup"]) for row in rows}),
        "technicians": _joined(rows, "technician"),
        "received": len(rows),
        **{name: sum(row["state"] == state for row in rows) for name, state in _COUNTED.items()},
        **{name: _joined(rows, name) for name in ("seen", "weather", "photos")},
    }


def _joined(rows: list[Row], name: str) -> str:
    """Words of a column, each once, sorted; a cell may hold several, separated by '; '."""
    return "; ".join(sorted({word.strip() for row in rows for word in (row[name] or "").split(";") if word.strip()}))
