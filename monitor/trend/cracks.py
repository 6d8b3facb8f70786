"""Crack widths beside the bow: two witnesses of one movement, held against each other.

A wall that bows about a horizontal crack turns like two leaves of a hinge, and the crack opens on the inner face by at
most the thickness times the tangents of both leaves' angles: exact for a wall hinged there with its ends held, about
4 t d / h for a crack at mid-height (geometry, no source needed). What opens is often less, for several joints share the
turn; how much less is common practice, no source: half an inch of bow goes with 1/16 in at the least.
"""

import numpy as np
import pyarrow as pa
from numpy.typing import ArrayLike

from monitor.config import Variances
from monitor.records import dataclass
from monitor.terms import LengthUnit
from monitor.trend import columns, reasons
from monitor.trend import variances as sds
from monitor.trend.cases import Cases
from monitor.trend.coded import part_words
from monitor.trend.columns import Array, Whole
from monitor.trend.variances import METHODS
from monitor.units import MM_PER_INCH

WIDTH_SD_MM = 0.3
"""One reading of a crack's width with a card or a rule (from memory, no source; fixed studs do better)."""
LEAST_SHARE = (MM_PER_INCH / 16) / (4 * 8 * MM_PER_INCH * 0.5 / 96)
"""Least share of the hinge's opening: 1/16 in for 1/2 in of bow of a wall 8 in thick and 96 in high."""
APART_SDS = 2.0
"""How many sds beyond that range the two must stand apart."""


@dataclass(frozen=True)
class Widths:
    """Mean crack width of each mark at each visit, by case, mark and visit; all (widths,)."""

    case: Whole
    mark: Whole
    visit: Whole
    day: Array
    part: Whole
    mm: Array


def opening_mm(bow_mm: ArrayLike, thickness_mm: ArrayLike, height_mm: ArrayLike, crack_mm: ArrayLike = np.nan) -> Array:
    """Opening on the inner face of cracks at `crack_mm` (mid-height where it is not known) that have come in by a bow.

    Negative for a bow outward: the crack closes.
    """
    bow_mm, thickness_mm, height_mm, crack_mm = (
        np.asarray(each, dtype=np.float64) for each in (bow_mm, thickness_mm, height_mm, crack_mm)
    )
    below = np.where((crack_mm > 0) & (crack_mm < height_mm), crack_mm, height_mm / 2)
    angles = (np.arcsin(np.clip(bow_mm / leaf, -1, 1)) for leaf in (below, height_mm - below))
    return np.asarray(thickness_mm * sum(np.tan(angle) for angle in angles))


def widths(cases: Cases, readings: pa.Table) -> Widths:
    """Widths that were read with the used readings."""
    rows, mm = cases.rows, columns.reals(readings["crack_width_mm"])[cases.rows.reading]
    noted = np.flatnonzero(~np.isnan(mm))
    group, first = columns.numbered(rows.case[noted], rows.mark[noted], rows.visit[noted])
    at = noted[first]
    mean = columns.means(mm[noted], group)
    return Widths(rows.case[at], rows.mark[at], rows.visit[at], rows.day[at].astype(np.float64), rows.part[at], mean)


def notes(cases: Cases, movement: pa.Table, readings: pa.Table, walls: pa.Table, variances: Variances) -> pa.Array:
    """One sentence for each current period whose crack widths and bow do not go together, '' for the others (cases,).

    movement: schema.MOVEMENT; readings, walls: as the assessment takes them. A mark's first visit with a width is held
    against its last, on one level and by one method; of several marks that do not fit the one furthest off is told.
    """
    said = np.full(len(cases.table), "", dtype=object)
    read = widths(cases, readings)
    if len(read.case):
        found = _changes(cases, movement, read)
        told = _judged(cases, found, walls, variances)
        unit = columns.taken(walls["unit"], cases.walls.row[cases.table.wall])
        for at in told.rows:
            said[found.case[at]] = _sentence(cases, found, told, int(at), unit[found.case[at]].as_py())
    return pa.array(said.tolist(), pa.string())


@dataclass(frozen=True)
class _Changes:
    """What marks and cracks did between the first and the last visit with a width; all (changes,)."""

    case: Whole
    mark: Whole
    method: Whole
    bow_mm: Array
    opened_mm: Array
    since: Array
    until: Array


