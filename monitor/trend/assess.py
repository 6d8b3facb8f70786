"""The assessment of all walls: from tables of facts to tables of results."""

from collections.abc import Collection, Sequence
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from monitor import schema
from monitor.config import Settings
from monitor.terms import Method
from monitor.trend import (
    bounds,
    cracks,
    ends,
    evidence,
    forecast,
    governing,
    movement,
    outlook,
    periods,
    plan,
    planned,
    projection,
    repairs,
    restarts,
    schedule,
    screening,
    suspects,
    technicians,
    totals,
    verdicts,
)
from monitor.trend.cases import CASE, WALL, Cases, build, dates
from monitor.trend.columns import having
from monitor.trend.portfolio import Fitted, fitted
from monitor.trend.rows import replaced
from monitor.trend.shapes import COMPONENTS, Array
from monitor.trend.variances import METHODS

Columns = dict[str, npt.NDArray[np.float64]]

_BOUNDED = ("rate", *COMPONENTS)
_NUMBERS = (
    "governing", *(f"{name}_{end}" for name in _BOUNDED for end in ("mm_per_year", "lower", "upper")), "season_mm",
    "scale", "dof", "log_evidence", "onset", "exceed_chance", "jump_mm", "jump_p", "to_base",
)  # fmt: skip


def assess(
    readings: pd.DataFrame,
    walls: pd.DataFrame,
    marks: pd.DataFrame,
    events: pd.DataFrame,
    settings: Settings,
    judged_on: date,
    *,
    cold: Collection[str] = (),
    ahead: bool = True,
) -> dict[str, pd.DataFrame]:
    """Judge every wall on a day, from the facts up to that day.

    readings, walls, marks, events: columns of the schemas of those names, dates as datetime64, each reading once with
    its state after all rulings. Only used readings enter the fit; held ones are counted, and likely misreads are set
    aside and held with them. cold: houses where a visit due in autumn is made before the frost. ahead: whether to plan
    the visits to come; without it the plan is empty. Returns the tables of schema.RESULTS. TrendError where a used
    reading cannot enter the model.
    """
    cases = build(readings, walls, marks, events, settings.rules, judged_on)
    screened = screening.screen(cases, settings.variances, suspects.ruled(cases, readings))
    aside = suspects.table(cases, screened, readings, walls)
    doubts = suspects.doubts(cases, screened)
    if len(aside):
        readings = suspects.set_aside(readings, aside["reading_id"])
        cases = build(readings, walls, marks, events, settings.rules, judged_on)
    values: Columns = {name: np.full(len(cases.table), np.nan) for name in _NUMBERS}
    mark_tables, lines, told = [], [], []
    technician = technicians.technicians_of(cases, readings)
    kept: dict[int, periods.Period] = {}
    repaired = repairs.repaired(cases)
    known = planned.Known.nothing(cases, settings.variances)
    for done in fitted(cases, settings.variances):
        known.learn(done)
        threshold = cases.table["threshold_mm_per_year"].to_numpy(np.float64)[done.block.cases]
        log_e = evidence.log_evidence(
            done.fit.mark_rate,
            done.fit.mark_se,
            threshold[:, None],
            done.scale.sum[:, None],
            done.scale.dof[:, None],
            settings.variances.scale,
        )
        jump = forecast.jump(done.visits, done.block, done.season, settings.variances)
        restarted = restarts.restarted(done, threshold, settings.variances)
        for name, value in (_wall_values(cases, done, threshold, jump) | _evidence(cases, done, restarted)).items():
            values[name][done.block.cases] = value
        mark_tables.append(_mark_values(cases, done, log_e))
        lines.append(movement.lines(done))
        told.append(technicians.sums(cases, done, technician))
        kept |= periods.kept(cases, done, repaired)
    facts = (readings, walls, marks, events)
    register, current = _arrow(walls), _arrow(cases.table if ahead else cases.table.iloc[:0])
    to_come = planned.planned_days(current, register, judged_on, settings.rules)
    shown = outlook.outlook(cases, known, facts, _frame(to_come), settings, judged_on)
    by_case = (doubts, technicians.notes(cases, technicians.joined(told)), shown[[*CASE, *outlook.SETTLING]])
    tables = _tables(cases, values, mark_tables, lines, by_case, facts, settings, judged_on)
    done_by_repairs = repairs.table(cases, kept, readings, events, walls, settings)
    results = _arrow(tables["wall_results"] if ahead else tables["wall_results"].iloc[:0])
    sooner = planned.brought_forward(to_come, results, judged_on)
    if len(sooner):
        again = outlook.outlook(cases, known, facts, _frame(sooner), settings, judged_on)
        shown = replaced(shown, again, CASE)
        to_come = _arrow(replaced(_frame(to_come), _frame(sooner), [*WALL, "number"]))
    plans = plan.table(results, _arrow(shown), to_come, _arrow(tables["findings"]), register, settings.rules, cold)
    return tables | {"suspects": aside, "repairs": done_by_repairs, "plan": _frame(plans)}


