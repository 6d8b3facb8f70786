"""Do the wall's ends hold still? A string stands on them: what they do, it does not see.

An end column of a plumb line is judged by itself: each mark less the lowest of its column, set-up by set-up, so that
the line's unknown offset drops out, and a straight line in time through these differences. The model of the whole wall
takes return walls as still and would take such a movement for the mark's own deviation.
"""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor.config import Variances
from monitor.records import dataclass
from monitor.terms import LengthUnit
from monitor.trend import bounds, columns, cracks
from monitor.trend import variances as sds
from monitor.trend.cases import PLUMB, STRING, Cases, Rows
from monitor.trend.columns import Array, Whole
from monitor.units import DAYS_PER_YEAR, length_text, rate_text

REACH_MM = 500.0
REACH_SHARE = 0.06
"""A column within half a metre or 6 % of the length of a return wall speaks for that end (our choice)."""
STILL_MM_PER_YEAR = 0.5
"""Less than this, beyond what the wall's bow carries to the column, is no movement of the end (our choice)."""
LEAST_VISITS = 3
OPENED_MM = 0.5
"""A crack at an end must be shown to have opened by more than this (our choice)."""

_SIDES = ("left", "right")


@dataclass(frozen=True)
class Governing:
    """Of each case the number (-1 for none) and the rate of its governing mark, and the wall's upper bound (cases,)."""

    mark: Whole
    rate: Array
    upper: Array


@dataclass(frozen=True)
class _Ends:
    """Movement of marks of end columns against their base, mm/yr, with one-sided 95 % bounds; all (ends,).

    side: place in _SIDES; column: a number per column of a case; base: mark of its base; x_mm: where it stands.
    """

    case: Whole
    side: Whole
    column: Whole
    mark: Whole
    base: Whole
    x_mm: Array
    rate: Array
    lower: Array
    upper: Array


@dataclass(frozen=True)
class _Opened:
    """Cracks at ends that are shown to have opened, of each case and side the widest; all (cracks,), by case."""

    case: Whole
    side: Whole
    mark: Whole
    mm: Array
    since: Array
    until: Array


def notes(
    cases: Cases, governing: Governing, readings: pa.Table, walls: pa.Table, variances: Variances
) -> tuple[pa.Array, pa.Array]:
    """A note (sentences) and a doubt (a clause) on each current period with an end that is not still, else '' (cases,).

    readings, walls: as the assessment takes them.
    """
    side = _sides(cases)
    measured, opened = _measured(cases, side, variances), _opened(cases, side, readings)
    moving = _moving(cases, measured, governing)
    note, doubt = (np.full(len(cases.table), "", dtype=object) for _ in range(2))
    told = columns.different(np.concatenate([measured.case[moving], opened.case]))
    told = told[cases.table.is_current[told]]
    units = columns.taken(walls["unit"], cases.walls.row[cases.table.wall[told]]).to_pylist()
    for case, written in zip(told.tolist(), units, strict=True):
        unit = written or LengthUnit.INCH
        ends, cracked = moving[_of(case, measured.case[moving])], np.arange(len(opened.case))[_of(case, opened.case)]
        sentences = [_sentence(cases, measured, end, unit) for end in ends]
        if len(ends) and (corrected := _corrected(cases, measured, ends, case, governing, unit)):
            sentences[-1] = f"{sentences[-1].removesuffix('.')}, so that {corrected}."
        sentences += [_cracked(cases, opened, crack, unit) for crack in cracked]
        doubts = [
            f"its {_SIDES[measured.side[end]]} end is not still ({rate_text(measured.rate[end], unit)} by its "
            "plumb line)"
            for end in ends
        ]
        doubts += [f"the crack at its {_SIDES[opened.side[crack]]} end opens" for crack in cracked]
        note[case], doubt[case] = " ".join(sentences), " and ".join(doubts)
    return pa.array(note.tolist(), pa.string()), pa.array(doubt.tolist(), pa.string())


def doubted(doubt: pa.Array, of_ends: pa.Array) -> pa.Array:
    """What is said of the ends joined to the doubt that asks for another look at the wall; null where there is none."""
    doubt = pc.fill_null(doubt, "")
    both = pc.and_(pc.not_equal(doubt, ""), pc.not_equal(of_ends, ""))
    joined = pc.binary_join_element_wise(doubt, of_ends, pc.if_else(both, " and ", ""))
    return pc.if_else(pc.equal(joined, ""), pa.scalar(None, pa.string()), joined)