def _changes(cases: Cases, movement: pa.Table, read: Widths) -> _Changes:
    """The changes of the marks of current periods, one per mark, level and method with at least two widths."""
    day = columns.dates(read.day)
    parts = part_words(read.part)
    noted = pa.table({**cases.keys(read.case), "mark": cases.mark_names(read.mark), "visit_date": day, "part": parts})
    place = columns.places(movement, noted, noted.column_names)
    rows = np.flatnonzero((place >= 0) & cases.table.is_current[read.case[place]])
    of = place[rows]
    stretch = columns.whole(movement["stretch"])[rows]
    method = columns.codes(movement["method"], list(METHODS))[rows]
    order = np.lexsort((read.visit[of], method, stretch, read.mark[of], read.case[of]))
    rows, of, stretch, method = rows[order], of[order], stretch[order], method[order]
    first = columns.numbered(read.case[of], read.mark[of], stretch, method)[1]
    last = np.append(first[1:], len(of)) - 1
    first, last = first[last > first], last[last > first]
    mm = columns.reals(movement["deflection_mm"])[rows]
    return _Changes(
        case=read.case[of[first]],
        mark=read.mark[of[first]],
        method=method[first],
        bow_mm=mm[last] - mm[first],
        opened_mm=read.mm[of[last]] - read.mm[of[first]],
        since=read.day[of[first]],
        until=read.day[of[last]],
    )


@dataclass(frozen=True)
class _Judged:
    """rows: of each case the change that fits least, if it does not fit; low, high: of what a hinge goes with."""

    rows: Whole
    low_mm: Array
    high_mm: Array


def _judged(cases: Cases, found: _Changes, walls: pa.Table, variances: Variances) -> _Judged:
    wall = cases.table.wall[found.case]
    thickness = columns.reals(columns.taken(walls["thickness_mm"], cases.walls.row[wall]))
    size = (thickness, cases.walls.clear_height_mm[wall], cases.walls.crack_height_mm[wall])
    full, slope = opening_mm(found.bow_mm, *size), opening_mm(np.ones(len(wall)), *size)
    low, high = np.sort([LEAST_SHARE * full, full], axis=0)
    off = found.opened_mm - np.clip(found.opened_mm, low, high)
    bow_sd = _bow_sd_mm(cases, found, variances)
    sd = np.hypot(2**0.5 * WIDTH_SD_MM, slope * np.where(off > 0, 1.0, LEAST_SHARE) * bow_sd)
    apart = np.abs(off) / sd
    told = np.flatnonzero(apart > APART_SDS)
    return _Judged(told[columns.leaders(found.case[told], -apart[told])], low, high)


def _bow_sd_mm(cases: Cases, found: _Changes, variances: Variances) -> Array:
    """Sd of a change between two visits by one method; an offset of unknown size was taken off and leaves its own."""
    setup = sds.setup_sds(variances)
    own = np.array([variances.methods[method].reading_mm for method in METHODS])
    length_mm = cases.walls.length_mm[cases.table.wall[found.case]]
    lever = np.abs(np.nan_to_num(cases.marks.x_mm[found.mark]) - np.nan_to_num(length_mm) / 2) / 1000
    offset = np.where(setup.free, own, setup.offset)
    square = (own**2 + offset**2)[found.method] + (setup.yaw[found.method] * lever) ** 2
    return np.asarray(2**0.5 * np.sqrt(square))


def _sentence(cases: Cases, found: _Changes, told: _Judged, at: int, unit: str) -> str:
    mark = cases.marks.name[found.mark[at]].as_py()
    unit = unit or LengthUnit.INCH
    since, until = (columns.date_of(days[at]) for days in (found.since, found.until))
    return (
        f"Bow and crack do not go together at mark {mark}: from {since} to {until} the mark came "
        f"{_way(found.bow_mm[at], unit, 'in', 'out')} and the crack "
        f"{_way(found.opened_mm[at], unit, 'opened', 'closed')}, where a hinge at the crack goes with "
        f"{told.low_mm[at]:.1f} to {told.high_mm[at]:.1f} mm; one of the two may be misread, or the wall moves without "
        "turning there."
    )


def _way(mm: float, unit: str, more: str, less: str) -> str:
    return f"{more if mm >= 0 else less} by {reasons.both(abs(float(mm)), unit)}"
