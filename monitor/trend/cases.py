"""From tables to cases: one case is a wall in one period, with the readings that its rate is fitted to.

A visit is one date and part of that day. Every reading carries its stretch: the readings of a mark that share one
level. Each method has stretches of its own; readings by two methods on one day are tied by what they share, the day's
wall (rate, cycle, wobble, local deviation), not by a common level. A set-up of the model is one row of a string, one
column of a plumb line, else one typed set-up, within a visit.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor.config import END_REACH_MM, Rules
from monitor.errors import TrendError, Where
from monitor.terms import End, Method, Part, State
from monitor.trend import shapes, stretches
from monitor.trend.variances import METHODS
from monitor.units import DAYS_PER_YEAR

WALL = ["house", "wall"]
CASE = [*WALL, "period"]
_READ = [*WALL, "mark", "visit_date", "part", "method", "setup", "deflection_mm", "step_mm", "error_factor", "state",
         "reading_id", "source_name"]  # fmt: skip
PARTS = {Part.BEFORE: 0, Part.NONE: 1, Part.AFTER: 2}
"""Order of the parts of a day."""


@dataclass(frozen=True)
class Cases:
    """Cases and their used readings.

    table: one row per case, by house, wall, period: the columns of schema.WALL_RESULTS that need no fit, method_code,
        and the ends of the wall (left_free, right_free).
    rows: one row per used reading, sorted by case and visit: case, mark, method_code, stretch, visit and set-up
        (numbers over all rows), day, counts (whether it counts for the rate), x_mm, z_mm, length_mm,
        deflection_mm, step_mm, error_factor.
    seen: shapes as the reading's own method sees them, shape (rows, 3).
    """

    table: pd.DataFrame
    rows: pd.DataFrame
    seen: shapes.Array


def build(
    readings: pd.DataFrame,
    walls: pd.DataFrame,
    marks: pd.DataFrame,
    events: pd.DataFrame,
    rules: Rules,
    judged_on: date,
) -> Cases:
    """Cases of all walls, from readings and events up to and with `judged_on`.

    Every registered wall has a case for its newest period, also where nothing was read in it. A held reading without a
    date is counted in the newest period. TrendError where a used reading has no deflection, date or known method.
    """
    day = days(pd.Series([judged_on]))[0]
    events = events.assign(day=days(events["event_date"]))
    events = events[events["day"] <= day]
    starts = stretches.reinforcements(events)
    rows = readings.loc[readings["state"].isin([State.USED, State.HELD]), _READ]
    rows = rows.assign(day=np.where(rows["visit_date"].isna(), day, days(rows["visit_date"])))
    rows = rows[rows["day"] <= day]
    rows = rows.assign(period=stretches.periods(rows, starts))
    held = rows[rows["state"] == State.HELD]
    rows = _with_marks(_checked(rows[rows["state"] == State.USED]), marks, walls)
    rows = _with_stretches(rows, events, starts, rules)
    table = _table(rows, held, walls, starts, rules)
    rows = rows.merge(table[[*CASE, "case"]], on=CASE, how="left")
    order = ["case", "day", "part_order", "method_code", "setup", "mark", "deflection_mm", "reading_id"]
    rows = rows.sort_values(order, ignore_index=True)
    rows["visit"] = rows.groupby(["case", "day", "part_order"], sort=True).ngroup()
    rows["setup"] = rows.groupby(["visit", "method_code", "setup", "setup_part"], sort=True).ngroup()
    return Cases(table=table, rows=rows, seen=seen_by(rows, rows["method_code"].to_numpy()))


def days(dates: pd.Series) -> npt.NDArray[np.int64]:
    """Whole days since 1970-01-01."""
    return np.asarray(pd.to_datetime(dates).to_numpy().astype("datetime64[D]").astype(np.int64))


def dates(days_: npt.ArrayLike) -> npt.NDArray[np.datetime64]:
    """Dates of whole days since 1970-01-01; not-a-time for NaN."""
    numbers = np.asarray(days_, dtype=np.float64)
    known = np.nan_to_num(numbers).astype(np.int64).astype("datetime64[D]").astype("datetime64[s]")
    return np.where(np.isnan(numbers), np.datetime64("NaT", "s"), known)


def seen_by(rows: pd.DataFrame, method_code: npt.NDArray[np.intp]) -> shapes.Array:
    """Shapes at the marks of the rows as the given methods see them, shape (rows, 3)."""
    return shapes.seen_shapes(
        x_mm=rows["x_mm"].to_numpy(np.float64),
        z_mm=rows["z_mm"].to_numpy(np.float64),
        length_mm=rows["length_mm"].to_numpy(np.float64),
        height_mm=rows["clear_height_mm"].to_numpy(np.float64),
        crack_mm=rows["crack_height_mm"].to_numpy(np.float64),
        left_free=rows["left_free"].to_numpy(bool),
        right_free=rows["right_free"].to_numpy(bool),
        on_wall=method_code == METHODS.index(Method.STRING),
    )


def at_held_end(rows: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Whether each row's mark stands at a corner that a return wall holds: it hardly moves, whatever the wall does."""
    left = (rows["x_mm"] <= END_REACH_MM) & ~rows["left_free"]
    right = (rows["x_mm"] >= rows["length_mm"] - END_REACH_MM) & ~rows["right_free"]
    return np.asarray(left | right)


