"""An invented register and short ways to write files of readings."""

import io
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from math import pi, sin
from typing import Any

import openpyxl
import pyarrow as pa

from monitor import ingest, schema
from monitor.results import Intake

TODAY = date(2025, 6, 1)
RECEIVED = datetime(2025, 6, 1, 17, 0, tzinfo=UTC)
TITLES = (
    "house", "wall", "visit date", "part", "technician", "method", "instrument", "set-up", "stand-off", "mark", "value",
    "unit", "kind", "could not read", "seen", "weather", "crack width", "photos", "note", "mends",
)  # fmt: skip
USUAL = {
    "house": "DH-01", "wall": "N", "visit date": "2025-03-10", "technician": "T1", "method": "string",
    "instrument": "B3", "set-up": "1", "mark": "M3", "value": "1 3/16", "unit": "in", "kind": "gap",
}  # fmt: skip


def table(name: str, *rows: Mapping[str, Any]) -> pa.Table:
    columns = schema.find(name)
    blank = {field.name: "" if field.type == "string" else None for field in columns}
    return pa.Table.from_pylist([blank | dict(row) for row in rows], schema=columns)


def wall(house: str, name: str, **more: Any) -> dict[str, Any]:
    usual = {"length_mm": 7315.2, "clear_height_mm": 2438.4, "thickness_mm": 203.2, "method": "string", "kind": "gap"}
    return {"house": house, "wall": name, "unit": "in"} | usual | more


def mark(house: str, name: str, number: int, **more: Any) -> dict[str, Any]:
    return {"house": house, "wall": name, "mark": f"M{number}", "x_mm": 1219.2 * number, "z_mm": 1219.2} | more


def make_tables(**more: pa.Table) -> dict[str, pa.Table]:
    houses = [f"DH-0{n}" for n in range(1, 10)]
    walls = [wall(house, "N") for house in houses] + [wall("DH-01", "E", kind="deflection"), wall("DH-02", "S")]
    marks = [mark(w["house"], w["wall"], n, set_on=date(2024, 1, 15)) for w in walls for n in range(1, 6)]
    tables = {
        "houses": table("houses", *({"house": house} for house in houses)),
        "walls": table("walls", *walls),
        "marks": table("marks", *marks),
        "instruments": table("instruments", {"instrument": "B3", "method": "string", "standoff_mm": 76.2}),
        "events": schema.empty("events"),
        "people": schema.empty("people"),
        "thresholds": schema.empty("thresholds"),
    }
    return tables | more


def write_csv(*rows: Mapping[str, str], titles: Sequence[str] = TITLES, separator: str = ",") -> bytes:
    lines = [separator.join(titles)]
    for row in rows:
        cells = USUAL | dict(row)
        lines.append(separator.join(_quoted(cells.get(title, ""), separator) for title in titles))
    return ("\n".join(lines) + "\n").encode()


def _quoted(text: str, separator: str) -> str:
    return '"' + text.replace('"', '""') + '"' if {separator, '"', "\n"} & set(text) else text


def write_xlsx(*sheets: tuple[str, Sequence[Sequence[Any]]], merges: Sequence[str] = ()) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets:
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
        for block in merges:
            sheet.merge_cells(block)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def cells(*rows: Mapping[str, Any], titles: Sequence[str] = TITLES) -> list[list[Any]]:
    return [list(titles), *([(USUAL | dict(row)).get(title) for title in titles] for row in rows)]


def take(
    data: bytes,
    tables: schema.Tables | None = None,
    earlier: pa.Table | None = None,
    name: str = "visit.csv",
    expected: pa.Table | None = None,
) -> Intake:
    return ingest.read_readings(
        name,
        data,
        make_tables() if tables is None else tables,
        schema.empty("readings") if earlier is None else earlier,
        received_at=RECEIVED,
        sender="T1",
        today=TODAY,
        expected=expected,
    )


def expect(
    wall: str,
    means: Sequence[float],
    *,
    house: str = "DH-01",
    method: str = "string",
    own: float = 1.0,
    shared: float | None = 1.2,
    day: date = date(2025, 3, 10),
) -> pa.Table:
    """What M1, M2, ... of one line should read; own, shared: sds in mm, shared None where set-ups stand anywhere."""
    names = [f"M{n}" for n in range(1, len(means) + 1)]
    rows = [
        {
            "house": house, "wall": wall, "visit_date": day, "mark": name, "method": method,
            "expected_deflection_mm": float(mean),
            "sd_mm": None if shared is None else (own**2 + shared**2) ** 0.5,
            "bow": sin(pi * n / max(1, len(names) - 1)), "others": names, "spread_mm2": [0.0] * len(names),
            "setup_mm2": [(shared or 0.0) ** 2 + own**2 * (n == other) for other in range(len(names))],
        }
        for n, (name, mean) in enumerate(zip(names, means, strict=True))
    ]  # fmt: skip
    columns = pa.schema([("house", "string"), ("wall", "string"), ("visit_date", pa.date32()), ("mark", "string"),
                         ("method", "string"), ("expected_deflection_mm", "double"), ("sd_mm", "double"),
                         ("bow", "double"), ("others", pa.list_(pa.string())), ("spread_mm2", pa.list_(pa.float64())),
                         ("setup_mm2", pa.list_(pa.float64()))])  # fmt: skip
    return pa.Table.from_pylist(rows, schema=columns)


def outcomes(intake: Intake) -> list[tuple[str, str, str]]:
    """State, code and reason of each row."""
    rows = intake.table.to_pylist()
    return [(row["state"], row["reason_code"], row["reason"]) for row in rows]


def column(intake: Intake, name: str) -> list[Any]:
    values: list[Any] = intake.table[name].to_pylist()
    return values


USED = ("used", "", "")


def one(**cell: str) -> tuple[str, str, str]:
    """The outcome of the usual row with some cells changed; underscores in names stand for spaces."""
    return outcomes(take(write_csv({name.replace("_", " "): text for name, text in cell.items()})))[0]


def seen_before(*rows: dict[str, str], day: str = "2024-09-12", **more: pa.Table) -> pa.Table:
    """The stored readings of an earlier visit, all of them used."""
    intake = take(write_csv(*({"visit date": day} | row for row in rows)), make_tables(**more), name="earlier.csv")
    assert intake.used == intake.received, intake.messages
    return intake.table