def _of(case: int, cases: Whole) -> slice:
    """Where a case stands among sorted ones."""
    return slice(int(np.searchsorted(cases, case)), int(np.searchsorted(cases, case, side="right")))


def _sides(cases: Cases) -> Whole:
    """Place in _SIDES of the end, held by a return wall, that each mark stands at; -1 where at none (marks,)."""
    marks, walls = cases.marks, cases.walls
    length_mm = walls.length_mm[marks.wall]
    reach = np.maximum(REACH_MM, REACH_SHARE * length_mm)
    left = (marks.x_mm <= reach) & ~walls.left_free[marks.wall]
    right = (marks.x_mm >= length_mm - reach) & ~walls.right_free[marks.wall]
    return np.where(left, 0, np.where(right, 1, -1))


def _measured(cases: Cases, side: Whole, variances: Variances) -> _Ends:
    """Marks of the end columns of current periods against the lowest of each, where enough visits read both."""
    rows, marks, z_mm = cases.rows, cases.marks, cases.marks.z_mm
    read = rows.counts & (rows.method == PLUMB) & (side[rows.mark] >= 0) & cases.table.is_current[rows.case]
    own = rows.take(np.flatnonzero(read))
    column, first = columns.numbered(own.case, side[own.mark], own.placing)
    base = np.full(len(first), -1)
    known = np.flatnonzero(~np.isnan(z_mm[own.mark]))
    lowest = known[columns.leaders(column[known], z_mm[own.mark[known]])]
    base[column[lowest]] = own.mark[lowest]
    at_base = own.mark == base[column]
    high, low = np.flatnonzero(~at_base), np.flatnonzero(at_base)
    low = low[np.argsort(own.setup[low], kind="stable")]
    of_high, of_low = columns.pairs(own.setup[high], own.setup[low])
    high, low = high[of_high], low[of_low]
    end, start = columns.numbered(column[high], own.mark[high])
    visits = columns.numbered(end, own.visit[high])[1]
    enough = np.bincount(end[visits], minlength=len(start)) >= LEAST_VISITS
    high, low, start = high[enough[end]], low[enough[end]], high[start[enough]]
    rate, se, dof = _lines(own, high, low, columns.numbered(end[enough[end]])[0], variances)
    reach = bounds.quantile(bounds.LEVEL, dof) * se
    of_column = column[start]
    return _Ends(
        case=own.case[start],
        side=side[own.mark[start]],
        column=of_column,
        mark=own.mark[start],
        base=base[of_column],
        x_mm=marks.x_mm[own.mark[first[of_column]]],
        rate=rate,
        lower=rate - reach,
        upper=rate + reach,
    )


def _lines(rows: Rows, high: Whole, low: Whole, end: Whole, variances: Variances) -> tuple[Array, Array, Array]:
    """Rate, its standard error after moderation and degrees of freedom of each end (ends,).

    A weighted line through the differences of its pairs (high, low), with a level per pair of stretches.
    """
    variance = sum(
        sds.reading_variance(variances, rows.method[row], rows.step_mm[row], rows.error_factor[row])
        for row in (high, low)
    )
    weight = 1 / np.asarray(variance)
    level, first = columns.numbered(end, rows.stretch[high], rows.stretch[low])
    levels = np.bincount(end[first])

    def summed(values: Array) -> Array:
        return np.asarray(np.bincount(end, values), dtype=np.float64)

    t, y = (
        values - (np.bincount(level, weight * values) / np.bincount(level, weight))[level]
        for values in (rows.day[high] / DAYS_PER_YEAR, rows.deflection_mm[high] - rows.deflection_mm[low])
    )
    spread = summed(weight * t**2)
    told = spread > 0
    rate = np.divide(summed(weight * t * y), spread, out=np.zeros_like(spread), where=told)
    q, d = summed(weight * (y - rate[end] * t) ** 2), summed(np.ones(len(end))) - levels - 1.0
    scale = bounds.moderated(q, d, variances)
    variance_of_rate = np.divide(scale.variance, spread, out=np.full_like(spread, np.inf), where=told)
    return rate, np.sqrt(variance_of_rate), np.where(told, scale.dof, variances.scale_dof)


def _moving(cases: Cases, ends: _Ends, governing: Governing) -> Whole:
    """The ends that are shown to move, of each case and side that of the mark that is shown to move most, in order."""
    carried = np.sin(np.pi * ends.x_mm / cases.walls.length_mm[cases.table.wall[ends.case]])
    still = STILL_MM_PER_YEAR + carried * np.fmax(governing.upper[ends.case], 0.0)
    found = np.flatnonzero((ends.lower > still) | (ends.upper < -STILL_MM_PER_YEAR))
    shown = -np.maximum(ends.lower, -ends.upper)[found]
    return found[columns.leaders(2 * ends.case[found] + ends.side[found], shown, ends.mark[found])]


