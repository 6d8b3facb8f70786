"""One visit of each wall of a simulated portfolio, two walls to a house, with what the model expects of it."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import pandas as pd
import pyarrow as pa

from monitor import ingest, schema
from monitor.config import Settings
from monitor.pipeline.frames import frame, table
from monitor.simulate.portfolio import portfolio
from monitor.simulate.recipe import Recipe
from monitor.terms import LengthUnit, Part, State
from monitor.trend import expected
from monitor.units import inches_from_mm

DAY = date(2025, 4, 10)
TITLES = ("house", "wall", "visit date", "part", "method", "set-up", "stand-off", "mark", "value", "unit", "kind")
Reading = dict[str, Any]
Key = tuple[str, str]


@dataclass(frozen=True)
class Visits:
    """Readings of the visits by wall as they were typed, the register, the expectations as a table and by mark."""

    rows: Mapping[Key, Sequence[Reading]]
    tables: Mapping[str, pa.Table]
    expected: pa.Table
    means: Mapping[tuple[str, str, str], float]
    bows: Mapping[tuple[str, str, str], float]

    def judged(self, change: Callable[[Key, Sequence[Reading]], Sequence[Reading]]) -> dict[Key, set[str]]:
        """The reason codes of what is held of each wall's visit, once `change` has been done to its readings."""
        rows = [row for key, given in self.rows.items() for row in change(key, given)]
        lines = [",".join(TITLES), *(_line(row) for row in rows), ""]
        received, today = datetime(2025, 6, 1, tzinfo=UTC), date(2025, 6, 1)
        done = ingest.read_readings(
            "visits.csv", "\n".join(lines).encode(), self.tables, schema.empty("readings"), received, "T1", today,
            self.expected,
        )  # fmt: skip
        found: dict[Key, set[str]] = defaultdict(set)
        for row in done.table.to_pylist():
            if row["state"] != State.USED:
                found[row["house"], row["wall"]].add(row["reason_code"])
        return found

    def apart(self, marks: Iterable[tuple[Key, str, Key, str]]) -> list[float]:
        """Differences of what is expected of pairs of marks, each a wall and a mark twice."""
        return [self.means[*one, mark] - self.means[*other, its] for one, mark, other, its in marks]


def visits(walls: int, recipe: Recipe, *, number: int, seed: int) -> Visits:
    """Visit `number` (from 0) of each wall, all moved to one day with what was before; visits after work left out."""
    made = portfolio(walls, seed=seed, recipe=recipe)
    readings, register, marks, events = (_paired(part) for part in (made.readings, made.walls, made.marks, made.events))
    days = readings.groupby(["house", "wall"])["visit_date"].unique().map(sorted)
    days = days[days.map(len) > number]
    shift = pd.to_datetime(pd.Series(DAY, index=days.index)) - pd.to_datetime(days.map(lambda each: each[number]))
    readings, marks, events = (
        _moved(part, shift, columns)
        for part, columns in ((readings, ["visit_date"]), (marks, ["set_on", "retired_on"]), (events, ["event_date"]))
    )
    now = (readings["visit_date"] == pd.Timestamp(DAY)) & (readings["part"] != Part.AFTER)
    before = readings[readings["visit_date"] < pd.Timestamp(DAY)]
    facts = (("readings", before), ("walls", register), ("marks", marks), ("events", events))
    found = expected.table(*(table(name, rows) for name, rows in facts), Settings(), DAY)
    found = found.append_column("visit_date", pa.array([DAY] * len(found)))
    foretold = found.to_pandas()
    keys = list(zip(foretold["house"], foretold["wall"], foretold["mark"], strict=True))
    rows: dict[Key, list[Reading]] = defaultdict(list)
    for row in readings[now].to_dict("records"):
        if (row["house"], row["wall"], row["mark"]) in set(keys):
            rows[row["house"], row["wall"]].append({str(name): value for name, value in row.items()})
    tables = {name: schema.empty(name) for name in schema.REGISTER}
    tables |= {"walls": table("walls", register), "marks": table("marks", marks), "events": table("events", events)}
    means = dict(zip(keys, foretold["expected_deflection_mm"], strict=True))
    return Visits(rows, tables, found, means, dict(zip(keys, foretold["bow"], strict=True)))


def shifted(row: Reading, inward_mm: float) -> Reading:
    """The reading as it would have been typed of a wall so much further in (to 1/16 in or 1 mm)."""
    value_mm = row["value_mm"] - inward_mm
    if row["unit"] == LengthUnit.INCH:
        return row | {"value_raw": f"{round(inches_from_mm(value_mm) * 16) / 16:.4f}"}
    return row | {"value_raw": f"{value_mm:.0f}"}


def _paired(part: pa.Table) -> pd.DataFrame:
    """Walls 2 k and 2 k + 1 become N and S of house k."""
    found = frame(part)
    number = found["house"].str[1:].astype(int)
    return found.assign(house="H-" + (number // 2).astype(str), wall=number.mod(2).map({0: "N", 1: "S"}))


def _moved(part: pd.DataFrame, shift: pd.Series, columns: Sequence[str]) -> pd.DataFrame:
    by_row = pd.MultiIndex.from_frame(part[["house", "wall"]])
    part = part[by_row.isin(shift.index)]
    moved = shift.loc[pd.MultiIndex.from_frame(part[["house", "wall"]])].to_numpy()
    return part.assign(**{name: pd.to_datetime(part[name]) + moved for name in columns})


def _line(row: Reading) -> str:
    standoff = f"{row['standoff_mm']:.4f} mm" if row["standoff_mm"] else ""
    cells = (row["house"], row["wall"], DAY, row["part"], row["method"], row["setup"] % 100 or 1, standoff,
             row["mark"], row["value_raw"], row["unit"], row["kind"])  # fmt: skip
    return ",".join(map(str, cells))
