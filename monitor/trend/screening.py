"""Misreads: readings that fit neither the other readings nor anything their whole visit could have done.

With P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1 the inverse covariance of a period's readings, fixed effects taken out, and
a = P y, reading i stands a_i / P_ii off what all others foretell, with sd 1 / sqrt(P_ii). It is set aside where that is
beyond LIMIT sds and still beyond LIMIT_ALONE once its visit is given a free offset and bow-shaped movement (P and a
with B = [1, bow] of the visit projected out): a step of the whole visit is the set-up's or the wall's, never a misread.
Each is taken over the residual scale without it. The largest goes first, one per wall and refit.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from monitor.config import Variances
from monitor.trend.cases import WALL, Cases
from monitor.trend.forecast import MOST_SCALE_DOF
from monitor.trend.information import KEPT, accumulate, solve
from monitor.trend.portfolio import Fitted, fitted
from monitor.trend.shapes import Array, Flags

LIMIT = 4.0
LIMIT_ALONE = 3.5
LEAST_KEPT = 0.05
"""A reading that keeps less of its P_ii with its visit free cannot be told from what the visit did."""

Whole = npt.NDArray[np.intp]

_TIES = 6
"""Decimals of |z| to which two readings are alike: of two alike the later is set aside, for it can be read again."""


@dataclass(frozen=True)
class Screened:
    """outliers: row (of Cases.rows), z, off_mm (inward positive), sd_mm, in the order they were set aside.

    doubts: row, together: readings beyond LIMIT that what else was read at their visit, one or two marks, cannot tell
    from what the visit did (together False), and those of a newest visit that stands apart as a whole (together True).
    """

    outliers: pd.DataFrame
    doubts: pd.DataFrame


@dataclass(frozen=True)
class Residuals:
    """Leave-one-out residuals of a block, all (B, V, N): off_mm and sd_mm, z over the scale without the reading.

    alone: the same z with the visit free, NaN where under LEAST_KEPT of P_ii is kept; NaN where nothing can be said.
    apart: whether the newest visit as a whole stands off as far as a reading beyond LIMIT (B,).
    """

    off_mm: Array
    sd_mm: Array
    z: Array
    alone: Array
    apart: Flags


def screen(cases: Cases, variances: Variances, ruled: Flags) -> Screened:
    """Screen all counting readings. ruled: rows of Cases.rows that a person has decided on, never set aside (rows,)."""
    wall = cases.table.groupby(WALL, sort=True).ngroup().to_numpy(np.intp)
    of_row = wall[cases.rows["case"].to_numpy(np.intp)]
    aside = np.zeros(len(cases.rows), dtype=bool)
    left = np.ones(len(cases.table), dtype=bool)
    outliers, doubts = [], []
    while left.any():
        rows = _residuals(*_part(cases, left, aside), variances)
        number = rows["row"].to_numpy(np.intp)
        rows = rows.assign(wall=of_row[number])[~ruled[number]]
        worst = _worst(rows)
        settled = ~rows["wall"].isin(worst["wall"])
        doubts.append(_doubts(rows[settled]))
        outliers.append(worst)
        aside[worst["row"].to_numpy(np.intp)] = True
        left = np.isin(wall, worst["wall"].to_numpy(np.intp))
    return Screened(
        _joined(outliers, {"row": np.intp, "z": float, "off_mm": float, "sd_mm": float}),
        _joined(doubts, {"row": np.intp, "together": bool}),
    )


def without(cases: Cases, found: Screened) -> Cases:
    """The cases with the readings set aside no longer counting."""
    counts = cases.rows["counts"].to_numpy(bool).copy()
    counts[found.outliers["row"].to_numpy(np.intp)] = False
    return Cases(table=cases.table, rows=cases.rows.assign(counts=counts), seen=cases.seen)


def without_apart(cases: Cases, found: Screened) -> Cases:
    """The cases with newest visits that stand apart as a whole no longer counting: a step of one wall is no noise."""
    apart = found.doubts.loc[found.doubts["together"].astype(bool), "row"].to_numpy(np.intp)
    of_step = cases.rows["visit"].isin(cases.rows["visit"].to_numpy()[apart])
    return Cases(table=cases.table, rows=cases.rows.assign(counts=cases.rows["counts"] & ~of_step), seen=cases.seen)


def _joined(parts: list[pd.DataFrame], columns: Mapping[str, type]) -> pd.DataFrame:
    found = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(columns))
    return found[list(columns)].astype(dict(columns))


def residuals(done: Fitted, variances: Variances) -> Residuals:
    """Leave-one-out residuals of the block's readings."""
    block, fit, size = done.block, done.fit.estimate, done.block.layout.size
    slots = block.weight.shape[-1]
    each = np.broadcast_to(np.eye(slots), (*block.weight.shape, slots))
    regressors = np.concatenate([each, block.design, block.deflection[..., None]], axis=-1)
    cross = accumulate(regressors, block.weight, block.columns, block.free).cross[..., :slots, :]
    inverse, on_theta, on_reading = cross[..., :slots], cross[..., slots : slots + size], cross[..., -1]
    p = inverse - on_theta @ fit.covariance[:, None] @ np.swapaxes(on_theta, -1, -2)
    a = on_reading - (on_theta @ fit.theta[:, None, :, None])[..., 0]
    whole, own = np.diagonal(inverse, axis1=-2, axis2=-1), np.diagonal(p, axis1=-2, axis2=-1)
    own = np.where(own > KEPT * np.maximum(whole, block.weight), own, np.nan)
    visit = np.stack([np.where(block.weight > 0, 1.0, 0.0), block.bow], axis=-1)
    pull = p @ visit
    gram = np.swapaxes(visit, -1, -2) @ pull
    known = np.diagonal(gram, axis1=-2, axis2=-1) > KEPT * (visit**2 * block.weight[..., None]).sum(axis=-2)
    free = solve(np.where(known[..., :, None] & known[..., None, :], gram, 0.0))
    at = (np.swapaxes(visit, -1, -2) @ a[..., None])[..., 0] * known
    shift = (free.inverse @ at[..., None])[..., 0]
    kept = own - (pull @ free.inverse * pull).sum(axis=-1)
    kept = np.where(kept >= LEAST_KEPT * own, kept, np.nan)
    prior_dof = min(variances.scale_dof, MOST_SCALE_DOF)
    total, dof = prior_dof * variances.scale + fit.q, prior_dof + fit.d
    z = a / np.sqrt(own)
    alone = (a - (pull @ shift[..., None])[..., 0]) / np.sqrt(kept)
    scale = _scale_without(z, total, dof)
    newest = (np.arange(len(a)), block.last)
    return Residuals(
        off_mm=a / own,
        sd_mm=scale / np.sqrt(own),
        z=z / scale,
        alone=alone / scale,
        apart=_apart((at[newest] * shift[newest]).sum(axis=-1), free.rank[newest], total, dof),
    )


