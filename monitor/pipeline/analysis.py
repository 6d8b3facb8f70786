"""For analysts: a wall's readings as a frame in; rates, bounds and verdict out, by the model the commands use."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd
import pyarrow as pa

from monitor import schema
from monitor.config import Settings
from monitor.documents import checked
from monitor.errors import TrendError
from monitor.pipeline.frames import frame, table
from monitor.records import dataclass, fields
from monitor.terms import Method, Part, State
from monitor.trend.assess import assess as assess_walls
from monitor.units import SIXTEENTH_MM

_NEEDED = ("visit_date", "mark", "deflection_mm")


@dataclass(frozen=True)
class Analysis:
    """Results as frames with the columns of schema.RESULTS; see the data dictionary for each."""

    wall_results: pd.DataFrame
    mark_results: pd.DataFrame
    movement: pd.DataFrame
    findings: pd.DataFrame
    suspects: pd.DataFrame
    repairs: pd.DataFrame


def analyse(
    readings: pd.DataFrame,
    *,
    wall: Mapping[str, Any],
    marks: pd.DataFrame,
    events: pd.DataFrame | None = None,
    settings: Settings | None = None,
    judged_on: date | None = None,
) -> Analysis:
    """Rates, bounds, evidence and verdict of one wall.

    readings: one row per reading: visit_date, mark, deflection_mm (inward positive; its zero does not matter), and
        optionally part, method (default string), setup (default 1), instrument, technician, step_mm (default 1/16 in),
        error_factor, state, seen.
    wall: length_mm, clear_height_mm, and optionally crack_height_mm, thickness_mm, left_end, right_end, unit, ...
    marks: mark, x_mm (from the left corner seen from inside), z_mm (above the floor), optionally row, column.
    events: event_date, kind (terms.EventKind), optionally marks, method, ...
    judged_on: the day to judge for (whether a visit is overdue depends on it); default the last visit.
    Raises TrendError naming the column where one is missing or unknown, RefusedError a setting that cannot be.
    """
    settings = checked(settings or Settings())
    for name, given, needed in (("readings", readings, _NEEDED), ("marks", marks, ("mark", "x_mm", "z_mm"))):
        missing = [column for column in needed if column not in given.columns]
        if missing:
            raise TrendError(
                f"The frame of {name} lacks columns.",
                got=", ".join(map(str, given.columns)),
                expected=", ".join(needed),
                mend=f"Add {', '.join(missing)}.",
            )
    key = {"house": str(wall.get("house", "house")), "wall": str(wall.get("wall", "wall"))}
    readings = _completed(
        "readings",
        readings,
        key
        | {
            "method": Method.STRING.value,
            "setup": 1,
            "part": Part.NONE.value,
            "step_mm": SIXTEENTH_MM,
            "error_factor": 1.0,
            "state": State.USED.value,
            "reading_id": [f"row {number}" for number in range(len(readings))],
        },
    )
    ends = {"left_end": "return", "right_end": "return", "unit": "in"}
    facts = {
        "readings": readings,
        "walls": _completed("walls", pd.DataFrame([dict(wall)]), key | ends),
        "marks": _completed("marks", marks, key),
        "events": _completed("events", events if events is not None else pd.DataFrame(), key),
    }
    tables = {name: table(name, rows) for name, rows in facts.items()}
    day = judged_on or readings["visit_date"].max().date()
    results = assess_walls(**tables, settings=settings, judged_on=day)
    return Analysis(**{field.name: frame(results[field.name]) for field in fields(Analysis)})


def _completed(name: str, given: pd.DataFrame, defaults: Mapping[str, Any]) -> pd.DataFrame:
    """The frame with all columns of a schema: given ones kept, defaults filled, the rest empty."""
    wanted = schema.find(name)
    unknown = [column for column in given.columns if column not in wanted.names]
    if unknown:
        raise TrendError(
            f"The frame of {name} has columns that nothing would read.",
            got=", ".join(map(str, unknown)),
            expected=", ".join(wanted.names),
            mend="Rename or drop them.",
        )
    columns = {}
    for field in wanted:
        if field.name in given.columns:
            values: Any = given[field.name]
            if pa.types.is_date(field.type):
                values = pd.to_datetime(values)
        elif field.name in defaults:
            values = defaults[field.name]
        else:
            values = "" if pa.types.is_string(field.type) else _MISSING[str(field.type)]
        columns[field.name] = values
    return pd.DataFrame(columns, index=given.index)


_MISSING: Mapping[str, Any] = {
    "double": float("nan"),
    "int32": pd.NA,
    "bool": pd.NA,
    "date32[day]": pd.NaT,
    "timestamp[us, tz=UTC]": pd.NaT,
}