def _checked(rows: pd.DataFrame) -> pd.DataFrame:
    """The used readings with their method's number; TrendError for one that the model cannot take."""
    code = rows["method"].map({method: number for number, method in enumerate(METHODS)})
    wrong = rows[code.isna() | ~np.isfinite(rows["deflection_mm"].astype(float)) | rows["visit_date"].isna()]
    if len(wrong):
        first = wrong.iloc[0]
        raise TrendError(
            f"A used reading of mark {first['mark']} cannot enter the model.",
            where=Where(file=str(first.get("source_name", "")), wall=f"{first['house']}-{first['wall']}"),
            got=f"method '{first['method']}', deflection {first['deflection_mm']} mm, date {first['visit_date']}",
            expected=f"one of {', '.join(METHODS)}, a finite deflection, and a date",
            mend=f"Reject or correct the reading {first['reading_id']}.",
        )
    return rows.assign(method_code=code.astype(np.intp), part_order=rows["part"].map(PARTS).fillna(1).astype(np.intp))


def _with_marks(rows: pd.DataFrame, marks: pd.DataFrame, walls: pd.DataFrame) -> pd.DataFrame:
    """Rows with the place of their mark, the size of their wall, and the part of the typed set-up they belong to."""
    place = marks.drop_duplicates([*WALL, "mark"], keep="last").rename(
        columns={"row": "mark_row", "column": "mark_column"}
    )
    size = walls.drop_duplicates(WALL, keep="last")
    size = size.assign(**{name: size[name].where(size[name] > 0) for name in ("length_mm", "clear_height_mm")})
    rows = rows.merge(place[[*WALL, "mark", "x_mm", "z_mm", "mark_row", "mark_column"]], on=[*WALL, "mark"], how="left")
    rows = rows.merge(
        size[[*WALL, "length_mm", "clear_height_mm", "crack_height_mm", "left_end", "right_end"]], on=WALL, how="left"
    )
    line = {"string": ("mark_row", "z_mm"), "plumb": ("mark_column", "x_mm")}
    part = pd.Series("", index=rows.index, dtype="str")
    for method, (name, otherwise) in line.items():
        named = rows[name].fillna("").astype("str")
        part = part.where(rows["method"] != method, named.where(named != "", rows[otherwise].astype("str").fillna("")))
    return rows.assign(
        setup_part=part,
        setup=rows["setup"].fillna(1).astype(np.int64),
        left_free=rows["left_end"] == End.FREE,
        right_free=rows["right_end"] == End.FREE,
    )


