"""What becomes of screened readings: likely misreads are held and named, with the slip that would explain them."""

from datetime import date
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema, slips
from monitor.schema.arrays import array_of
from monitor.terms import RELEASED, Kind, LengthUnit, State
from monitor.trend import columns, reasons
from monitor.trend.cases import Cases
from monitor.trend.columns import Flags, Whole
from monitor.trend.screening import Screened

WITHIN_SDS = 2.0
"""A slip explains a reading where its true value would stand this many sds off at most."""


_TYPED = ("reading_id", "value_raw", "unit", "kind", "value_mm")


def ruled(cases: Cases, readings: pa.Table) -> Flags:
    """Rows of the cases whose reading a person released: it is never set aside again."""
    return columns.is_text(readings["reason_code"], RELEASED)[cases.rows.reading]


def table(cases: Cases, found: Screened, readings: pa.Table, walls: pa.Table) -> pa.Table:
    """Table schema.SUSPECTS: the readings set aside, by wall, visit and mark."""
    aside, rows = found.outliers, cases.rows
    if not len(aside):
        return schema.empty("suspects")
    ids = columns.ranks(columns.taken(readings["reading_id"], rows.reading[aside.row]))
    order = np.lexsort((ids, rows.mark[aside.row], rows.day[aside.row], rows.case[aside.row]))
    row = aside.row[order]
    told = {
        **cases.keys(rows.case[row]),
        "mark": cases.mark_names(rows.mark[row]),
        "visit_date": columns.dates(rows.day[row]),
        **{name: array_of(getattr(aside, name)[order]) for name in ("z", "off_mm", "sd_mm")},
        **{name: columns.taken(readings[name], rows.reading[row]) for name in _TYPED},
        "shown_in": columns.taken(walls["unit"], cases.walls.row[cases.table.wall[rows.case[row]]]),
    }
    made = [one | _told(one) for one in pa.table(told).to_pylist()]
    return pa.Table.from_pylist(made, schema=schema.SUSPECTS)


def set_aside(readings: pa.Table, rows: Whole) -> pa.Table:
    """The readings with those rows of the table held: kept, shown, counted as held, and not used."""
    aside = np.zeros(len(readings), dtype=bool)
    aside[rows] = True
    held = pc.if_else(array_of(aside), pa.scalar(State.HELD.value), readings["state"])
    return columns.having(readings, state=held)


def doubts(cases: Cases, found: Screened) -> dict[str, pa.Array]:
    """What in a case's readings asks for a confirming visit, though none is set aside: columns (cases,).

    doubt, a clause; may_be_misread, whether one reading alone may be at fault, rather than a whole visit that was set
    up wrongly or stands where the wall does; both null where nothing is doubtful.
    """
    rows, row, together = cases.rows, found.doubts.row, found.doubts.together
    alone = np.zeros(len(cases.table), dtype=bool)
    alone[rows.case[row[~together]]] = True
    last = columns.leaders(rows.case[row], -rows.day[row], -rows.mark[row], -np.arange(len(row)))
    row, together = row[last], together[last]
    doubtful, clause = np.zeros(len(cases.table), dtype=bool), np.full(len(cases.table), None, dtype=object)
    doubtful[rows.case[row]] = True
    names = cases.mark_names(rows.mark[row]).to_pylist()
    days = columns.dates(rows.day[row]).to_pylist()
    clause[rows.case[row]] = [_doubt(*one) for one in zip(together.tolist(), names, days, strict=True)]
    return {
        "may_be_misread": array_of(alone, doubtful),
        "doubt": pa.array(clause.tolist(), pa.string()),
    }


def _told(row: dict[str, Any]) -> dict[str, Any]:
    """The likely slip and the sentence of one reading set aside."""
    unit = row["shown_in"] or LengthUnit.INCH
    off, inward = row["off_mm"], row["off_mm"] >= 0
    text = (
        f"Mark {row['mark']} stands {reasons.both(abs(off), unit)} further {'in' if inward else 'out'} than all other "
        f"readings foretell, {abs(row['z']):.0f} times what reading and set-up errors explain, and its visit's other "
        "marks do not"
    )
    slip = _slip(row)
    if slip is None:
        return {"likely_mm": None, "likely_raw": "", "reason": f"{text}; no usual slip explains it."}
    raw, mm = slip
    return {"likely_mm": mm, "likely_raw": raw, "reason": f"{text}; {raw} would fit where {row['value_raw']} is typed."}


def _slip(row: dict[str, Any]) -> tuple[str, float] | None:
    """The usual slip that would explain the reading; a gap or a distance grows as the wall goes out."""
    if row["value_mm"] is None or not row["value_raw"]:
        return None
    towards = -1.0 if row["kind"] == Kind.DEFLECTION else 1.0
    wanted = row["value_mm"] + towards * row["off_mm"]
    return slips.likely(row["value_raw"], row["unit"] or "", wanted, WITHIN_SDS * row["sd_mm"])


def _doubt(together: bool, mark: str, day: date) -> str:
    if together:
        return (
            f"all marks of the visit of {day} stand apart together from what the other visits foretell, "
            "which its set-up did or the wall"
        )
    return (
        f"mark {mark} of {day} stands apart from what the other visits foretell, and what else was read at its "
        "visit cannot tell a misread from a step of the wall"
    )
