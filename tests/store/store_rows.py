"""Rows for the tests of the store: every column of the schema, '' or null unless given."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pyarrow as pa

from monitor import schema

START = datetime(2026, 1, 5, 12, tzinfo=UTC)


def at(days: float) -> datetime:
    return START + timedelta(days=days)


def row(name: str, /, **values: Any) -> dict[str, Any]:
    blank = {field.name: "" if pa.types.is_string(field.type) else None for field in schema.find(name)}
    assert set(values) <= set(blank), set(values) - set(blank)
    return blank | {"known_at": START} | values if "known_at" in blank else blank | values


def table(name: str, *rows: dict[str, Any]) -> pa.Table:
    return pa.Table.from_pylist([row(name, **values) for values in rows], schema=schema.find(name))


def reading(number: int, **values: Any) -> dict[str, Any]:
    """One used reading of a house with few walls; its id is its number."""
    standard = {
        "reading_id": f"{number:016x}",
        "house": f"DH-{number % 7:02}",
        "wall": "NESW"[number % 3],
        "visit_date": date(2025, 1, 1) + timedelta(days=number % 400),
        "mark": f"M{number % 5}",
        "value_raw": "1 3/16",
        "unit": "in",
        "value_mm": 30.1625,
        "deflection_mm": 46.0375 - number / 8,
        "state": "used",
        "source_row": number,
    }
    return standard | values


def readings(*numbers: int, **values: Any) -> pa.Table:
    return table("readings", *(reading(number, **values) for number in numbers))


def ruling(number: int, reading_id: int, act: str, **values: Any) -> dict[str, Any]:
    return {
        "ruling_id": f"r{number}",
        "reading_id": f"{reading_id:016x}",
        "act": act,
        "who": "P1",
        "why": f"why {number}",
        "known_at": at(number),
    } | values


def by_id(rows: pa.Table) -> dict[int, dict[str, Any]]:
    return {int(each["reading_id"], 16): each for each in rows.to_pylist()}
