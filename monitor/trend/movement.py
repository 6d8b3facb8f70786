"""The movement of each mark, visit by visit, beside its fitted trend: what a chart shows."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor.trend import bounds
from monitor.trend.cases import CASE, Cases, dates
from monitor.trend.information import free_offsets
from monitor.trend.portfolio import Fitted
from monitor.trend.variances import METHODS
from monitor.units import DAYS_PER_YEAR

COLUMNS = [
    *CASE, "mark", "stretch", "visit_date", "part", "method", "counts", "readings",
    "deflection_mm", "trend_mm", "band_lower_mm", "band_upper_mm",
]  # fmt: skip

_LINE = ["level", "time0", "rate", "lower", "upper"]


def lines(done: Fitted) -> pd.DataFrame:
    """What the fit says of each counting row of Cases.rows: level, rate with bounds, and its set-up's free offset."""
    block = done.block
    b, level, mark = block.place[0], block.level, block.mark
    theta = done.fit.estimate.theta
    residual = block.deflection - (block.design @ theta[:, None, :, None])[..., 0]
    offset = free_offsets(residual, block.weight, block.columns, block.free)
    pair = bounds.pair(done.fit.mark_rate, done.fit.mark_se, done.scale)
    return pd.DataFrame(
        {
            "level": theta[b, level] + block.center[b, level],
            "time0": block.time0[b].astype(np.float64),
            "rate": done.fit.mark_rate[b, mark],
            "lower": pair.lower[b, mark],
            "upper": pair.upper[b, mark],
            "offset": offset[block.place],
        },
        index=block.rows,
    )


def movement(cases: Cases, fitted_lines: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Table schema.MOVEMENT: one row per mark, stretch and visit.

    The zero of a stretch is where its fitted line starts, at its first counting visit; where the mark has no line,
    its first value. A free set-up offset is taken off by its estimate. The band opens from that zero with the bounds
    of the mark's rate, so that page, table and chart show the same pair.
    """
    empty = pd.DataFrame(columns=[*_LINE, "offset"], dtype=np.float64)
    rows = cases.rows.join(pd.concat(fitted_lines) if fitted_lines else empty)
    rows["value"] = rows["deflection_mm"] - rows["offset"].fillna(0.0)
    stretch = rows.groupby(["case", "mark", "stretch"])
    rows["start"] = (
        rows["day"].where(rows["counts"]).groupby([rows["case"], rows["mark"], rows["stretch"]]).transform("min")
    )
    for name in _LINE:
        rows[name] = stretch[name].transform("first")
    by = [*CASE, "mark", "stretch", "case", "day", "part_order"]
    found = rows.groupby(by, as_index=False).agg(
        part=("part", "first"),
        method_code=("method_code", "first"),
        counts=("counts", "first"),
        readings=("value", "size"),
        value=("value", "mean"),
        **{name: (name, "first") for name in ["start", *_LINE]},
    )
    first = found.groupby(["case", "mark", "stretch"])["value"].transform("first")
    zero = found["level"] + found["rate"] * (found["start"] - found["time0"]) / DAYS_PER_YEAR
    elapsed = ((found["day"] - found["start"]) / DAYS_PER_YEAR).where(found["counts"])
    return found.assign(
        visit_date=dates(found["day"]),
        method=_method_names(found["method_code"].to_numpy(np.intp)),
        deflection_mm=found["value"] - zero.fillna(first),
        trend_mm=found["rate"] * elapsed,
        band_lower_mm=found["lower"] * elapsed,
        band_upper_mm=found["upper"] * elapsed,
    )[COLUMNS]


def _method_names(codes: npt.NDArray[np.intp]) -> pd.Series:
    return pd.Series(np.array([str(method) for method in METHODS], dtype=object)[codes], dtype="str")
