"""What each mark's next reading should be: the forecast that new readings and field sheets are held against.

The rates of the components are random about 0 here, as in the forecast of a jump: a forecast from a short record then
stays a forecast, and one reading cannot drag it along.
"""

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
import pyarrow as pa

from monitor.config import Settings, Variances
from monitor.records import dataclass
from monitor.schema.arrays import array_of
from monitor.terms import Part as DayPart
from monitor.trend import bounds, coded, screening, stretches, suspects
from monitor.trend import variances as sds
from monitor.trend.cases import Cases, cases_of, packed
from monitor.trend.coded import PARTS, Coded, Days, method_words
from monitor.trend.columns import Flags, Whole, day_number, numbers
from monitor.trend.fit import Estimate, estimate
from monitor.trend.portfolio import Fitted, fitted
from monitor.trend.shapes import BOW, Array
from monitor.units import DAYS_PER_YEAR

SCHEMA = pa.schema(
    [
        *((name, pa.string()) for name in ("house", "wall", "mark", "method")),
        *((name, pa.float64()) for name in ("expected_deflection_mm", "sd_mm", "sd_within_mm", "bow")),
        ("others", pa.list_(pa.string())),
        *((name, pa.list_(pa.float64())) for name in ("spread_mm2", "setup_mm2")),
    ]
)


def table(
    readings: pa.Table, walls: pa.Table, marks: pa.Table, events: pa.Table, settings: Settings, on: date
) -> pa.Table:
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
    facts = coded.coded(readings, walls, marks, events, on - timedelta(days=1))
    cases = cases_of(facts, settings.rules)
    screened = screening.screen(cases, settings.variances, suspects.ruled(cases, readings))
    cases = screening.without(cases, screened)
    parts = [
        _of_block(cases, facts, done, settings.variances, on)
        for done in fitted(cases, settings.variances)
        if cases.table.is_current[done.cases].any()
    ]
    found = pa.concat_tables([SCHEMA.empty_table(), *parts])
    return found.sort_by([(name, "ascending") for name in ("house", "wall", "mark", "method")])


@dataclass(frozen=True)
class _Newest:
    """The newest counting reading of each mark by each method in a block, all (n,).

    b: case within the block; row: of Cases.rows; level, number: of level and mark within the case; wall, mark, method,
    part, day: as if it were read on the day asked for.
    """

    b: Whole
    row: Whole
    level: Whole
    number: Whole
    wall: Whole
    mark: Whole
    method: Whole
    part: Whole
    day: Days

    @classmethod
    def of(cls, cases: Cases, done: Fitted, on: int) -> "_Newest":
        block, rows = done.block, cases.rows
        b, mark, method = block.place[0], rows.mark[block.rows], rows.method[block.rows]
        at = len(b) - 1 - np.unique(packed(b, mark, method)[::-1], return_index=True)[1]  # the last of each
        row = block.rows[at]
        return cls(
            b=b[at],
            row=row,
            level=block.level[at],
            number=block.mark[at],
            wall=cases.table.wall[rows.case[row]],
            mark=mark[at],
            method=method[at],
            part=np.full(len(at), PARTS[DayPart.NONE]),
            day=np.full(len(at), on, dtype=np.int64),
        )

    def __len__(self) -> int:
        return len(self.b)


def _of_block(cases: Cases, facts: Coded, done: Fitted, variances: Variances, on: date) -> pa.Table:
    """Forecasts of the block's cases: one row per mark and method, from its newest counting reading's level."""
    block, rows = done.block, _Newest.of(cases, done, day_number(on))
    prior = variances.jump_rate_mm_per_year**2
    known = estimate(done.visits.total(), block.layout, done.season, done.fit.local_variance, rate_precision=1 / prior)
    seen = cases.seen[rows.row]
    functional = _functional(done, rows, seen)
    scale = bounds.moderated(known.q, known.d, variances).variance[rows.b]
    own, shared = _new_errors(cases, rows, seen, variances)
    mean = (functional * known.theta[rows.b]).sum(axis=-1) + block.center[rows.b, rows.level]
    spread = np.einsum("np,npq,nq->n", functional, known.covariance[rows.b], functional)
    free = sds.setup_sds(variances).free[rows.method]
    alone = _determined(known, rows.b, functional) & ~free
    variance = np.where(alone, spread + own + (shared**2).sum(axis=-1), np.nan)
    within, placing = np.full(len(rows), np.nan), cases.rows.placing[rows.row]
    for group in _groups(packed(rows.b, rows.method, placing)):
        within[group] = _within(known, int(rows.b[group[0]]), functional[group], own[group], shared[group])
    unfree = shared.copy()
    unfree[free, 0] = 0.0  # what is free is no error
    names = cases.mark_names(rows.mark)
    told = pa.table(
        {
            "house": cases.walls.house.take(array_of(rows.wall)),
            "wall": cases.walls.wall.take(array_of(rows.wall)),
            "mark": names,
            "method": method_words(rows.method),
            "expected_deflection_mm": numbers(mean),
            "sd_mm": numbers(np.sqrt(variance * scale)),
            "sd_within_mm": numbers(np.sqrt(within * scale)),
            "bow": numbers(seen[:, BOW]),
            **_together(rows, names.to_pylist(), placing, known, functional, own, unfree, scale),
        },
        schema=SCHEMA,
    )
    return told.filter(array_of(cases.table.is_current[block.cases[rows.b]] & _stands(cases, facts, rows)))