def _with_stretches(rows: pd.DataFrame, events: pd.DataFrame, starts: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """Rows with their stretch (0, 1, ... per mark, by first day) and whether they count for the rate."""
    rows = rows.assign(breaks=stretches.breaks(rows, events))
    one = [*WALL, "mark", "period", "method_code", "breaks"]
    first = rows.groupby(one, as_index=False).agg(day=("day", "min"), part_order=("part_order", "min"))
    first = first.sort_values([*WALL, "mark", "period", "day", "part_order", "method_code", "breaks"])
    first["stretch"] = first.groupby([*WALL, "mark"]).cumcount()
    rows = rows.merge(first[[*one, "stretch"]], on=one, how="left")
    rows = rows.merge(starts.rename(columns={"day": "start"}), on=CASE, how="left")
    return rows.assign(counts=~(rows["day"] - rows["start"] < rules.take_up_days))


def _table(
    rows: pd.DataFrame, held: pd.DataFrame, walls: pd.DataFrame, starts: pd.DataFrame, rules: Rules
) -> pd.DataFrame:
    """One row per case with all that needs no fit."""
    usual = walls.drop_duplicates(WALL, keep="last")[[*WALL, "method"]]
    parts = [
        starts.rename(columns={"day": "start"}),
        _counted(rows[rows["counts"]]),
        _counted(rows).add_suffix("_all").rename(columns={f"{name}_all": name for name in CASE}),
        held.groupby(CASE, as_index=False).size().rename(columns={"size": "held"}),
        _latest_method(rows),
    ]
    table = _keys(rows, held, walls, starts)
    for part in parts:
        table = table.merge(part, on=CASE, how="left")
    table = table.merge(usual, on=WALL, how="left")
    code = table["method_code"].fillna(-1).astype(np.intp)
    names = pd.Series(np.array([*METHODS, ""], dtype=object)[code], dtype="str")
    whole = {"visits": "visits", "visits_all": "visits_all", "readings": "readings_used", "held": "readings_held"}
    return pd.DataFrame(
        {
            **{name: table[name] for name in [*CASE, "case", "is_current"]},
            "started_on": dates(table["start"].fillna(table["first_all"])),
            "method": names.where(names != "", table["method"].fillna("").astype("str")),
            "method_code": code,
            **{shown: table[name].fillna(0).astype(np.int32) for name, shown in whole.items()},
            "first_visit": dates(table["first"]),
            "last_visit": dates(table["last_all"]),
            "span_years": ((table["last"] - table["first"]) / DAYS_PER_YEAR).fillna(0.0),
            "threshold_mm_per_year": [rules.threshold(period) for period in table["period"]],
        }
    )


def _keys(rows: pd.DataFrame, held: pd.DataFrame, walls: pd.DataFrame, starts: pd.DataFrame) -> pd.DataFrame:
    """House, wall, period and number of every case, and whether it is the wall's newest."""
    newest = pd.concat([walls[WALL], rows[WALL], held[WALL]]).drop_duplicates()
    last = starts.groupby(WALL, as_index=False)["period"].max()
    newest = newest.merge(last, on=WALL, how="left").fillna({"period": 0}).astype({"period": np.int32})
    table = pd.concat([newest, rows[CASE], held[CASE]]).drop_duplicates().sort_values(CASE, ignore_index=True)
    is_current = ~table.duplicated(WALL, keep="last")
    return table.astype({"period": np.int32}).assign(case=np.arange(len(table)), is_current=is_current)


def _counted(rows: pd.DataFrame) -> pd.DataFrame:
    """First and last day, number of readings and of visits of each case."""
    days_ = rows.groupby(CASE, as_index=False).agg(first=("day", "min"), last=("day", "max"), readings=("day", "size"))
    visits = rows.drop_duplicates([*CASE, "day", "part_order"]).groupby(CASE, as_index=False).size()
    return days_.merge(visits.rename(columns={"size": "visits"}), on=CASE)


def _latest_method(rows: pd.DataFrame) -> pd.DataFrame:
    """Method of the latest visit of each case: of several that with most readings, then the first in METHODS."""
    found = rows.groupby([*CASE, "day", "part_order", "method_code"], as_index=False).size()
    found = found.sort_values([*CASE, "day", "part_order", "size", "method_code"], ascending=[True] * 5 + [True, False])
    return found.drop_duplicates(CASE, keep="last")[[*CASE, "method_code"]]
