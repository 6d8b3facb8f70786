"""The movement of each mark, visit by visit, beside its fitted trend: what a chart shows."""

import numpy as np
import pyarrow as pa

from monitor.records import dataclass
from monitor.schema.arrays import array_of
from monitor.trend import bounds
from monitor.trend.cases import Cases, packed
from monitor.trend.coded import method_words, part_words
from monitor.trend.columns import Array, Flags, Whole, dates, numbers
from monitor.trend.parts import Part
from monitor.units import DAYS_PER_YEAR


@dataclass(frozen=True)
class Lines:
    """What the fits say of each row of Cases.rows: NaN where it does not count; all (rows,).

    level, time0, offset as parts.Levels; rate, lower, upper: of its mark, mm/yr.
    """

    level: Array
    time0: Array
    offset: Array
    rate: Array
    lower: Array
    upper: Array

    @classmethod
    def nothing(cls, rows: int) -> "Lines":
        """Before any fit."""
        return cls(*(np.full(rows, np.nan) for _ in range(6)))

    def learn(self, part: Part, rows: Whole, of: Flags) -> None:
        """Take in what a part says of some of its readings (R,): `rows` numbers the rows they are."""
        found, pair = part.levels(), bounds.pair(part.fit.mark_rate, part.fit.mark_se, part.scale)
        place = (part.of[of], part.mark[of])
        at = rows[of]
        self.level[at], self.time0[at], self.offset[at] = found.level[of], found.time0[of], found.offset[of]
        self.rate[at], self.lower[at], self.upper[at] = part.fit.mark_rate[place], pair.lower[place], pair.upper[place]


def movement(cases: Cases, lines: Lines) -> pa.Table:
    """Table schema.MOVEMENT: one row per mark, stretch and visit.

    The zero of a stretch is where its fitted line starts, at its first counting visit; where the mark has no line,
    its first value. A free set-up offset is taken off by its estimate. The band opens from that zero with the bounds
    of the mark's rate, so that page, table and chart show the same pair.
    """
    rows = cases.rows
    if not len(rows):
        none = np.zeros(0, dtype=np.intp)
        return pa.table(_columns(cases, none, {name: np.zeros(0) for name in _REAL}, none))
    stretch = packed(rows.case, rows.mark, rows.stretch)
    key = packed(stretch, rows.day, rows.part)
    order = np.argsort(key, kind="stable")
    begins = np.flatnonzero(np.diff(key[order], prepend=-1))
    first = order[begins]
    size = np.diff(begins, append=len(order))
    value = (rows.deflection_mm - np.nan_to_num(lines.offset))[order]
    value = value if (size == 1).all() else np.add.reduceat(value, begins) / size
    starts = np.flatnonzero(np.diff(stretch[first], prepend=-1))
    length = np.diff(starts, append=len(first))

    def of_stretch(values: Array) -> Array:
        return np.repeat(np.fmin.reduceat(values, starts), length)

    told = {name: of_stretch(_least(getattr(lines, name)[order], begins)) for name in ("level", "time0")}
    counts, day = rows.counts[first], rows.day[first].astype(np.float64)
    start = of_stretch(np.where(counts, day, np.nan))
    rate, lower, upper = (
        of_stretch(_least(getattr(lines, name)[order], begins)) for name in ("rate", "lower", "upper")
    )
    zero = told["level"] + rate * (start - told["time0"]) / DAYS_PER_YEAR
    elapsed = np.where(counts, (day - start) / DAYS_PER_YEAR, np.nan)
    of_zero = np.where(np.isnan(zero), np.repeat(value[starts], length), zero)
    return pa.table(
        _columns(
            cases,
            first,
            {
                "deflection_mm": value - of_zero,
                "trend_mm": rate * elapsed,
                "band_lower_mm": lower * elapsed,
                "band_upper_mm": upper * elapsed,
            },
            size,
        )
    )


_REAL = ("deflection_mm", "trend_mm", "band_lower_mm", "band_upper_mm")


def _least(values: Array, begins: Whole) -> Array:
    """The value of each run of rows, which those that have one share."""
    return values[begins] if len(begins) == len(values) else np.asarray(np.fmin.reduceat(values, begins))


def _columns(cases: Cases, first: Whole, real: dict[str, Array], size: Whole) -> dict[str, pa.Array]:
    rows = cases.rows
    return {
        **cases.keys(rows.case[first]),
        "mark": cases.mark_names(rows.mark[first]),
        "stretch": array_of(rows.stretch[first].astype(np.int32)),
        "visit_date": dates(rows.day[first]),
        "part": part_words(rows.part[first]),
        "method": method_words(rows.method[first]),
        "counts": array_of(rows.counts[first]),
        "readings": array_of(size.astype(np.int32)),
        **{name: numbers(values) for name, values in real.items()},
    }
