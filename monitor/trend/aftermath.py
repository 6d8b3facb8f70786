"""What was read right after the work of a reinforcement, on its day and in the take-up window.

These readings enter no rate. They stand on the same levels as those of the period after, and against the period before
they tell the step that the work made. A set-up whose offset is unknown tells no single mark's place: a plumb line's
mark is taken against the lowest mark of its column, a laser plane's against the line between its two end marks.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from monitor.config import END_REACH_MM, Variances
from monitor.terms import Method
from monitor.trend import variances as sds
from monitor.trend.cases import Cases
from monitor.trend.periods import Period
from monitor.trend.shapes import BOW, Array
from monitor.trend.variances import METHODS
from monitor.units import DAYS_PER_YEAR


@dataclass(frozen=True)
class Contrast:
    """A mark as one method tells its place: weights of the marks it is read against, itself with 1."""

    method_code: int
    weights: Mapping[str, float]

    def foretold(
        self, period: Period, day: int, *, newest: bool, cycle_day: int | None = None
    ) -> tuple[float, Array] | None:
        """What a period foretells for a day: value, and the functional behind it; None where it is not determined.

        newest: from the marks' newest levels by this method, else from their oldest.
        """
        total, functional = 0.0, np.zeros(period.layout.size)
        for mark, weight in self.weights.items():
            same = (period.lines["mark"] == mark) & (period.lines["method_code"] == self.method_code)
            of_mark = np.flatnonzero(same.to_numpy(bool))
            if not len(of_mark):
                return None
            line = int(of_mark[-1 if newest else 0])
            functional += weight * period.reading(line, day, cycle_day)
            total += weight * float(period.lines["center"].iloc[line])
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


def read_after(waiting: pd.DataFrame, seen: Array, mark: str, day: int, variances: Variances) -> list[Read]:
    """What was read of a mark after the work of a day, by each method, the sharpest first.

    waiting: the rows (Cases.rows) of the period after up to the end of its take-up window; seen: their shapes.
    """
    at_once = (waiting["day"] == day).to_numpy(bool)
    last = waiting["day"].max()
    found = []
    for method_code in sorted(set(waiting["method_code"][at_once])):
        of_method = (waiting["method_code"] == method_code).to_numpy(bool)
        chosen = at_once & of_method
        weights = _weights(waiting[chosen], mark, int(method_code), variances)
        if weights is None:
            continue
        contrast = Contrast(int(method_code), weights)
        now = _mean(waiting[chosen], seen[chosen], contrast, variances)
        if now is None:
            continue
        late = of_method & (waiting["day"] == last).to_numpy(bool)
        then = _mean(waiting[late], seen[late], contrast, variances) if last > day else None
        swung = _swing(waiting[chosen], seen[chosen], contrast, day, int(last), variances)
        found.append(Read(contrast, *now, *((then[0], then[1] + swung) if then else (None, 0.0))))
    return sorted(found, key=lambda read: read.variance)


def waiting_rows(cases: Cases, case: int, day: int) -> tuple[pd.DataFrame, Array]:
    """Rows of a case that lie on the day of the work or in its take-up window, with their shapes."""
    first, last = np.searchsorted(cases.rows["case"].to_numpy(np.intp), [case, case + 1])
    rows = cases.rows.iloc[first:last]
    chosen = ((rows["day"] == day) | ~rows["counts"]).to_numpy(bool)
    return rows[chosen], cases.seen[first:last][chosen]


def _weights(rows: pd.DataFrame, mark: str, method_code: int, variances: Variances) -> dict[str, float] | None:
    """The contrast of a mark among the rows of one method; None where the method does not tell its place."""
    own = rows[rows["mark"] == mark]
    if own.empty:
        return None
    if not sds.setup_sds(variances).free[method_code]:
        return {mark: 1.0}
    place = rows.drop_duplicates("mark").set_index("mark")
    if METHODS[method_code] == Method.PLUMB:
        base = place["z_mm"][place["setup_part"] == own["setup_part"].iloc[0]].idxmin()
        return None if base == mark else {mark: 1.0, str(base): -1.0}
    length, x = float(own["length_mm"].iloc[0]), place["x_mm"]
    left, right = x[x <= END_REACH_MM], x[x >= length - END_REACH_MM]
    if left.empty or right.empty or mark in left.index or mark in right.index:
        return None
    first, last = str(left.idxmin()), str(right.idxmax())
    share = (x[mark] - x[first]) / (x[last] - x[first])
    return {mark: 1.0, first: float(share) - 1.0, last: -float(share)}


def _mean(rows: pd.DataFrame, seen: Array, contrast: Contrast, variances: Variances) -> tuple[float, float] | None:
    """Mean of a contrast over the set-ups that hold all its marks, and its variance; None where none does."""
    method, setup = contrast.method_code, sds.setup_sds(variances)
    weight = rows["mark"].map(contrast.weights).to_numpy(np.float64)
    rows, seen, weight = rows[~np.isnan(weight)], seen[~np.isnan(weight)], weight[~np.isnan(weight)]
    whole = rows.groupby("setup")["mark"].transform("nunique").to_numpy() == len(contrast.weights)
    rows, seen, weight = rows[whole], seen[whole], weight[whole]
    setups = rows["setup"].nunique()
    if not setups:
        return None
    share = weight / rows.groupby(["setup", "mark"])["mark"].transform("size").to_numpy() / setups
    steps = (rows[name].to_numpy(np.float64) for name in ("step_mm", "error_factor"))
    own = sds.reading_variance(variances, np.full(len(rows), method), *steps)
    x_m = (rows["x_mm"] - rows["length_mm"] / 2).fillna(0.0).to_numpy(np.float64) / 1000
    z_m = rows["z_mm"].fillna(0.0).to_numpy(np.float64) / 1000
    levers = ((setup.offset, 1.0), (setup.yaw, x_m), (setup.tilt, z_m))
    shared = sum((sd[method] * (share * lever).sum()) ** 2 / setups for sd, lever in levers)
    wobble = (variances.wobble_mm * (share * seen[:, BOW]).sum()) ** 2
    return float(share @ rows["deflection_mm"].to_numpy(np.float64)), float(share**2 @ own + shared + wobble)


def _swing(rows: pd.DataFrame, seen: Array, contrast: Contrast, day: int, last: int, variances: Variances) -> float:
    """Variance of what the yearly cycle of a wall that nothing is known of does to the contrast between two days."""
    first = ~rows["mark"].duplicated().to_numpy(bool)
    weight = rows["mark"][first].map(contrast.weights).fillna(0.0).to_numpy(np.float64)
    turn = 2 * np.sin(np.pi * (last - day) / DAYS_PER_YEAR)
    return float(sds.season_variance(variances) * (turn * (weight @ seen[first, BOW])) ** 2)
