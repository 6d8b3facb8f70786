"""The same model as one dense generalised least squares: slow and plain, for the tests and the engineer's page.

All periods of a wall stand in one covariance matrix: reading errors, set-up errors, wobble, local deviations and the
yearly cycle, with covariance carry^|s - s'| A^2 / 2 cos 2 pi (t - t') between periods s and s'. A free offset is a
column of the regression. Nothing here is shared with the batched engine but the cases and their shapes.
"""

from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor.config import Variances
from monitor.records import dataclass, replace
from monitor.terms import Method, Movement
from monitor.trend.cases import Cases, seen_by
from monitor.trend.framed import rows_of
from monitor.trend.shapes import BOW, COMPONENTS, Array
from monitor.units import DAYS_PER_YEAR

Column: TypeAlias = tuple[object, ...]

DEPENDENT = 1e-7
"""A column with less than this share of its length left beside the earlier ones depends on them."""


@dataclass(frozen=True)
class Dense:
    """Dense fit of the periods of one wall.

    results: of statsmodels GLS with scale 1; names: of the regression's columns, ("rate", case, component),
    ("level", case, mark, stretch) or ("offset", set-up), those that depend on earlier ones left out; q: quadratic form;
    d: readings less rank of the regression; mark_names, mark_rate, mark_se: of the last case's marks.
    """

    results: Any
    names: list[Column]
    q: float
    d: int
    mark_names: list[str]
    mark_rate: Array
    mark_se: Array


def dense(
    cases: Cases,
    wall_cases: Sequence[int],
    variances: Variances,
    local_variance: Mapping[int, float],
    components: Sequence[Movement] = COMPONENTS,
) -> Dense:
    """Fit the given cases of one wall (oldest first) together.

    local_variance: variance of the local deviations of each case, mm^2/yr^2. The marks' rates are best linear unbiased
    predictions for the last case, the sum over `components`, with the shapes as its newest visit's method sees them;
    they mean something only where that sum is determined.
    """
    from statsmodels.regression.linear_model import GLS

    rows, seen = rate_rows(cases, wall_cases)
    local = np.array([local_variance[case] for case in rows["case"]])
    sigma = covariance(rows, seen, variances, local)
    fixed, names = fixed_columns(rows, seen, variances)
    y = rows["deflection_mm"].to_numpy(np.float64)
    y, years, mark_of = y - y.mean(), _years(rows), rows["mark"].to_numpy(object)
    results = GLS(y, fixed, sigma=sigma).fit(cov_type="fixed_scale")
    residual = y - fixed @ results.params
    inverse = np.linalg.inv(sigma)
    last, phi, marks = _newest_shapes(cases, rows, wall_cases[-1])
    rates, ses = [], []
    for shape, mark in zip(phi, marks, strict=True):
        gain = np.zeros(len(names))
        for number, component in enumerate(COMPONENTS):
            column = ("rate", wall_cases[-1], str(component))
            if component in components and column in names:
                gain[names.index(column)] = shape[number]
        of_mark = last & (mark_of == mark)
        shared = np.where(of_mark, local * years, 0.0)
        rates.append(gain @ results.params + shared @ inverse @ residual)
        rest = gain - fixed.T @ inverse @ shared
        variance = rest @ results.normalized_cov_params @ rest + local[of_mark][0] - shared @ inverse @ shared
        ses.append(np.sqrt(variance))
    q = float(residual @ inverse @ residual)
    return Dense(results, names, q, len(y) - len(names), marks, np.array(rates), np.array(ses))


def rate_rows(cases: Cases, wall_cases: Sequence[int]) -> tuple[pd.DataFrame, Array]:
    """Rows of the given cases that count for the rate, in the order of Cases.rows, and their shapes as seen."""
    chosen = cases.rows.counts & np.isin(cases.rows.case, wall_cases)
    some = replace(cases, rows=cases.rows.take(chosen))
    return rows_of(some), some.seen


