"""Invented walls for the tests of the trend model: tables of facts with a truth that is known."""

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa

from monitor import schema
from monitor.terms import Method

SIXTEENTH_MM = 25.4 / 16

_SDS = {
    # reading, offset, yaw mm/m, tilt mm/m: the defaults of the settings, a free offset drawn with 5 mm
    Method.STRING: (0.8, 1.0, 0.2, 0.0),
    Method.PLUMB: (0.9, 5.0, 0.0, 0.0),
    Method.LASER: (0.9, 5.0, 1.0, 0.3),
    Method.METER: (1.0, 0.7, 0.0, 0.0),
}


def _filled(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """The table with every column of the schema of that name, as it comes out of the store."""
    kind = schema.find(name)
    columns = []
    for field in kind:
        if field.name in table:
            columns.append(pa.array(table[field.name], field.type, from_pandas=True))
        else:
            columns.append(
                pa.array([""] * len(table)) if field.type == pa.string() else pa.nulls(len(table), field.type)
            )
    return pa.Table.from_arrays(columns, schema=kind).to_pandas(date_as_object=False)


def walls(names: Sequence[str], *, length_mm: float = 9000.0, right_end: str = "return") -> pd.DataFrame:
    """One house per name with one wall N."""
    table = pd.DataFrame(
        {
            "house": list(names),
            "wall": "N",
            "length_mm": length_mm,
            "clear_height_mm": 2440.0,
            "thickness_mm": 203.0,
            "crack_height_mm": np.nan,
            "left_end": "return",
            "right_end": right_end,
            "method": "string",
            "visit_months": "",
            "zero_total_mm": np.nan,
            "limit_mm": np.nan,
            "nickname": "north wall",
            "unit": "in",
            "kind": "deflection",
        }
    )
    return _filled(table, "walls")


def marks(names: Sequence[str], places: Sequence[tuple[str, float, float]]) -> pd.DataFrame:
    """Marks (id, x_mm, z_mm) on every wall."""
    table = pd.DataFrame([{"mark": mark, "x_mm": x, "z_mm": z} for mark, x, z in places])
    table = pd.concat([table.assign(house=name, wall="N") for name in names], ignore_index=True)
    return _filled(table, "marks")


def events(rows: Sequence[dict[str, object]] = ()) -> pd.DataFrame:
    """Events, by house, event_date, kind and whatever else a row says."""
    empty = {
        "house": "",
        "wall": "N",
        "event_date": "2020-01-01",
        "kind": "",
        "marks": "",
        "method": "",
        "new_mark": "",
    }
    table = pd.DataFrame([empty | row for row in rows], columns=list(empty))
    return _filled(table.assign(event_date=pd.to_datetime(table["event_date"])), "events")


def readings(rows: pd.DataFrame) -> pd.DataFrame:
    """Readings with the columns the model and the rules read, from house, visit_date, mark, deflection_mm and more."""
    fill = {"wall": "N", "method": "string", "setup": 1, "unit": "mm", "kind": "deflection", "step_mm": 0.0}
    fill |= {"error_factor": 1.0, "state": "used", "technician": "T1", "source_name": "visits.csv"}
    table = rows.assign(
        **{n: rows[n].where(rows[n].notna(), value) if n in rows else value for n, value in fill.items()}
    )
    table["visit_date"] = pd.to_datetime(table["visit_date"])
    table["reading_id"] = [f"{number:016x}" for number in range(len(table))]
    return _filled(table, "readings")


def dates(start: date, months: Sequence[float]) -> list[pd.Timestamp]:
    """Dates a number of months (of 30.4375 days) after a start."""
    return [pd.Timestamp(start) + pd.Timedelta(days=round(month * 30.4375)) for month in months]


def grid(
    rng: np.random.Generator,
    names: Sequence[str],
    places: Sequence[tuple[str, float, float]],
    when: Sequence[pd.Timestamp],
    method: Method = Method.STRING,
    *,
    rate: Sequence[float] = (0.0, 0.0, 0.0),
    length_mm: float = 9000.0,
    season_mm: float = 1.1,
    wobble_mm: float = 0.3,
    local_mm_per_year: float = 0.2,
    local_share: float = 0.1,
    step_mm: float = 0.0,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Readings of every mark at every visit drawn from the model, and the true rate of every mark.

    Ends are return walls; string set-ups are rows, plumb set-ups columns. Returns (readings, truth): truth has house,
    mark, whole (phi . rate + local) and base (the same without slide).
    """
    sd, offset_sd, yaw_sd, tilt_sd = _SDS[method]
    x, z = (np.array([place[axis] for place in places]) for axis in (1, 2))
    along = np.sin(np.pi * x / length_mm)
    height = 2440.0
    phi = along[:, None] * np.stack([1 - np.abs(2 * z / height - 1), z / height, np.ones_like(z)], axis=1)
    unit = {Method.STRING: z, Method.PLUMB: x}.get(method, np.zeros_like(x))
    setup = np.unique(unit, return_inverse=True)[1]
    years = np.array([(t - pd.Timestamp("1970-01-01")).days for t in when]) / 365.25
    shape = (len(names), len(when), len(places))
    whole = phi @ np.array(rate)
    local = rng.normal(0, np.hypot(local_mm_per_year, local_share * np.abs(whole).max()), (len(names), len(places)))
    cycle = rng.normal(0, season_mm / 2**0.5, (len(names), 2))
    bow = cycle[:, :1] * np.cos(2 * np.pi * years) + cycle[:, 1:] * np.sin(2 * np.pi * years)
    bow = bow + rng.normal(0, wobble_mm, shape[:2])
    size = (*shape[:2], setup.max() + 1)
    errors = [rng.normal(0, spread, size)[:, :, setup] for spread in (offset_sd, yaw_sd, tilt_sd)]
    levels = rng.uniform(5, 40, (len(names), 1, len(places)))
    value = (
        levels
        + (whole + local)[:, None, :] * (years - years[0])[None, :, None]
        + bow[:, :, None] * phi[:, 0]
        + errors[0]
        + errors[1] * (x - length_mm / 2) / 1000
        + errors[2] * z / 1000
        + rng.normal(0, sd, shape)
    )
    if step_mm:
        value = np.round(value / step_mm) * step_mm
    index = pd.MultiIndex.from_product(
        [names, when, [place[0] for place in places]], names=["house", "visit_date", "mark"]
    )
    table = pd.DataFrame({"deflection_mm": value.ravel()}, index=index).reset_index()
    base = whole - phi[:, 2] * rate[2]
    truth = pd.DataFrame(
        {"whole": (whole + local).ravel(), "base": (base + local).ravel()},
        index=pd.MultiIndex.from_product([names, [place[0] for place in places]], names=["house", "mark"]),
    ).reset_index()
    return readings(table.assign(method=str(method), step_mm=step_mm)), truth
