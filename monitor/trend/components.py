"""Bow, tip and slide visit by visit, beside their fitted lines: what a chart of the components shows.

A help for the eye. Rates, bounds and verdicts come from the fit of all readings together, never from these points.
"""

from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor.config import Variances
from monitor.records import dataclass
from monitor.terms import End, Method
from monitor.trend import variances as sds
from monitor.trend.cases import CASE, STRING, WALL
from monitor.trend.coded import PARTS
from monitor.trend.shapes import COMPONENTS, Array, seen_shapes
from monitor.trend.variances import METHODS
from monitor.units import DAYS_PER_YEAR

COLUMNS = [*CASE, "component", "visit_date", "part", "counts", "value_mm", "trend_mm", "band_lower_mm", "band_upper_mm"]

_LEVEL = [*CASE, "mark", "stretch"]
_VISIT = [*CASE, "visit_date", "part"]
_FREE_SD_MM = 1e3
"""Stands for a set-up offset of unknown size: far beyond any wall."""
_LEAST, _APART = 1e-12, 1e-3
"""Information below this share is none; a component that keeps all but this share of itself is told apart."""


def components(
    movement: pd.DataFrame, results: pd.DataFrame, walls: pd.DataFrame, marks: pd.DataFrame, variances: Variances
) -> pd.DataFrame:
    """Table schema.COMPONENTS: one row per period, component that is measured there, and visit that sees it.

    movement, results (schema.WALL_RESULTS), walls, marks: columns of the schemas of those names, dates as datetime64.
    Of each mark's movement is taken what the components' rates say it has done since its own zero; what is left at one
    visit is split into the components by generalised least squares, with the visit's set-up errors, and added to each
    component's line. Where a wall's marks are read from first to last, and just tell the components, the value is the
    component of the movement as read: bow = middle less the line from bottom to top. Line and band open at the first
    visit that counts, as those of the marks do.
    """
    rows = _rows(movement, results, walls, marks)
    code = np.array([METHODS.index(Method(name)) for name in rows["method"]], dtype=np.intp)
    seen, rates = _seen_by(rows, code), rows[[f"{part}_mm_per_year" for part in COMPONENTS]].to_numpy(np.float64)
    elapsed = (rows["day"] - rows["zero"]).to_numpy(np.float64) / DAYS_PER_YEAR
    rest = rows["deflection_mm"].to_numpy(np.float64) - (seen * np.nan_to_num(rates)).sum(axis=1) * elapsed
    parts = _Errors.of(rows, code, variances)
    visit = rows.groupby(_VISIT, sort=False).ngroup().to_numpy(np.intp)
    starts = np.flatnonzero(np.diff(visit, prepend=-1))
    value, told = np.zeros((len(starts), len(COMPONENTS))), np.zeros((len(starts), len(COMPONENTS)), dtype=bool)
    for number, (start, end) in enumerate(pairwise([*starts, len(rows)])):
        measured = np.isfinite(rates[start])
        here = slice(start, end)
        value[number, measured], told[number, measured] = _split(
            rest[here], seen[here][:, measured], parts.covariance(here)
        )
    return _table(rows.iloc[starts], value, told)


def _rows(movement: pd.DataFrame, results: pd.DataFrame, walls: pd.DataFrame, marks: pd.DataFrame) -> pd.DataFrame:
    """Movement of the periods that tell a rate, with each mark's place and the components' rates, sorted by visit."""
    bounded = [f"{part}_{end}" for part in COMPONENTS for end in ("mm_per_year", "lower", "upper")]
    told = results[results["tellable"].eq(True) & results[bounded].notna().any(axis=1)]
    place = marks.drop_duplicates([*WALL, "mark"], keep="last")[[*WALL, "mark", "x_mm", "z_mm"]]
    size = walls.drop_duplicates(WALL, keep="last")
    size = size.assign(left_free=size["left_end"] == End.FREE, right_free=size["right_end"] == End.FREE)
    sizes = ["length_mm", "clear_height_mm", "crack_height_mm", "left_free", "right_free"]
    rows = movement[movement["deflection_mm"].notna()].merge(told[[*CASE, "first_visit", *bounded]], on=CASE)
    rows = rows.merge(place, on=[*WALL, "mark"], how="left").merge(size[[*WALL, *sizes]], on=WALL, how="left")
    rows = rows.assign(day=_days(rows["visit_date"]), first=_days(rows["first_visit"]))
    rows["zero"] = rows["day"].where(rows["counts"]).groupby([rows[name] for name in _LEVEL]).transform("min")
    rows = rows.assign(order=rows["part"].map(PARTS))
    return rows[rows["zero"].notna()].sort_values([*CASE, "day", "order", "method", "mark", "stretch"])


