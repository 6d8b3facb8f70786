"""Crack widths beside the bow: two witnesses of one movement, held against each other.

A wall that bows about a horizontal crack turns like two leaves of a hinge, and the crack opens on the inner face by at
most the thickness times the tangents of both leaves' angles: exact for a wall hinged there with its ends held, about
4 t d / h for a crack at mid-height (geometry, no source needed). What opens is often less, for several joints share the
turn; how much less is common practice, no source: half an inch of bow goes with 1/16 in at the least.
"""

import numpy as np
import pandas as pd

from monitor.config import Variances
from monitor.terms import LengthUnit
from monitor.trend import reasons
from monitor.trend import variances as sds
from monitor.trend.cases import CASE, WALL, Cases
from monitor.trend.rows import Row, plain
from monitor.units import MM_PER_INCH

WIDTH_SD_MM = 0.3
"""One reading of a crack's width with a card or a rule (from memory, no source; fixed studs do better)."""
LEAST_SHARE = (MM_PER_INCH / 16) / (4 * 8 * MM_PER_INCH * 0.5 / 96)
"""Least share of the hinge's opening: 1/16 in for 1/2 in of bow of a wall 8 in thick and 96 in high."""
APART_SDS = 2.0
"""How many sds beyond that range the two must stand apart."""


def opening_mm(bow_mm: float, thickness_mm: float, height_mm: float, crack_mm: float | None = None) -> float:
    """Opening on the inner face of a crack at `crack_mm` (mid-height where none is given) that has come in by a bow.

    Negative for a bow outward: the crack closes.
    """
    known = crack_mm is not None and 0 < crack_mm < height_mm
    below = crack_mm if known and crack_mm is not None else height_mm / 2
    angles = (np.arcsin(np.clip(bow_mm / leaf, -1, 1)) for leaf in (below, height_mm - below))
    return float(thickness_mm * sum(np.tan(angle) for angle in angles))


def notes(
    cases: Cases, movement: pd.DataFrame, readings: pd.DataFrame, walls: pd.DataFrame, variances: Variances
) -> pd.DataFrame:
    """CASE and crack_note: one sentence for each current period whose crack widths and bow do not go together.

    movement: schema.MOVEMENT; readings, walls: as the assessment takes them. A mark's first visit with a width is held
    against its last, on one level and by one method; of several marks that do not fit the one furthest off is told.
    """
    read = widths(cases, readings)
    if read.empty:
        return pd.DataFrame({name: read.get(name, pd.Series(dtype="str")) for name in [*CASE, "crack_note"]})
    key = [*CASE, "mark", "visit_date", "part"]
    both = movement.merge(read, on=key).merge(_current(cases), on=CASE)
    both = both.sort_values([*CASE, "mark", "stretch", "visit_date"], kind="stable")
    group = both.groupby([*CASE, "mark", "stretch", "method"], sort=True)
    change = group.agg(
        bow_mm=("deflection_mm", lambda v: v.iloc[-1] - v.iloc[0]),
        opened_mm=("width_mm", lambda v: v.iloc[-1] - v.iloc[0]),
        since=("visit_date", "first"),
        until=("visit_date", "last"),
        x_mm=("x_mm", "first"),
        count=("width_mm", "size"),
    ).reset_index()
    change = change[change["count"] > 1]
    size = walls.drop_duplicates(WALL, keep="last")
    change = change.merge(
        size[[*WALL, "thickness_mm", "clear_height_mm", "crack_height_mm", "length_mm", "unit"]], on=WALL
    )
    told = [one for row in plain(change) if (one := _judged(row, variances)) is not None]
    columns = [*CASE, "crack_note", "apart"]
    found = pd.DataFrame(told, columns=columns).sort_values([*CASE, "apart"], ascending=[True] * 3 + [False])
    return found.drop_duplicates(CASE)[[*CASE, "crack_note"]]


def widths(cases: Cases, readings: pd.DataFrame) -> pd.DataFrame:
    """Mean crack width of each mark at each visit: CASE, mark, visit_date, part, x_mm, width_mm."""
    noted = readings.loc[readings["crack_width_mm"].notna(), ["reading_id", "crack_width_mm"]]
    rows = cases.rows.merge(noted.drop_duplicates("reading_id", keep="last"), on="reading_id")
    by = [*CASE, "mark", "visit_date", "part"]
    return rows.groupby(by, as_index=False).agg(x_mm=("x_mm", "first"), width_mm=("crack_width_mm", "mean"))


def _current(cases: Cases) -> pd.DataFrame:
    return cases.table.loc[cases.table["is_current"], CASE]


def _judged(row: Row, variances: Variances) -> Row | None:
    """The sentence on one mark, and how many sds the two stand apart; None where they go together."""
    if row["thickness_mm"] is None or row["clear_height_mm"] is None:
        return None
    bow, opened = row["bow_mm"], row["opened_mm"]
    full = opening_mm(bow, row["thickness_mm"], row["clear_height_mm"], row["crack_height_mm"])
    low, high = sorted((LEAST_SHARE * full, full))
    slope = opening_mm(1.0, row["thickness_mm"], row["clear_height_mm"], row["crack_height_mm"])
    off = opened - min(max(opened, low), high)
    sd = float(np.hypot(2**0.5 * WIDTH_SD_MM, slope * (1.0 if off > 0 else LEAST_SHARE) * _bow_sd_mm(row, variances)))
    if abs(off) <= APART_SDS * sd:
        return None
    unit = row["unit"] or LengthUnit.INCH
    return {name: row[name] for name in CASE} | {
        "apart": abs(off) / sd,
        "crack_note": (
            f"Bow and crack do not go together at mark {row['mark']}: from {row['since'].isoformat()} to "
            f"{row['until'].isoformat()} the mark came {_way(bow, unit, 'in', 'out')} and the crack "
            f"{_way(opened, unit, 'opened', 'closed')}, where a hinge at the crack goes with "
            f"{low:.1f} to {high:.1f} mm; one of the two may be misread, or the wall moves without turning there."
        ),
    }


def _bow_sd_mm(row: Row, variances: Variances) -> float:
    """Sd of a change between two visits by one method; an offset of unknown size was taken off and leaves its own."""
    code = [str(method) for method in sds.METHODS].index(row["method"])
    setup, own = sds.setup_sds(variances), variances.methods[sds.METHODS[code]].reading_mm
    lever = abs((row["x_mm"] or 0.0) - (row["length_mm"] or 0.0) / 2) / 1000
    offset = own if setup.free[code] else setup.offset[code]
    return float(2**0.5 * np.sqrt(own**2 + offset**2 + (setup.yaw[code] * lever) ** 2))


def _way(mm: float, unit: str, more: str, less: str) -> str:
    return f"{more if mm >= 0 else less} by {reasons.both(abs(mm), unit)}"
