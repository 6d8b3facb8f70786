"""What becomes of screened readings: likely misreads are held and named, with the slip that would explain them."""

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor import schema, slips
from monitor.terms import RELEASED, Kind, LengthUnit, State
from monitor.trend import reasons
from monitor.trend.cases import CASE, WALL, Cases, dates
from monitor.trend.rows import Row, plain
from monitor.trend.screening import Screened

WITHIN_SDS = 2.0
"""A slip explains a reading where its true value would stand this many sds off at most."""


def ruled(cases: Cases, readings: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Rows of the cases whose reading a person released: it is never set aside again."""
    decided = set(readings.loc[readings["reason_code"] == RELEASED, "reading_id"])
    return np.asarray(cases.rows["reading_id"].isin(decided))


def table(cases: Cases, found: Screened, readings: pd.DataFrame, walls: pd.DataFrame) -> pd.DataFrame:
    """Table schema.SUSPECTS: the readings set aside, by wall, visit and mark."""
    rows = cases.rows.iloc[found.outliers["row"].to_numpy(np.intp)][[*CASE, "reading_id", "mark", "day"]]
    rows = rows.reset_index(drop=True).assign(
        **{name: found.outliers[name] for name in ("z", "off_mm", "sd_mm")}, visit_date=dates(rows["day"])
    )
    typed = readings[["reading_id", "value_raw", "unit", "kind", "value_mm"]].drop_duplicates("reading_id", keep="last")
    shown = walls.drop_duplicates(WALL, keep="last")[[*WALL, "unit"]].rename(columns={"unit": "shown_in"})
    rows = rows.merge(typed, on="reading_id", how="left").merge(shown, on=WALL, how="left")
    rows = rows.sort_values([*CASE, "visit_date", "mark", "reading_id"], ignore_index=True)
    told = [_told(row) for row in plain(rows)]
    texts = {name: pd.Series([one[name] for one in told], dtype="str") for name in ("likely_raw", "reason")}
    likely = pd.Series([one["likely_mm"] for one in told], dtype="float64")
    made: pd.DataFrame = rows.assign(**texts, likely_mm=likely)[schema.SUSPECTS.names]
    return made


def set_aside(readings: pd.DataFrame, reading_ids: Iterable[str]) -> pd.DataFrame:
    """The readings with those held: kept, shown, counted as held, and not used."""
    aside = readings["reading_id"].isin(list(reading_ids))
    return readings.assign(state=readings["state"].mask(aside, str(State.HELD)))


def doubts(cases: Cases, found: Screened) -> pd.DataFrame:
    """What in a case's readings asks for a confirming visit, though none is set aside: one row per case.

    CASE; doubt, a clause; may_be_misread, whether one reading alone may be at fault, rather than a whole visit that was
    set up wrongly or stands where the wall does.
    """
    rows = cases.rows.iloc[found.doubts["row"].to_numpy(np.intp)][[*CASE, "mark", "day"]]
    rows = rows.reset_index(drop=True).assign(together=found.doubts["together"], visit_date=dates(rows["day"]))
    rows = rows.assign(may_be_misread=~rows["together"].astype(bool))
    rows["may_be_misread"] = rows.groupby(CASE)["may_be_misread"].transform("any")
    rows = rows.sort_values([*CASE, "day", "mark"]).drop_duplicates(CASE, keep="last")
    clauses = pd.Series([_doubt(row) for row in plain(rows)], index=rows.index, dtype="str")
    return rows[[*CASE, "may_be_misread"]].assign(doubt=clauses)


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


def _doubt(row: Row) -> str:
    day = row["visit_date"].isoformat()
    if row["together"]:
        return (
            f"all marks of the visit of {day} stand apart together from what the other visits foretell, "
            "which its set-up did or the wall"
        )
    return (
        f"mark {row['mark']} of {day} stands apart from what the other visits foretell, and what else was read at its "
        "visit cannot tell a misread from a step of the wall"
    )