def _functional(done: Fitted, rows: _Newest, seen: Array) -> Array:
    """The readings of that day as functionals of the parameters (rows, P)."""
    layout, each = done.block.layout, np.arange(len(rows))
    elapsed = (rows.day - done.block.time0[rows.b]) / DAYS_PER_YEAR
    cycle = 2 * np.pi * rows.day / DAYS_PER_YEAR
    functional = np.zeros((len(rows), layout.size))
    functional[each, rows.level] = 1
    functional[each, layout.local.start + rows.number] = elapsed
    functional[:, layout.season] = seen[:, BOW, None] * np.stack([np.cos(cycle), np.sin(cycle)], axis=1)
    functional[:, layout.rates] = seen * elapsed[:, None]
    return functional


def _new_errors(cases: Cases, rows: _Newest, seen: Array, variances: Variances) -> tuple[Array, Array]:
    """Errors of one new set-up: each reading's own variance (rows,), and columns times their sds of what is shared."""
    setup, method = sds.setup_sds(variances), rows.method
    own = sds.reading_variance(variances, method, cases.rows.step_mm[rows.row], np.ones(len(rows)))
    x_m = np.nan_to_num(cases.marks.x_mm[rows.mark] - cases.walls.length_mm[rows.wall] / 2) / 1000
    z_m = np.nan_to_num(cases.marks.z_mm[rows.mark]) / 1000
    columns = [
        setup.offset[method],
        setup.yaw[method] * x_m,
        setup.tilt[method] * z_m,
        variances.wobble_mm * seen[:, BOW],
    ]
    return own, np.stack(columns, axis=1)


def _together(
    rows: _Newest, names: list[str], placing: Whole, known: Estimate, functional: Array, own: Array, shared: Array,
    scale: Array,
) -> dict[str, list[object]]:  # fmt: skip
    """Columns others, spread_mm2 and setup_mm2: each row's covariances with the rows of its wall and method."""
    lists: dict[str, list[object]] = {name: [None] * len(rows) for name in ("others", "spread_mm2", "setup_mm2")}
    for at in _groups(packed(rows.b, rows.method)):
        wobble = np.outer(shared[at, -1], shared[at, -1])
        spread = functional[at] @ known.covariance[rows.b[at[0]]] @ functional[at].T + wobble
        errors = np.diag(own[at]) + shared[at, :-1] @ shared[at, :-1].T
        errors = np.where(placing[at, None] == placing[None, at], errors, 0.0)
        for row, of_spread, of_errors in zip(at, spread * scale[at[0]], errors * scale[at[0]], strict=True):
            lists["others"][row] = [names[other] for other in at]
            lists["spread_mm2"][row] = of_spread.tolist()
            lists["setup_mm2"][row] = of_errors.tolist()
    return lists


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


def _groups(key: Whole) -> Iterator[Whole]:
    """Rows of each distinct key, in their order."""
    order = np.argsort(key, kind="stable")
    yield from np.split(order, np.flatnonzero(np.diff(key[order])) + 1) if len(key) else ()


def _stands(cases: Cases, facts: Coded, rows: _Newest) -> Flags:
    """Whether each mark is still read on the level of its newest reading: no break since, and not retired."""
    broken = stretches.breaks(rows, facts.events) != cases.rows.breaks[rows.row]
    gone = cases.marks.retired_on[rows.mark] < rows.day
    return np.asarray(~broken & ~gone)