def _scale_without(z: Array, total: Array, dof: Array) -> Array:
    """Residual scale (an sd) of a case without each of its readings (B, V, N)."""
    rest = np.maximum(total[:, None, None] - z**2, KEPT)
    return np.asarray(np.sqrt(rest / np.maximum(dof - 1, 1.0)[:, None, None]))


def _apart(explained: Array, rank: Array, total: Array, dof: Array) -> Flags:
    """Whether what the newest visit's freedom explains is as rare as one reading beyond LIMIT."""
    rest = np.maximum(total - explained, KEPT)
    left = np.maximum(dof - rank, 1.0)
    ratio = np.where(rank > 0, explained / np.maximum(rank, 1) / (rest / left), 0.0)
    chance = stats.f.sf(ratio, np.maximum(rank, 1), left)
    return np.asarray(chance < 2 * stats.t.sf(LIMIT, np.maximum(dof - 1, 1.0)))


def _residuals(cases: Cases, source: Whole, variances: Variances) -> pd.DataFrame:
    """One row per counting reading with its residuals; `source`: the row it is in the cases that were split."""
    parts = []
    for done in fitted(cases, variances):
        block, found = done.block, residuals(done, variances)
        values = {name: getattr(found, name)[block.place] for name in ("off_mm", "sd_mm", "z", "alone")}
        b, visit, _ = block.place
        parts.append(
            pd.DataFrame(
                values
                | {
                    "row": source[block.rows],
                    "day": cases.rows["day"].to_numpy(np.int64)[block.rows],
                    "apart": found.apart[b] & (visit == block.last[b]),
                }
            )
        )
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=_COLUMNS)


_COLUMNS = ["off_mm", "sd_mm", "z", "alone", "row", "day", "apart"]


def _part(cases: Cases, wanted: Flags, aside: Flags) -> tuple[Cases, Whole]:
    """The wanted cases, readings set aside no longer counting, and the rows that its rows are in the whole."""
    case = cases.rows["case"].to_numpy(np.intp)
    source = np.flatnonzero(wanted[case])
    number = np.cumsum(wanted) - 1
    rows = cases.rows.iloc[source].reset_index(drop=True)
    rows = rows.assign(case=number[case[source]], counts=rows["counts"].to_numpy(bool) & ~aside[source])
    table = cases.table[wanted].reset_index(drop=True)
    return Cases(table=table, rows=rows, seen=cases.seen[source]), source


def _worst(rows: pd.DataFrame) -> pd.DataFrame:
    """Of each wall the reading to be set aside, the one furthest off; no row where there is none."""
    found = rows[(rows["z"].abs() > LIMIT) & (rows["alone"].abs() > LIMIT_ALONE)]
    found = found.assign(size=found["z"].abs().round(_TIES))
    return found.sort_values(["wall", "size", "day", "row"]).drop_duplicates("wall", keep="last")


def _doubts(rows: pd.DataFrame) -> pd.DataFrame:
    """Readings that raise a confirming visit: of a newest visit that stands apart, or alike to what their visit did."""
    alike = (rows["z"].abs() > LIMIT) & rows["alone"].isna()
    together = rows["apart"].astype(bool) & ~alike
    return rows.assign(together=together)[alike | together]
