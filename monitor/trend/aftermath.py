"""What was read right after the work of a reinforcement, on its day and in the take-up window.

These readings enter no rate. They stand on the same levels as those of the period after, and against the period before
they tell the step that the work made. A set-up whose offset is unknown tells no single mark's place: a plumb line's
mark is taken against the lowest mark of its column, a laser plane's against the line between its two end marks.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from monitor.config import END_REACH_MM, Variances
from monitor.records import dataclass
from monitor.terms import Method
from monitor.trend import variances as sds
from monitor.trend.cases import Cases
from monitor.trend.columns import Array
from monitor.trend.periods import Period
from monitor.trend.shapes import BOW
from monitor.trend.variances import METHODS
from monitor.units import DAYS_PER_YEAR


@dataclass(frozen=True)
class Contrast:
    """A mark as one method tells its place: weights of the marks it is read against, by number, itself with 1."""

    method: int
    weights: Mapping[int, float]

    def foretold(
        self, period: Period, day: int, *, newest: bool, cycle_day: int | None = None
    ) -> tuple[float, Array] | None:
        """What a period foretells for a day: value, and the functional behind it; None where it is not determined.

        newest: from the marks' newest levels by this method, else from their oldest.
        """
        total, functional = 0.0, np.zeros(period.layout.size)
        for mark, weight in self.weights.items():
            lines = [line for line in period.lines if (line.mark, line.method) == (mark, self.method)]
            if not lines:
                return None
            line = lines[-1 if newest else 0]
            functional += weight * period.reading(line, day, cycle_day)
            total += weight * line.center_mm
        return (total + period.value(functional), functional) if period.determined(functional) else None


@dataclass(frozen=True)
class Read:
    """A contrast as it was read after the work: value, and variance before moderation, wobble of the day included.

    later, later_variance: the same at the last visit of the take-up window, with what the yearly cycle may have done
    since; None where there was none.
    """

    contrast: Contrast
    value_mm: float
    variance: float
    later: float | None
    later_variance: float


class Reading(NamedTuple):
    """One reading of the day of the work or of the take-up window; variance: of the reading by itself, mm^2."""

    day: int
    method: int
    setup: int
    placing: int
    mark: int
    x_mm: float
    z_mm: float
    length_mm: float
    value_mm: float
    variance: float
    bow: float


def waiting(cases: Cases, variances: Variances) -> dict[int, list[Reading]]:
    """Readings by case that lie on the day of a reinforcement, after its work, or in the take-up window."""
    rows, table = cases.rows, cases.table
    start = np.where(table.period > 0, table.started_on, np.nan)
    chosen = np.flatnonzero((rows.day == start[rows.case]) | ~rows.counts)
    own = rows.take(chosen)
    variance = sds.reading_variance(variances, own.method, own.step_mm, own.error_factor)
    x_mm, z_mm = (place[own.mark] for place in (cases.marks.x_mm, cases.marks.z_mm))
    length_mm = cases.walls.length_mm[table.wall[own.case]]
    columns = (own.day, own.method, own.setup, own.placing, own.mark, x_mm, z_mm, length_mm, own.deflection_mm,
               variance, cases.seen[chosen, BOW])  # fmt: skip
    found: dict[int, list[Reading]] = {}
    for case, reading in zip(own.case.tolist(), map(Reading, *(column.tolist() for column in columns)), strict=True):
        found.setdefault(case, []).append(reading)
    return found


def read_after(readings: Sequence[Reading], mark: int, day: int, variances: Variances) -> list[Read]:
    """What was read of a mark after the work of a day, by each method, the sharpest first.

    readings: those of the period after, up to the end of its take-up window.
    """
    setup = sds.setup_sds(variances)
    last = max((one.day for one in readings), default=day)
    found = []
    for method in sorted({one.method for one in readings if one.day == day}):
        of_method = [one for one in readings if one.method == method]
        now = [one for one in of_method if one.day == day]
        weights = _weights(now, mark, method, setup)
        if weights is None:
            continue
        contrast = Contrast(method, weights)
        value = _mean(now, contrast, setup, variances.wobble_mm)
        if value is None:
            continue
        until = [one for one in of_method if one.day == last] if last > day else []
        then = _mean(until, contrast, setup, variances.wobble_mm)
        swung = _swing(now, contrast, day, last, variances)
        found.append(Read(contrast, *value, *((then[0], then[1] + swung) if then else (None, 0.0))))
    return sorted(found, key=lambda read: read.variance)


def _weights(now: Sequence[Reading], mark: int, method: int, setup: sds.SetupSds) -> dict[int, float] | None:
    """The contrast of a mark among the readings of one method; None where the method does not tell its place."""
    place = {one.mark: one for one in now}
    if mark not in place:
        return None
    if not setup.free[method]:
        return {mark: 1.0}
    own = place[mark]
    if METHODS[method] == Method.PLUMB:
        column = [one for one in place.values() if one.placing == own.placing]
        base = min(column, key=lambda one: (one.z_mm, one.mark)).mark
        return None if base == mark else {mark: 1.0, base: -1.0}
    left = min(place.values(), key=lambda one: (one.x_mm, one.mark))
    right = max(place.values(), key=lambda one: (one.x_mm, one.mark))
    at_ends = left.x_mm <= END_REACH_MM and right.x_mm >= own.length_mm - END_REACH_MM
    if not at_ends or not left.x_mm < own.x_mm < right.x_mm:
        return None
    share = (own.x_mm - left.x_mm) / (right.x_mm - left.x_mm)
    return {mark: 1.0, left.mark: share - 1.0, right.mark: -share}


def _mean(
    readings: Sequence[Reading], contrast: Contrast, setup: sds.SetupSds, wobble_mm: float
) -> tuple[float, float] | None:
    """Mean of a contrast over the set-ups that hold all its marks, and its variance; None where none does."""
    by_setup: dict[int, dict[int, list[Reading]]] = {}
    for one in readings:
        if one.mark in contrast.weights:
            by_setup.setdefault(one.setup, {}).setdefault(one.mark, []).append(one)
    whole = [marks for marks in by_setup.values() if len(marks) == len(contrast.weights)]
    if not whole:
        return None
    value, own = 0.0, 0.0
    for marks in whole:
        for mark, weight in contrast.weights.items():
            share = weight / len(marks[mark]) / len(whole)
            value += share * sum(one.value_mm for one in marks[mark])
            own += share**2 * sum(one.variance for one in marks[mark])
    method = contrast.method
    at = [(contrast.weights[mark], read[0]) for mark, read in whole[0].items()]
    offset = setup.offset[method] * sum(weight for weight, _ in at)
    yaw = setup.yaw[method] * sum(w * _known(one.x_mm - one.length_mm / 2) / 1000 for w, one in at)
    tilt = setup.tilt[method] * sum(w * _known(one.z_mm) / 1000 for w, one in at)
    wobble = wobble_mm * sum(w * one.bow for w, one in at)
    return value, float(own + (offset**2 + yaw**2 + tilt**2) / len(whole) + wobble**2)


def _swing(now: Sequence[Reading], contrast: Contrast, day: int, last: int, variances: Variances) -> float:
    """Variance of what the yearly cycle of a wall that nothing is known of does to the contrast between two days."""
    bow = {one.mark: one.bow for one in now}
    turn = 2 * np.sin(np.pi * (last - day) / DAYS_PER_YEAR)
    moved = turn * sum(weight * bow[mark] for mark, weight in contrast.weights.items())
    return float(sds.season_variance(variances) * moved**2)


def _known(lever_mm: float) -> float:
    """A lever, 0 where the mark's place is not known, as in the fit."""
    return 0.0 if np.isnan(lever_mm) else lever_mm