def _sentence(cases: Cases, ends: _Ends, end: int, unit: str) -> str:
    low, high = (rate_text(rates[end], unit) for rates in (ends.lower, ends.upper))
    side, mark = _SIDES[ends.side[end]], cases.marks.name[ends.mark[end]]
    return (
        f"The {side} end is not still: its plumb line shows {mark} moving {rate_text(ends.rate[end], unit)} inward "
        f"against its base (between {low.split(' ')[0]} and {high}, 9 times in 10)."
    )


def _corrected(cases: Cases, measured: _Ends, ends: Whole, case: int, governing: Governing, unit: str) -> str:
    """What the string tells too little or too much; '' where nothing is read by string.

    Of the governing mark where the string tells it, else of the string's mark next to the middle of the wall.
    """
    own = np.arange(len(cases.rows))[_of(case, cases.rows.case)]
    strung = cases.rows.mark[own[cases.rows.method[own] == STRING]]
    if not len(strung):
        return ""
    governs = bool(np.any(strung == governing.mark[case]))
    shares = cases.marks.x_mm[strung] / cases.walls.length_mm[cases.table.wall[case]]
    from_middle = np.nan_to_num(np.abs(shares - 0.5), nan=np.inf)
    mark = int(governing.mark[case] if governs else strung[from_middle.argmin()])
    share = float(shares[strung == mark][0])
    hidden = 0.0
    for end in ends:
        at = _at_height(cases, measured, float(cases.marks.z_mm[mark]), int(end))
        hidden += at * (1 - share if _SIDES[measured.side[end]] == "left" else share)
    if not np.isfinite(hidden) or abs(hidden) < 1e-9:
        return ""
    stands_on, way = "them" if len(ends) > 1 else "it", "low" if hidden > 0 else "high"
    told = (
        f"the string, which stands on {stands_on}, tells the rate of mark {cases.marks.name[mark]} about "
        f"{rate_text(abs(hidden), unit)} too {way}"
    )
    rate = float(governing.rate[case])
    if not governs or np.isnan(rate):
        return told
    return f"{told}: rather {rate_text(rate + hidden, unit)} than {rate_text(rate, unit)}"


def _at_height(cases: Cases, measured: _Ends, z_mm: float, end: int) -> float:
    """The rate of an end's column at a height, on straight lines between its marks and its base, level beyond them."""
    column = np.arange(len(measured.column))[_of(int(measured.column[end]), measured.column)]
    heights = cases.marks.z_mm
    places = [(heights[measured.base[end]], 0.0), *((heights[measured.mark[n]], measured.rate[n]) for n in column)]
    places.sort()
    return float(np.interp(z_mm, [place[0] for place in places], [place[1] for place in places]))


def _opened(cases: Cases, side: Whole, readings: pa.Table) -> _Opened:
    """Cracks at ends that are shown to have opened; of each case the side that opened most comes first."""
    read = cracks.widths(cases, readings)
    at_end = np.flatnonzero(side[read.mark] >= 0)
    start = columns.numbered(read.case[at_end], read.mark[at_end])[1]
    first, last = at_end[start], at_end[np.append(start[1:], len(at_end))[: len(start)] - 1]
    opened = read.mm[last] - read.mm[first]
    reach = float(bounds.quantile(bounds.LEVEL, np.asarray(np.inf))) * 2**0.5 * cracks.WIDTH_SD_MM
    shown = np.flatnonzero(opened - reach > OPENED_MM)
    case, at, opened = read.case[first[shown]], side[read.mark[first[shown]]], opened[shown]
    widest = columns.leaders(2 * case + at, -opened)
    widest = widest[np.lexsort((-opened[widest], case[widest]))]
    first, last = first[shown[widest]], last[shown[widest]]
    return _Opened(case[widest], at[widest], read.mark[first], opened[widest], read.day[first], read.day[last])


def _cracked(cases: Cases, opened: _Opened, crack: int, unit: str) -> str:
    since, until = (columns.date_of(days[crack]) for days in (opened.since, opened.until))
    side, mark = _SIDES[opened.side[crack]], cases.marks.name[opened.mark[crack]]
    return (
        f"The {side} end is not still: the crack at {mark} opened by "
        f"{length_text(float(opened.mm[crack]), unit, denominator=32)} from {since} to {until}."
    )
