"""What each mark's next reading should be: the forecast that new readings and field sheets are held against.

The rates of the components are random about 0 here, as in the forecast of a jump: a forecast from a short record then
stays a forecast, and one reading cannot drag it along.
"""

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor.config import Settings, Variances
from monitor.trend import bounds, screening, stretches, suspects
from monitor.trend import variances as sds
from monitor.trend.cases import WALL, Cases, build, days
from monitor.trend.fit import Estimate, estimate
from monitor.trend.portfolio import Fitted, fitted
from monitor.trend.shapes import BOW, Array, Flags
from monitor.trend.variances import METHODS
from monitor.units import DAYS_PER_YEAR

COLUMNS = [*WALL, "mark", "method", "expected_deflection_mm", "sd_mm", "sd_within_mm", "bow", "others", "spread_mm2",
           "setup_mm2"]  # fmt: skip

Whole = npt.NDArray[np.intp]


def table(
    readings: pd.DataFrame,
    walls: pd.DataFrame,
    marks: pd.DataFrame,
    events: pd.DataFrame,
    settings: Settings,
    on: date,
) -> pd.DataFrame:
    """What each mark of each wall should read on a day, by each method it was read with; from what is before that day.

    readings, walls, marks, events: as for the assessment. One row per house, wall, mark and method of the newest
    period, where a reading that counts for the rate stands on the level the mark is still read on: a mark that was
    lost, retired, or whose surface or reference was changed since has none. On the day of a reinforcement the rows are
    those of readings before the work. Likely misreads foretell nothing.

    expected_deflection_mm: the reading as typed, inward positive. sd_mm: of one new reading about it, with what is not
    known of the wall and the errors of a new set-up; null where a new set-up stands anywhere (plumb line, laser plane),
    so that a single reading says nothing. sd_within_mm: of how far the reading stands off what is expected, less the
    mean of the same over the set-up's other marks (one row of a string, one column of a plumb line, else all marks);
    null where it has none, or they were never read together. bow: how much of the wall's bow the mark shows. others:
    the wall's marks by that method, itself among them; spread_mm2: with each of them, the covariance of what is not
    known of the wall; setup_mm2: the same of the errors of one new set-up, a free offset aside, and 0 where the two are
    not read in one.
    """
    eve = on - timedelta(days=1)
    cases = build(readings, walls, marks, events, settings.rules, eve)
    screened = screening.screen(cases, settings.variances, suspects.ruled(cases, readings))
    cases = screening.without(cases, screened)
    current = cases.table["is_current"].to_numpy(bool)
    parts = [
        _of_block(cases, done, settings.variances, on)
        for done in fitted(cases, settings.variances)
        if current[done.block.cases].any()
    ]
    if not parts:
        kinds = dict.fromkeys(("others", "spread_mm2", "setup_mm2"), "object") | {"bow": "float"}
        return pd.DataFrame(
            {name: pd.Series(dtype=kinds.get(name, "float" if name.endswith("mm") else "str")) for name in COLUMNS}
        )
    found = pd.concat(parts, ignore_index=True)
    found = found[current[found["case"]] & _stands(found, marks, events, on)]
    return found.sort_values([*WALL, "mark", "method"], ignore_index=True)[COLUMNS]


def _of_block(cases: Cases, done: Fitted, variances: Variances, on: date) -> pd.DataFrame:
    """Forecasts of the block's cases: one row per mark and method, from its newest counting reading's level."""
    block = done.block
    rows = cases.rows.iloc[block.rows].assign(b=block.place[0], level=block.level, number=block.mark, index=block.rows)
    rows = rows.drop_duplicates(["b", "mark", "method_code"], keep="last").reset_index(drop=True)
    prior = variances.jump_rate_mm_per_year**2
    known = estimate(done.visits.total(), block.layout, done.season, done.fit.local_variance, rate_precision=1 / prior)
    b, level = rows["b"].to_numpy(np.intp), rows["level"].to_numpy(np.intp)
    seen = cases.seen[rows["index"].to_numpy(np.intp)]
    functional = _functional(done, rows, seen, int(days(pd.Series([on]))[0]))
    scale = bounds.moderated(known.q, known.d, variances).variance[b]
    own, shared = _new_errors(rows, seen, variances)
    mean = (functional * known.theta[b]).sum(axis=-1) + block.center[b, level]
    spread = np.einsum("np,npq,nq->n", functional, known.covariance[b], functional)
    alone = _determined(known, b, functional) & ~_free(rows, variances)
    variance = np.where(alone, spread + own + (shared**2).sum(axis=-1), np.nan)
    within = np.full(len(rows), np.nan)
    for group in _setups(rows):
        within[group] = _within(known, int(b[group[0]]), functional[group], own[group], shared[group])
    return rows.assign(
        method=np.array([str(method) for method in METHODS], dtype=object)[rows["method_code"].to_numpy(np.intp)],
        expected_deflection_mm=mean,
        sd_mm=np.sqrt(variance * scale),
        sd_within_mm=np.sqrt(within * scale),
        bow=seen[:, BOW],
        **_together(rows, known, functional, own, shared * ~_free_offset(rows, variances), scale),
    )


