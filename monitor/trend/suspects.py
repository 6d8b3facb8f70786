"""What becomes of screened readings: likely misreads are held and named, with the slip that would explain them."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema, slips
from monitor.terms import RELEASED, Kind, LengthUnit, State
from monitor.trend import reasons
from monitor.trend.cases import Cases
from monitor.trend.columns import Flags, Whole, dates, having, numbers, one, taken
from monitor.trend.rows import Row
from monitor.trend.screening import Screened

WITHIN_SDS = 2.0
"""A slip explains a reading where its true value would stand this many sds off at most."""


def ruled(cases: Cases, readings: pa.Table) -> Flags:
    """Rows of the cases whose reading a person released: it is never set aside again."""
    released = pc.fill_null(pc.equal(one(readings["reason_code"]), RELEASED), False)
    return np.asarray(released.to_numpy(zero_copy_only=False), dtype=bool)[cases.rows.reading]


def table(cases: Cases, found: Screened, readings: pa.Table, walls: pa.Table) -> pa.Table:
    """Table schema.SUSPECTS: the readings set aside, by wall, visit and mark."""
    row = found.outliers.row
    case, reading = cases.rows.case[row], cases.rows.reading[row]
    wall = cases.walls.row[cases.table.wall[case]]
    typed = ("reading_id", "value_raw", "unit", "kind", "value_mm")
    rows = pa.table(
        {
            **cases.keys(case),
            "mark": cases.mark_names(cases.rows.mark[row]),
            "visit_date": dates(cases.rows.day[row]),
            **{name: numbers(getattr(found.outliers, name)) for name in ("z", "off_mm", "sd_mm")},
            **{name: taken(readings[name], reading) for name in typed},
            "shown_in": taken(walls["unit"], wall),
        }
    )
    order = ("house", "wall", "period", "visit_date", "mark", "reading_id")
    rows = rows.sort_by([(name, "ascending") for name in order])
    told = [_told(each) for each in rows.to_pylist()]
    kinds = {"likely_raw": pa.string(), "reason": pa.string(), "likely_mm": pa.float64()}
    said = {name: pa.array([each[name] for each in told], kind) for name, kind in kinds.items()}
    return having(rows, **said).select(schema.SUSPECTS.names).cast(schema.SUSPECTS)


def set_aside(readings: pa.Table, rows: Whole) -> pa.Table:
    """The readings with some rows of them held: kept, shown, counted as held, and not used."""
    aside = np.zeros(len(readings), dtype=bool)
    aside[rows] = True
    held = pa.scalar(str(State.HELD), readings["state"].type)
    return having(readings, state=pc.if_else(pa.array(aside), held, one(readings["state"])))


def doubts(cases: Cases, found: Screened) -> dict[str, pa.Array]:
    """What in a case's readings asks for a confirming visit, though none is set aside, as columns of the cases.

    doubt: a clause, null for none; may_be_misread: whether one reading alone may be at fault, rather than a whole visit
    that was set up wrongly or stands where the wall does.
    """
    rows, count = cases.rows, len(cases.table)
    row, together = found.doubts.row, found.doubts.together
    misread = np.zeros(count, dtype=bool)
    misread[rows.case[row[~together]]] = True
    order = np.lexsort((rows.mark[row], rows.day[row], rows.case[row]))
    newest = order[np.append(np.diff(rows.case[row][order]) != 0, [True] * min(len(row), 1)).astype(bool)]
    clauses = np.full(count, None, dtype=object)
    names, day = cases.mark_names(rows.mark[row[newest]]).to_pylist(), dates(rows.day[row[newest]]).to_pylist()
    for number, mark, on in zip(newest, names, day, strict=True):
        clauses[rows.case[row[number]]] = _doubt(mark, on.isoformat(), bool(together[number]))
    return {"doubt": pa.array(clauses, pa.string()), "may_be_misread": pa.array(misread)}


def _told(row: Row) -> Row:
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


def _slip(row: Row) -> tuple[str, float] | None:
    """The usual slip that would explain the reading; a gap or a distance grows as the wall goes out."""
    if row["value_mm"] is None or not row["value_raw"]:
        return None
    towards = -1.0 if row["kind"] == Kind.DEFLECTION else 1.0
    wanted = row["value_mm"] + towards * row["off_mm"]
    return slips.likely(row["value_raw"], row["unit"] or "", wanted, WITHIN_SDS * row["sd_mm"])


def _doubt(mark: str, day: str, together: bool) -> str:
    if together:
        return (
            f"all marks of the visit of {day} stand apart together from what the other visits foretell, "
            "which its set-up did or the wall"
        )
    return (
        f"mark {mark} of {day} stands apart from what the other visits foretell, and what else was read at its "
        "visit cannot tell a misread from a step of the wall"
    )