def _days(dates: pd.Series) -> npt.NDArray[np.int64]:
    """Whole days since 1970-01-01."""
    return np.asarray(dates.to_numpy().astype("datetime64[D]").astype(np.int64))


def _seen_by(rows: pd.DataFrame, method: npt.NDArray[np.intp]) -> Array:
    """Shapes at the marks of the rows as the given methods see them, shape (rows, 3)."""
    places = ("x_mm", "z_mm", "length_mm", "clear_height_mm", "crack_height_mm")
    x, z, length, height, crack = (rows[name].to_numpy(np.float64) for name in places)
    left, right = (rows[f"{side}_free"].to_numpy(bool) for side in ("left", "right"))
    return seen_shapes(x, z, length, height, crack, left, right, method == STRING)


@dataclass(frozen=True)
class _Errors:
    """What readings owe to chance: own (n,) the variance of each mean; setup (n,) which placing of string, line or
    laser it was read from; shared (n, 3) that placing's offset, yaw and tilt at the mark, in mm of their sds.
    """

    own: Array
    setup: npt.NDArray[np.intp]
    shared: Array

    @classmethod
    def of(cls, rows: pd.DataFrame, code: npt.NDArray[np.intp], variances: Variances) -> "_Errors":
        """A placing is one row of a string, one column of a plumb line, else all that a method read at a visit."""
        sd = sds.setup_sds(variances)
        own = sds.reading_variance(variances, code, np.zeros(len(code)), np.ones(len(code)))
        x, z = (rows[name].to_numpy(np.float64) for name in ("x_mm", "z_mm"))
        of_row, of_column = (code == METHODS.index(method) for method in (Method.STRING, Method.PLUMB))
        line = np.where(of_row, z, np.where(of_column, x, 0.0))
        setup = np.unique(np.stack([code, np.nan_to_num(line)]), axis=1, return_inverse=True)[1].astype(np.intp)
        x_m, z_m = (x - rows["length_mm"].to_numpy(np.float64) / 2) / 1000, z / 1000
        offset = np.where(sd.free, _FREE_SD_MM, sd.offset)[code]
        shared = np.stack([offset, sd.yaw[code] * x_m, sd.tilt[code] * z_m], axis=1)
        return cls(own / rows["readings"].to_numpy(np.float64), setup, np.nan_to_num(shared))

    def covariance(self, here: slice) -> Array:
        """Of the readings of one visit, (n, n)."""
        setup, shared = self.setup[here], self.shared[here]
        return np.asarray(np.diag(self.own[here]) + np.where(setup[:, None] == setup, shared @ shared.T, 0.0))


def _split(rest: Array, seen: Array, covariance: Array) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Generalised least squares of what is left on the shapes; which components the visit tells apart.

    One whose error would be as large as a free offset's is not told.
    """
    weighted = np.linalg.solve(covariance, seen).T
    information = weighted @ seen
    inverse = np.linalg.pinv(information, rcond=_LEAST, hermitian=True)
    apart = np.abs(np.diagonal(inverse @ information) - 1) < _APART
    told = apart & (np.diagonal(inverse) < (_FREE_SD_MM / 10) ** 2)
    return inverse @ (weighted @ rest), told


def _table(visits: pd.DataFrame, value: Array, told: npt.NDArray[np.bool_]) -> pd.DataFrame:
    """One row per visit and component told, from one row per visit."""
    years = ((visits["day"] - visits["first"]) / DAYS_PER_YEAR).to_numpy(np.float64)
    counting = np.where(visits["counts"].to_numpy(bool), years, np.nan)
    tables = []
    for number, part in enumerate(COMPONENTS):
        rate, lower, upper = (visits[f"{part}_{end}"].to_numpy(np.float64) for end in ("mm_per_year", "lower", "upper"))
        table = visits.assign(
            component=str(part),
            value_mm=value[:, number] + rate * years,
            trend_mm=rate * counting,
            band_lower_mm=lower * counting,
            band_upper_mm=upper * counting,
        )
        tables.append(table[told[:, number]])
    found = pd.concat(tables).sort_values([*CASE, "component", "day", "order"], ignore_index=True)
    return found[COLUMNS]
