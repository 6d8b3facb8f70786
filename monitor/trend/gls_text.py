"""Generalised least squares as the summary that statsmodels prints, without clock, on the scale that bounds are on."""

from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from monitor.trend import bounds
from monitor.trend.reference import Column, Dense
from monitor.trend.shapes import Array

ROUNDING = 1e-9
"""What is nearer to nought is nought and a rounding error."""

WIDTH = 84
"""Signs in a line of the notes."""

NOT_PARTED = "*"
"""Stands behind a component that these marks and methods cannot tell from the others."""


def gls_text(
    found: Dense,
    rows: pd.DataFrame,
    measured: Mapping[tuple[int, str], bool],
    setups: Mapping[int, int],
    scale: float,
    dof: float,
) -> str:
    """The summary of a dense fit: header, one line per fixed effect, notes.

    rows: those of the fit. measured: by case and component whether the component is measured. setups: number of each
    set-up as shown. scale, dof: moderated scale and its degrees of freedom; the interval is the pair of one-sided 95 %
    bounds.
    """
    from statsmodels.iolib.summary import Summary, summary_params

    results = found.results
    names = _names(found.names, rows, measured, setups)
    summary = Summary()
    summary.add_table_2cols(
        results,
        gleft=[
            ("Dep. Variable:", ["deflection_mm"]),
            ("Model:", ["GLS"]),
            ("Method:", ["Generalised least squares"]),
            ("No. Observations:", [str(len(rows))]),
            ("Fixed effects:", [str(len(names))]),
        ],
        gright=[
            ("Covariance Type:", ["fixed scale"]),
            ("Scale (moderated):", [f"{scale:.4f}"]),
            ("Df of the t:", [f"{dof:.1f}"]),
            ("First visit:", [_day(rows["day"].min())]),
            ("Last visit:", [_day(rows["day"].max())]),
        ],
        xname=names,
        title="Generalised least squares of all readings that count",
    )  # fmt: skip
    alpha = round(2 * (1 - bounds.LEVEL), 6)
    summary.tables.append(summary_params((results, *_numbers(found, scale, dof)), xname=names, alpha=alpha, use_t=True))
    summary.add_extra_txt(_notes(names, rows))
    return str(summary.as_text())


def _numbers(found: Dense, scale: float, dof: float) -> tuple[Array, Array, Array, Array, Array]:
    """Estimates, standard errors, t, its two-sided p, and the pair of bounds (n, 2), on the moderated scale."""
    params = np.asarray(found.results.params)
    params = np.where(np.abs(params) < ROUNDING, 0.0, params)
    error = np.sqrt(np.diagonal(found.results.normalized_cov_params) * scale)
    reach = bounds.quantile(bounds.LEVEL, np.array(dof)) * error
    t = params / error
    return params, error, t, 2 * stats.t.sf(np.abs(t), dof), np.stack([params - reach, params + reach], axis=1)


def _names(
    columns: Sequence[Column], rows: pd.DataFrame, measured: Mapping[tuple[int, str], bool], setups: Mapping[int, int]
) -> list[str]:
    period = dict(zip(rows["case"], rows["period"], strict=True))
    several = len(set(period.values())) > 1
    written = []
    for column in columns:
        kind, *rest = column
        where = f", period {period[rest[0]]}" if several and kind != "offset" else ""
        if kind == "rate":
            case, component = int(_whole(rest[0])), str(rest[1])
            written.append(f"rate {component}{'' if measured[case, component] else NOT_PARTED}{where}")
        elif kind == "level":
            written.append(f"level {rest[1]}, stretch {rest[2]}{where}")
        else:
            written.append(f"offset, set-up {setups[int(_whole(rest[0]))]}")
    return written


def _whole(value: Any) -> int:
    return int(value)


def _notes(names: Sequence[str], rows: pd.DataFrame) -> list[str]:
    notes = [
        f"Rates in mm/yr, inward positive; levels and offsets in mm, less {rows['deflection_mm'].mean():.4f} mm, at "
        f"{_day(_middle(rows))}.",
        "The covariance of the readings is given by the company's variances; it is not estimated from this wall.",
        "[0.05 and 0.95] are the pair of one-sided 95 % bounds.",
    ]
    if any(NOT_PARTED in name for name in names):
        notes.append(
            f"{NOT_PARTED} These marks and methods cannot tell this component from the others: the number stands for "
            "all of them together and means something only as a mark's rate."
        )
    wrapped = (
        wrap(f"[{number}] {text}", WIDTH, subsequent_indent="    ") for number, text in enumerate(notes, start=1)
    )
    return ["Notes:", *(line for lines in wrapped for line in lines)]


def _middle(rows: pd.DataFrame) -> float:
    return float(rows["day"].mean())


def _day(day: float) -> str:
    return str(np.datetime64(round(day), "D"))