def _arrow(rows: pd.DataFrame) -> pa.Table:
    """A frame as a table: timestamps as dates, texts as the schema has them."""
    made = pa.Table.from_pandas(rows, preserve_index=False)
    kinds = []
    for field in made.schema:
        is_date, is_text = pa.types.is_timestamp(field.type) and field.type.tz is None, field.type == pa.large_string()
        kinds.append((field.name, pa.date32() if is_date else pa.string() if is_text else field.type))
    return made.cast(pa.schema(kinds))


def _frame(rows: pa.Table) -> pd.DataFrame:
    """A table as a frame, dates as datetime64."""
    made: pd.DataFrame = rows.to_pandas(date_as_object=False)
    return made


def _wall_values(cases: Cases, done: Fitted, threshold: Array, jump: forecast.Jump) -> Columns:
    """Columns of the wall results that come from the fit, one value per case of the block."""
    fit, layout = done.fit, done.block.layout
    wall = bounds.wall_pair(fit, done.scale, threshold, governing.preferred(cases, done))
    parts = bounds.pair(fit.rate, fit.rate_se, done.scale)
    first_row = _first_rows(done)
    values = {
        "governing": np.where(wall.governing < 0, np.nan, first_row[np.arange(len(threshold)), wall.governing]),
        "rate_mm_per_year": wall.rate,
        "rate_lower": wall.lower,
        "rate_upper": wall.upper,
        "season_mm": np.hypot(*np.moveaxis(fit.estimate.theta[:, layout.season], -1, 0)),
        "scale": done.scale.variance,
        "dof": done.scale.dof,
        "exceed_chance": wall.exceed_chance,
        "jump_mm": jump.step_mm,
        "jump_p": jump.p,
        "to_base": fit.to_base.astype(np.float64),
    }
    for number, component in enumerate(COMPONENTS):
        values[f"{component}_mm_per_year"] = fit.rate[:, number]
        values[f"{component}_lower"] = parts.lower[:, number]
        values[f"{component}_upper"] = parts.upper[:, number]
    return values


def _evidence(cases: Cases, done: Fitted, restarted: restarts.Restarted) -> Columns:
    """Restarted evidence, and the day of the starting visit of its largest term."""
    day = np.full(restarted.terms.shape, np.nan)
    day[done.block.place[:2]] = cases.rows["day"].to_numpy(np.float64)[done.block.rows]
    onset = np.where(restarted.onset < 0, np.nan, day[np.arange(len(day)), restarted.onset])
    return {"log_evidence": restarted.log_evidence, "onset": onset}


def _first_rows(done: Fitted) -> npt.NDArray[np.intp]:
    """One row of Cases.rows for each mark of the block (B, M), -1 where there is no such mark."""
    rows = np.full((len(done.block.cases), done.block.layout.marks), -1, dtype=np.intp)
    rows[done.block.place[0], done.block.mark] = done.block.rows
    return rows


def _mark_values(cases: Cases, done: Fitted, log_e: Array) -> pd.DataFrame:
    """Rows of the mark results of the block's cases."""
    rows = _first_rows(done)
    there = rows >= 0
    pair = bounds.pair(done.fit.mark_rate, done.fit.mark_se, done.scale)
    names = cases.rows.iloc[rows[there]][[*CASE, "mark", "x_mm", "z_mm"]].reset_index(drop=True)
    return names.assign(
        measured=done.fit.mark_measured[there],
        rate_mm_per_year=done.fit.mark_rate[there],
        rate_lower=pair.lower[there],
        rate_upper=pair.upper[there],
        rate_se=done.fit.mark_se[there],
        log_evidence=log_e[there],
    )