def _functional(done: Fitted, rows: pd.DataFrame, seen: Array, day: int) -> Array:
    """The readings of that day as functionals of the parameters (rows, P)."""
    layout, b = done.block.layout, rows["b"].to_numpy(np.intp)
    each = np.arange(len(rows))
    elapsed = (day - done.block.time0[b]) / DAYS_PER_YEAR
    cycle = 2 * np.pi * day / DAYS_PER_YEAR
    functional = np.zeros((len(rows), layout.size))
    functional[each, rows["level"].to_numpy(np.intp)] = 1
    functional[each, layout.local.start + rows["number"].to_numpy(np.intp)] = elapsed
    functional[:, layout.season] = seen[:, BOW, None] * np.array([np.cos(cycle), np.sin(cycle)])
    functional[:, layout.rates] = seen * elapsed[:, None]
    return functional


def _new_errors(rows: pd.DataFrame, seen: Array, variances: Variances) -> tuple[Array, Array]:
    """Errors of one new set-up: each reading's own variance (rows,), and columns times their sds of what is shared."""
    method = rows["method_code"].to_numpy(np.intp)
    setup = sds.setup_sds(variances)
    own = sds.reading_variance(variances, method, rows["step_mm"].to_numpy(np.float64), np.ones(len(rows)))
    x_m = np.nan_to_num((rows["x_mm"] - rows["length_mm"] / 2).to_numpy(np.float64)) / 1000
    z_m = np.nan_to_num(rows["z_mm"].to_numpy(np.float64)) / 1000
    columns = [
        setup.offset[method],
        setup.yaw[method] * x_m,
        setup.tilt[method] * z_m,
        variances.wobble_mm * seen[:, BOW],
    ]
    return own, np.stack(columns, axis=1)


def _together(
    rows: pd.DataFrame, known: Estimate, functional: Array, own: Array, shared: Array, scale: Array
) -> dict[str, pd.Series]:
    """Columns others, spread_mm2 and setup_mm2: each row's covariances with the rows of its wall and method."""
    b, part = rows["b"].to_numpy(np.intp), rows["setup_part"].to_numpy()
    marks = rows["mark"].to_numpy(object)
    lists: dict[str, list[object]] = {name: [None] * len(rows) for name in ("others", "spread_mm2", "setup_mm2")}
    for group in rows.groupby(["b", "method_code"], sort=True).indices.values():
        at = np.asarray(group, dtype=np.intp)
        wobble = np.outer(shared[at, -1], shared[at, -1])
        spread = functional[at] @ known.covariance[b[at[0]]] @ functional[at].T + wobble
        errors = np.diag(own[at]) + shared[at, :-1] @ shared[at, :-1].T
        errors = np.where(part[at, None] == part[None, at], errors, 0.0)
        for row, of_spread, of_errors in zip(at, spread * scale[at[0]], errors * scale[at[0]], strict=True):
            lists["others"][row] = marks[at].tolist()
            lists["spread_mm2"][row] = of_spread.tolist()
            lists["setup_mm2"][row] = of_errors.tolist()
    return {name: pd.Series(values, index=rows.index, dtype=object) for name, values in lists.items()}


def _free_offset(rows: pd.DataFrame, variances: Variances) -> Flags:
    """Which columns of what a set-up shares are left out of it because they are free: the offset, of some methods."""
    free = np.zeros((len(rows), 4), dtype=bool)
    free[:, 0] = _free(rows, variances)
    return free


def _within(known: Estimate, b: int, functional: Array, own: Array, shared: Array) -> Array:
    """Variance of each reading of one set-up less the mean of its other readings; NaN where there is none."""
    count = len(own)
    if count < 2:
        return np.full(count, np.nan)
    contrast = np.eye(count) * (1 + 1 / (count - 1)) - 1 / (count - 1)
    apart = contrast @ functional
    errors = (contrast @ shared) ** 2
    variance = np.einsum("np,pq,nq->n", apart, known.covariance[b], apart) + contrast**2 @ own + errors.sum(axis=-1)
    return np.where(_determined(known, np.full(count, b), apart), variance, np.nan)


def _determined(known: Estimate, b: Whole, functional: Array) -> Flags:
    """Whether functionals (rows, P) of the cases b are determined: random rates and cycles are, levels may not be."""
    size = known.others.lost.shape[-1]
    scaled = functional[:, :size] * known.others.scale[b]
    lost = np.einsum("np,npq,nq->n", scaled, known.others.lost[b], scaled)
    return np.asarray(lost < 1e-8 * (scaled**2).sum(axis=-1))


def _free(rows: pd.DataFrame, variances: Variances) -> Flags:
    return np.asarray(sds.setup_sds(variances).free[rows["method_code"].to_numpy(np.intp)])


def _setups(rows: pd.DataFrame) -> Iterator[Whole]:
    """Rows that share one set-up of a new visit."""
    for group in rows.groupby(["b", "method_code", "setup_part"], sort=True).indices.values():
        yield np.asarray(group, dtype=np.intp)


def _stands(found: pd.DataFrame, marks: pd.DataFrame, events: pd.DataFrame, on: date) -> Flags:
    """Whether each mark is still read on the level of its newest reading: no break since, and not retired."""
    day = int(days(pd.Series([on]))[0])
    before = events.assign(day=days(events["event_date"]))
    rows = found.assign(day=day, part="")
    broken = stretches.breaks(rows, before[before["day"] < day]) != found["breaks"].to_numpy(np.intp)
    last = marks.drop_duplicates([*WALL, "mark"], keep="last")[[*WALL, "mark", "retired_on"]]
    retired_on = found[[*WALL, "mark"]].merge(last, on=[*WALL, "mark"], how="left")["retired_on"]
    gone = (pd.to_datetime(retired_on) < pd.Timestamp(on)).to_numpy(bool)
    return np.asarray(~broken & ~gone)