def fixed_columns(rows: pd.DataFrame, seen: Array, variances: Variances) -> tuple[Array, list[Column]]:
    """Columns of rates, levels and free offsets, each only where it does not depend on the ones before it."""
    columns: dict[Column, Array] = {}
    keys = list(zip(rows["case"], rows["mark"], rows["stretch"], rows["setup"], rows["method"], strict=True))
    moved = seen * _years(rows)[:, None]
    for n, (case, *_) in enumerate(keys):
        for number, component in enumerate(COMPONENTS):
            columns.setdefault(("rate", case, str(component)), np.zeros(len(rows)))[n] = moved[n, number]
    for n, (case, mark, stretch, _, _) in enumerate(keys):
        columns.setdefault(("level", case, mark, stretch), np.zeros(len(rows)))[n] = 1
    for n, (_, _, _, setup, method) in enumerate(keys):
        if variances.methods[Method(method)].offset_mm is None:
            columns.setdefault(("offset", setup), np.zeros(len(rows)))[n] = 1
    basis = np.zeros((len(rows), 0))
    kept: list[Column] = []
    for name, column in columns.items():
        rest = column - basis @ (basis.T @ column)
        rest = rest - basis @ (basis.T @ rest)
        if np.linalg.norm(rest) > DEPENDENT * np.linalg.norm(column):
            kept.append(name)
            basis = np.column_stack([basis, rest / np.linalg.norm(rest)])
    return np.stack([columns[name] for name in kept], axis=1), kept


def _years(rows: pd.DataFrame) -> Array:
    """Years of the rows from the mean of all: the levels take up any other start."""
    years = rows["day"].to_numpy(np.float64) / DAYS_PER_YEAR
    return np.asarray(years - years.mean())


def _newest_shapes(cases: Cases, rows: pd.DataFrame, case: int) -> tuple[npt.NDArray[np.bool_], Array, list[str]]:
    """Rows of the case, and its marks' shapes as the method with most readings at its newest visit sees them."""
    last = (rows["case"] == case).to_numpy()
    newest = rows[last & (rows["visit"] == rows.loc[last, "visit"].max())]
    method = newest.groupby("method_code").size().idxmax()
    marks = sorted(set(rows.loc[last, "mark"]))
    one = [int(np.flatnonzero(last & (rows["mark"] == mark))[0]) for mark in marks]
    codes = rows["mark_code"].to_numpy(np.intp)[one]
    return last, seen_by(cases.marks, codes, np.full(len(one), method)), marks


def covariance(rows: pd.DataFrame, seen: Array, variances: Variances, local: Array) -> Array:
    """Covariance of all readings, shape (rows, rows); local: variance of each row's local deviation."""
    return np.asarray(sum(covariance_parts(rows, seen, variances, local).values()))


def covariance_parts(rows: pd.DataFrame, seen: Array, variances: Variances, local: Array) -> dict[str, Array]:
    """What each source of chance adds to the covariance of all readings, each of shape (rows, rows)."""
    sds = [variances.methods[Method(method)] for method in rows["method"]]
    step, factor = rows["step_mm"].fillna(0).to_numpy(np.float64), rows["error_factor"].fillna(1).to_numpy(np.float64)
    x_m = np.nan_to_num((rows["x_mm"] - rows["length_mm"] / 2).to_numpy(np.float64)) / 1000
    z_m = np.nan_to_num(rows["z_mm"].to_numpy(np.float64)) / 1000
    bow, years = seen[:, BOW], _years(rows)

    def same(*names: str) -> Array:
        codes = [pd.factorize(rows[name])[0] for name in names]
        equal = [np.equal.outer(code, code) for code in codes]
        return np.asarray(np.logical_and.reduce(equal), dtype=np.float64)

    offset = np.array([sd.offset_mm or 0.0 for sd in sds])
    yaw, tilt = np.array([sd.yaw_mm_per_m for sd in sds]) * x_m, np.array([sd.tilt_mm_per_m for sd in sds]) * z_m
    setup = np.outer(offset, offset) + np.outer(yaw, yaw) + np.outer(tilt, tilt)
    period = rows["period"].to_numpy(np.float64)
    carry = variances.season_carry ** np.abs(np.subtract.outer(period, period))
    turn = np.cos(2 * np.pi * np.subtract.outer(years, years))
    return {
        "reading": np.diag((np.array([sd.reading_mm for sd in sds]) * factor) ** 2 + step**2 / 12),
        "setup": same("setup") * setup,
        "wobble": same("visit") * variances.wobble_mm**2 * np.outer(bow, bow),
        "season": carry * variances.season_mm**2 / 2 * turn * np.outer(bow, bow),
        "local": same("case", "mark") * local * np.outer(years, years),
    }