def _tables(
    cases: Cases,
    values: Columns,
    mark_tables: list[pd.DataFrame],
    lines: list[pd.DataFrame],
    by_case: Sequence[pd.DataFrame],
    facts: tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame],
    settings: Settings,
    judged_on: date,
) -> dict[str, pd.DataFrame]:
    """Join the parts and let the rules judge them."""
    readings, walls, marks, events = facts
    rules = settings.rules
    wall_results = _wall_results(cases, values)
    for said in by_case:
        wall_results = wall_results.merge(said, on=CASE, how="left")
    mark_results = _with_unfitted_marks(cases, mark_tables)
    up_to_day = readings[~(readings["visit_date"] > pd.Timestamp(judged_on))]
    done_by_day = events[~(events["event_date"] > pd.Timestamp(judged_on))]
    total = totals.totals(up_to_day, walls, marks, rules, done_by_day)
    wall_results = wall_results.merge(total, on=WALL, how="left")
    wall_results = wall_results.fillna(dict.fromkeys(("total_mark", "total_reference"), ""))
    results, register = _arrow(wall_results), _arrow(walls)
    due = schedule.schedule(results, register, judged_on, rules)
    results = having(results, **{name: due[name] for name in ("due_on", "overdue_days")})
    wall_results = _frame(projection.dated(results, rules))
    moved = movement.movement(cases, lines)
    seen = (cracks.notes(cases, moved, readings, walls, settings.variances),
            ends.notes(cases, wall_results, readings, walls, settings.variances))  # fmt: skip
    for notes in seen:
        wall_results = wall_results.merge(notes, on=CASE, how="left")
    wall_results = ends.doubted(wall_results).fillna(dict.fromkeys(("ends_note", "crack_note", "technician_note"), ""))
    judged, findings = verdicts.judge(
        _arrow(wall_results), _arrow(mark_results), _arrow(readings), register, rules, judged_on
    )
    tables = {
        "wall_results": _frame(judged),
        "mark_results": mark_results,
        "movement": moved,
        "findings": _frame(findings),
    }
    return {name: table[schema.find(name).names] for name, table in tables.items()}


def _wall_results(cases: Cases, values: Columns) -> pd.DataFrame:
    """Case table with the fit's columns."""
    table = cases.table.assign(
        **{name: value for name, value in values.items() if name not in ("governing", "to_base")}
    )
    known = ~np.isnan(values["governing"])
    names = cases.rows["mark"].to_numpy(object)
    named = np.full(len(table), "", dtype=object)
    named[known] = names[values["governing"][known].astype(np.intp)]
    lower = np.stack([values[f"{component}_lower"] for component in COMPONENTS], axis=1)
    largest = np.array([str(c) for c in COMPONENTS], dtype=object)[np.where(np.isnan(lower), -np.inf, lower).argmax(1)]
    return table.assign(
        governing_mark=named,
        method=governing.methods(cases, named),
        largest_movement=np.where(np.isnan(lower).all(axis=1), "", largest),
        relative_to=np.where(known, _relative_to(cases, values["to_base"] > 0), ""),
        log_evidence=np.nan_to_num(values["log_evidence"]),
        onset=dates(values["onset"]),
    ).drop(columns=["case", "method_code"])


def _relative_to(cases: Cases, to_base: npt.NDArray[np.bool_]) -> npt.NDArray[np.object_]:
    """What the rate is measured against, in words that follow "relative to".

    A distance meter sees all that moves, whatever else was read beside it.
    """
    by_meter = cases.rows["counts"] & (cases.rows["method_code"] == METHODS.index(Method.METER))
    meter = cases.table["case"].isin(cases.rows.loc[by_meter, "case"]).to_numpy()
    return np.where(to_base, "the wall's base", np.where(meter, "the opposite wall", "the wall's two ends"))


def _with_unfitted_marks(cases: Cases, tables: list[pd.DataFrame]) -> pd.DataFrame:
    """All marks that were read in a period, also those with no counting reading."""
    key = [*CASE, "mark"]
    read = cases.rows[[*key, "x_mm", "z_mm"]].drop_duplicates(key)
    columns = ["measured", "rate_mm_per_year", "rate_lower", "rate_upper", "rate_se", "log_evidence"]
    known = (
        pd.concat(tables)[[*key, *columns]]
        if tables
        else read.assign(**dict.fromkeys(columns, np.nan))[[*key, *columns]]
    )
    table = read.merge(known, on=key, how="left").sort_values(key, ignore_index=True)
    return table.assign(measured=table["measured"].eq(True), log_evidence=table["log_evidence"].fillna(0.0))
