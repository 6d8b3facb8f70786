"""Total inward deflection of each wall at its latest visit, by whatever reference that visit's readings have.

A string line reads to the line between its ends, a plumb line to the lowest mark of its column, a laser plane to its
end marks, and a distance meter what has changed since a zero whose total was entered. What has no reference is not
known.
"""

import numpy as np
import pandas as pd

from monitor.config import END_REACH_MM, Rules
from monitor.terms import EventKind, Method, Part, State
from monitor.trend.rows import dates

_WALL = ["house", "wall"]
FOOT = "the foot of the wall"
REFERENCE = {
    Method.STRING: "the line between the wall's ends",
    Method.PLUMB: FOOT,
    Method.LASER: "the laser's end marks",
    Method.METER: "the zero reading plus the entered total",
}
"""What a method's total is measured against; of what the reference itself does, a total knows nothing."""

_PART_ORDER = {Part.BEFORE: 0, Part.NONE: 1, Part.AFTER: 2}


def totals(
    readings: pd.DataFrame,
    walls: pd.DataFrame,
    marks: pd.DataFrame,
    rules: Rules,
    events: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """One row per wall of `walls`: house, wall, total_mm, total_mark, total_reference, total_limit_mm,
    zero_total_mm.

    readings, walls, marks, events: columns of the schemas of those names; only used readings count, and of the events
    those that change a reference, for across them a distance meter's change since zero is not known. total_mm is the
    largest inward deflection over the marks of the latest visit, each the mean of its set-ups, and of several methods
    the largest; null, with total_mark and total_reference '', where no method of that visit has a reference.
    """
    used = _joined(readings, walls, marks)
    latest = used[used["when"] == used.groupby(_WALL)["when"].transform("max")]
    parts = [
        _to_ends(latest[latest["method"] == Method.STRING], by=["setup", "line"], unread_end=0.0),
        _to_ends(latest[latest["method"] == Method.LASER], by=["setup"], unread_end=np.nan),
        _to_lowest(latest[latest["method"] == Method.PLUMB], used, marks),
        _since_zero(latest[latest["method"] == Method.METER], used, events),
    ]
    found = pd.concat([part[[*_WALL, "method", "mark", "total_mm"]] for part in parts], ignore_index=True)
    by_mark = found.dropna(subset="total_mm").groupby([*_WALL, "method", "mark"])["total_mm"].mean().reset_index()
    order = by_mark.sort_values([*_WALL, "total_mm", "mark"], ascending=[True, True, False, True], kind="stable")
    worst = order.drop_duplicates(_WALL).rename(columns={"mark": "total_mark"})
    worst = worst.assign(total_reference=worst["method"].map(REFERENCE))
    out = walls[[*_WALL, "limit_mm", "zero_total_mm"]].merge(
        worst[[*_WALL, "total_mm", "total_mark", "total_reference"]], on=_WALL, how="left"
    )
    out["total_limit_mm"] = out.pop("limit_mm").astype(float).fillna(rules.total_limit_mm)
    for name in ("total_mark", "total_reference"):
        out[name] = out[name].fillna("").astype(str)
    return out[[*_WALL, "total_mm", "total_mark", "total_reference", "total_limit_mm", "zero_total_mm"]]


def _joined(readings: pd.DataFrame, walls: pd.DataFrame, marks: pd.DataFrame) -> pd.DataFrame:
    """Used readings that have a deflection, with place, wall length, zero total and a sortable visit."""
    columns = [*_WALL, "visit_date", "part", "method", "setup", "mark", "deflection_mm", "state"]
    used = readings.loc[readings["state"] == State.USED, columns].dropna(subset=["deflection_mm", "visit_date"])
    used = used.merge(walls[[*_WALL, "length_mm", "zero_total_mm"]], on=_WALL)
    used = used.merge(marks[[*_WALL, "mark", "x_mm", "z_mm", "row", "column"]], on=[*_WALL, "mark"], how="left")
    used = used.astype(dict.fromkeys(["deflection_mm", "x_mm", "z_mm", "length_mm", "zero_total_mm"], float))
    used["line"] = used["row"].where(used["row"].fillna("") != "", used["z_mm"].astype(str))
    used["upright"] = used["column"].where(used["column"].fillna("") != "", used["x_mm"].astype(str))
    used["when"] = dates(used["visit_date"]) + pd.to_timedelta(used["part"].map(_PART_ORDER).fillna(1), unit="h")
    return used


def _to_ends(readings: pd.DataFrame, *, by: list[str], unread_end: float) -> pd.DataFrame:
    """Deflection less the line between the ends of its set-up; an end that was not read stands at `unread_end`.

    A set-up with several rows takes the end marks of the reading's own row where they were read, else the mean of all
    its end marks of that side.
    """
    out = readings.copy()
    sides = {"left": out["x_mm"] <= END_REACH_MM, "right": out["x_mm"] >= out["length_mm"] - END_REACH_MM}
    group = [*_WALL, *by]
    for side, at_end in sides.items():
        for name, source in (("at", "deflection_mm"), ("x", "x_mm")):
            value = out[source].where(at_end)
            own = value.groupby([out[key] for key in dict.fromkeys([*group, "line"])], dropna=False).transform("mean")
            whole = value.groupby([out[key] for key in group], dropna=False).transform("mean")
            out[f"{side}_{name}"] = own.fillna(whole)
    out["left_x"] = out["left_x"].fillna(0.0)
    out["right_x"] = out["right_x"].fillna(out["length_mm"])
    out[["left_at", "right_at"]] = out[["left_at", "right_at"]].fillna(unread_end)
    reach = (out["x_mm"] - out["left_x"]) / (out["right_x"] - out["left_x"])
    # With no place along the wall a string still stands at its stand-off, unless an end says otherwise.
    line = out["left_at"] + (out["right_at"] - out["left_at"]) * reach.where(out["left_at"] != out["right_at"], 0.0)
    out["total_mm"] = out["deflection_mm"] - line
    return out[~(sides["left"] | sides["right"])]


def _to_lowest(readings: pd.DataFrame, used: pd.DataFrame, marks: pd.DataFrame) -> pd.DataFrame:
    """Deflection less that of the lowest mark of the column in the same set-up; not known where that was not read."""
    out = readings.copy()
    standing = _standing(marks, used)
    standing["upright"] = standing["column"].where(standing["column"].fillna("") != "", standing["x_mm"].astype(str))
    lowest = standing.groupby([*_WALL, "upright"])["z_mm"].min().rename("lowest_mm").reset_index()
    out = out.merge(lowest, on=[*_WALL, "upright"], how="left")
    base = out["deflection_mm"].where(out["z_mm"] == out["lowest_mm"])
    out["total_mm"] = out["deflection_mm"] - base.groupby([out[k] for k in [*_WALL, "setup", "upright"]]).transform(
        "mean"
    )
    return out[out["z_mm"] != out["lowest_mm"]]


def _standing(marks: pd.DataFrame, used: pd.DataFrame) -> pd.DataFrame:
    """Marks that stand on the day of their wall's latest visit."""
    day = used.assign(day=dates(used["visit_date"])).groupby(_WALL)["day"].max().reset_index()
    placed = marks.merge(day, on=_WALL).astype({"x_mm": float, "z_mm": float})
    set_on, retired_on = dates(placed["set_on"]), dates(placed["retired_on"])
    gone = (retired_on < placed["day"]) | (set_on > placed["day"])
    return placed[~gone]


def _since_zero(readings: pd.DataFrame, used: pd.DataFrame, events: pd.DataFrame | None) -> pd.DataFrame:
    """Zero total plus the change since the wall's first visit, for marks read by distance meter at both.

    Not known where a reference was changed from that first day to the day of the visit.
    """
    out = readings.copy()
    first = used[(used["when"] == used.groupby(_WALL)["when"].transform("min")) & (used["method"] == Method.METER)]
    zero = first.groupby([*_WALL, "mark"]).agg(zero_mm=("deflection_mm", "mean"), zero_on=("visit_date", "min"))
    out = out.merge(zero.reset_index(), on=[*_WALL, "mark"], how="left")
    if events is not None:
        changes = events.loc[events["kind"] == EventKind.REFERENCE_CHANGE, [*_WALL, "event_date"]]
        pairs = out.merge(changes, on=_WALL)
        changed_on = dates(pairs["event_date"])
        broken = pairs[(changed_on >= dates(pairs["zero_on"])) & (changed_on <= dates(pairs["visit_date"]))]
        out = out[~pd.MultiIndex.from_frame(out[_WALL]).isin(pd.MultiIndex.from_frame(broken[_WALL]))]
    out["total_mm"] = out["zero_total_mm"] + out["deflection_mm"] - out["zero_mm"]
    return out
