"""The assessment of all walls: from tables of facts to tables of results."""

from collections.abc import Collection
from datetime import date

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.config import Settings
from monitor.records import dataclass, replace
from monitor.schema.arrays import array_of
from monitor.terms import Method
from monitor.trend import (
    bounds,
    coded,
    cracks,
    ends,
    evidence,
    forecast,
    governing,
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
from monitor.trend.cases import CASE, WALL, Cases, cases_of, of_walls
from monitor.trend.columns import (
    Array,
    Flags,
    Whole,
    dates,
    day_number,
    days,
    different,
    having,
    numbers,
    places,
    replaced,
    taken,
)
from monitor.trend.movement import Lines, movement
from monitor.trend.parts import Part, first_rows
from monitor.trend.portfolio import fitted
from monitor.trend.shapes import COMPONENTS
from monitor.trend.variances import METHODS

Facts = tuple[pa.Table, pa.Table, pa.Table, pa.Table]

_ENDS = ("mm_per_year", "lower", "upper")
_OF_WALL = ("rate_mm_per_year", "rate_lower", "rate_upper", "season_mm", "scale", "dof", "log_evidence", "onset",
            "exceed_chance", "jump_mm", "jump_p")  # fmt: skip
_COMPONENTS = pa.array([str(component) for component in COMPONENTS])
_REFERENCES = pa.array(["the wall's two ends", "the opposite wall", "the wall's base"])


def assess(
    readings: pa.Table,
    walls: pa.Table,
    marks: pa.Table,
    events: pa.Table,
    settings: Settings,
    judged_on: date,
    *,
    cold: Collection[str] = (),
    ahead: bool = True,
) -> dict[str, pa.Table]:
    """Judge every wall on a day, from the facts up to that day.

    readings, walls, marks, events: tables of the schemas of those names, each reading once with its state after all
    rulings. Only used readings enter the fit; held ones are counted, and likely misreads are set aside and held with
    them. cold: houses where a visit due in autumn is made before the frost. ahead: whether to plan the visits to come;
    without it the plan is empty. Returns the tables of schema.RESULTS. TrendError where a used reading cannot enter the
    model.
    """
    rules, variances = settings.rules, settings.variances
    known = coded.coded(readings, walls, marks, events, judged_on)
    cases = cases_of(known, rules)
    screened = screening.screen(cases, variances, suspects.ruled(cases, readings))
    aside = suspects.table(cases, screened, readings, walls)
    doubts = suspects.doubts(cases, screened)
    of_old = np.arange(len(cases.rows))
    if len(screened.outliers):
        of_old = np.cumsum(~np.isin(of_old, screened.outliers.row)) - 1
        rows = cases.rows.reading[screened.outliers.row]
        readings = suspects.set_aside(readings, rows)
        known = replace(known, read=known.read.but(rows))
        cases = cases_of(known, rules)
    found = _Found.nothing(cases, settings)
    for part, settled in screened.settled:
        found.learn(cases, part, settled, of_old, settings)
    told, kept = _by_general_fits(cases, technicians.technicians_of(cases, readings), settings)
    current = pa.table(cases.told()).slice(0, len(cases.table) if ahead else 0)
    to_come = planned.planned_days(current, walls, judged_on, rules)
    shown = outlook.outlook(cases, found.known, known, to_come, settings)
    notes = doubts | {"technician_note": technicians.notes(cases, technicians.joined(told))}
    tables = _tables(cases, found, notes, shown, (readings, walls, marks, events), settings, judged_on)
    results = tables["wall_results"].slice(0, len(cases.table) if ahead else 0)
    sooner = planned.brought_forward(to_come, results, judged_on)
    if len(sooner):
        again = outlook.outlook(cases, found.known, known, sooner, settings)
        shown, to_come = replaced(shown, again, CASE), replaced(to_come, sooner, [*WALL, "number"])
    return tables | {
        "suspects": aside,
        "repairs": repairs.table(cases, kept, readings, events, walls, settings),
        "plan": plan.table(results, shown, to_come, tables["findings"], walls, rules, cold),
    }


def _by_general_fits(
    cases: Cases, technician: Whole, settings: Settings
) -> tuple[list[technicians.Told], dict[int, periods.Period]]:
    """What is told of technicians and kept of periods, of the walls where there is any of it to tell."""
    repaired, shared = repairs.repaired(cases), technicians.shared(cases, technician)
    wanted = np.zeros(len(cases.walls.row), dtype=bool)
    wanted[cases.table.wall[repaired | shared]] = True
    told: list[technicians.Told] = []
    kept: dict[int, periods.Period] = {}
    for done in fitted(of_walls(cases, wanted), settings.variances) if wanted.any() else ():
        told.append(technicians.sums(cases, done, technician))
        kept |= periods.kept(cases, done, repaired)
    return told, kept


@dataclass(frozen=True)
class _Found:
    """What the fits say of each case (cases,) and of each mark read in one (marks,); NaN where nothing was fitted.

    values: columns of the wall results; governing: mark number, -1 for none; to_base: rates are against the base. case,
    mark, of_mark, measured: the marks by case, with columns of the mark results; key: of case and mark.
    """

    values: dict[str, Array]
    governing: Whole
    to_base: Flags
    key: Whole
    case: Whole
    mark: Whole
    of_mark: dict[str, Array]
    measured: Flags
    lines: Lines
    known: planned.Known

    @classmethod
    def nothing(cls, cases: Cases, settings: Settings) -> "_Found":
        """Before any fit."""
        count, rows, marks = len(cases.table), cases.rows, len(cases.marks.wall)
        key = different(rows.case * marks + rows.mark)
        case, mark = np.divmod(key, max(marks, 1))
        names = (*(f"{of}_{end}" for of in COMPONENTS for end in _ENDS), *_OF_WALL)
        of_mark = ("rate_mm_per_year", "rate_lower", "rate_upper", "rate_se", "log_evidence")
        return cls(
            values={name: np.full(count, np.nan) for name in names},
            governing=np.full(count, -1),
            to_base=np.zeros(count, dtype=bool),
            key=key,
            case=case,
            mark=mark,
            of_mark={name: np.full(len(key), np.nan) for name in of_mark},
            measured=np.zeros(len(key), dtype=bool),
            lines=Lines.nothing(len(rows)),
            known=planned.Known.nothing(cases, settings.variances),
        )

    def learn(self, cases: Cases, part: Part, settled: Flags, of_old: Whole, settings: Settings) -> None:
        """Take in what a part says of its settled cases (B,). of_old: where its rows stand in these cases."""
        if not settled.any():
            return
        at, variances = part.cases[settled], settings.variances
        threshold = cases.table.threshold[part.cases]
        self.known.learn(part, settled)
        row = first_rows(part)
        row = np.where(row >= 0, of_old[row], -1)
        wall = bounds.wall_pair(part.fit, part.scale, threshold, governing.preferred(cases, part, row))
        mark = np.where(row >= 0, cases.rows.mark[row], -1)
        chosen = np.where(wall.governing < 0, -1, mark[np.arange(len(mark)), wall.governing])
        self.governing[at], self.to_base[at] = chosen[settled], part.fit.to_base[settled]
        jump = forecast.jump(part, variances)
        restarted = restarts.restarted(part, threshold, variances)
        values = {
            "rate_mm_per_year": wall.rate,
            "rate_lower": wall.lower,
            "rate_upper": wall.upper,
            "season_mm": part.swing_mm,
            "scale": part.scale.variance,
            "dof": part.scale.dof,
            "exceed_chance": wall.exceed_chance,
            "jump_mm": jump.step_mm,
            "jump_p": jump.p,
            "log_evidence": restarted.log_evidence,
            "onset": _onset(cases, part, restarted, of_old),
        }
        pair = bounds.pair(part.fit.rate, part.fit.rate_se, part.scale)
        for number, component in enumerate(COMPONENTS):
            for end, of in zip(_ENDS, (part.fit.rate, pair.lower, pair.upper), strict=True):
                values[f"{component}_{end}"] = of[:, number]
        for name, value in values.items():
            self.values[name][at] = value[settled]
        self._learn_marks(cases, part, settled, mark, threshold, variances.scale)
        self.lines.learn(part, of_old[part.rows], settled[part.of])

    def _learn_marks(
        self, cases: Cases, part: Part, settled: Flags, mark: Whole, threshold: Array, scale: float
    ) -> None:
        """The same of its marks; mark (B, M): their numbers, -1 for none."""
        fit, pair = part.fit, bounds.pair(part.fit.mark_rate, part.fit.mark_se, part.scale)
        total, dof = part.scale.sum[:, None], part.scale.dof[:, None]
        log_e = evidence.log_evidence(fit.mark_rate, fit.mark_se, threshold[:, None], total, dof, scale)
        there = (mark >= 0) & settled[:, None]
        key = part.cases[:, None] * len(cases.marks.wall) + mark
        at = np.searchsorted(self.key, key[there])
        values = (fit.mark_rate, pair.lower, pair.upper, fit.mark_se, log_e)
        for name, value in zip(self.of_mark, values, strict=True):
            self.of_mark[name][at] = value[there]
        self.measured[at] = fit.mark_measured[there]

    def walls(self, cases: Cases) -> pa.Table:
        """The columns of the wall results that are known by now."""
        lower = np.stack([self.values[f"{component}_lower"] for component in COMPONENTS], axis=1)
        largest = np.where(np.isnan(lower), -np.inf, lower).argmax(axis=1)
        largest = np.where(np.isnan(lower).all(axis=1), -1, largest)
        reference = np.where(self.governing < 0, -1, self._reference(cases))
        told = cases.told()
        return pa.table(
            told
            | {name: numbers(value) for name, value in self.values.items() if name != "onset"}
            | {
                "method": pc.coalesce(coded.method_words(governing.methods(cases, self.governing)), told["method"]),
                "governing_mark": cases.mark_names(self.governing),
                "largest_movement": pc.fill_null(taken(_COMPONENTS, largest), ""),
                "relative_to": pc.fill_null(taken(_REFERENCES, reference), ""),
                "log_evidence": numbers(np.nan_to_num(self.values["log_evidence"])),
                "onset": dates(self.values["onset"]),
            }
        )

    def _reference(self, cases: Cases) -> Whole:
        """What each case's rates are measured against, among _REFERENCES.

        A distance meter sees all that moves, whatever else was read beside it.
        """
        meter = np.zeros(len(cases.table), dtype=np.intp)
        meter[cases.rows.case[cases.rows.counts & (cases.rows.method == METHODS.index(Method.METER))]] = 1
        return np.where(self.to_base, 2, meter)

    def marks(self, cases: Cases) -> pa.Table:
        """Table schema.MARK_RESULTS: all marks that were read in a period, also those with no counting reading."""
        return pa.table(
            {
                **cases.keys(self.case),
                "mark": cases.mark_names(self.mark),
                "x_mm": numbers(cases.marks.x_mm[self.mark]),
                "z_mm": numbers(cases.marks.z_mm[self.mark]),
                "measured": array_of(self.measured),
                **{name: numbers(value) for name, value in self.of_mark.items()},
                "log_evidence": numbers(np.nan_to_num(self.of_mark["log_evidence"])),
            }
        )


def _onset(cases: Cases, part: Part, restarted: restarts.Restarted, of_old: Whole) -> Array:
    """Day of the starting visit of the largest evidence (B,), NaN for none."""
    day = np.full((len(part.cases), int(part.last.max(initial=-1)) + 1), np.nan)
    day[part.of, part.visit] = cases.rows.day[of_old[part.rows]]
    return np.where(restarted.onset < 0, np.nan, day[np.arange(len(day)), restarted.onset])


def _tables(
    cases: Cases,
    found: _Found,
    notes: dict[str, pa.Array],
    shown: pa.Table,
    facts: Facts,
    settings: Settings,
    judged_on: date,
) -> dict[str, pa.Table]:
    """Join the parts and let the rules judge them. notes: columns of the cases that are no column of the results."""
    readings, walls, marks, events = facts
    rules, variances, results = settings.rules, settings.variances, found.walls(cases)
    at = places(results, shown, CASE)
    settling = {name: taken(shown[name], at) for name in ("holding_from", "looked_until")}
    up_to_day = readings.filter(array_of(~(days(readings["visit_date"]) > day_number(judged_on))))
    done_by_day = events.filter(array_of(~(days(events["event_date"]) > day_number(judged_on))))
    total = totals.totals(up_to_day, walls, marks, rules, done_by_day)
    of_total = {name: taken(total[name], cases.walls.row[cases.table.wall]) for name in total.column_names[2:]}
    of_total |= {name: pc.fill_null(of_total[name], "") for name in ("total_mark", "total_reference")}
    results = having(results, **settling, **notes, **of_total)
    due = schedule.schedule(results, walls, judged_on, rules)
    results = projection.dated(having(results, due_on=due["due_on"], overdue_days=due["overdue_days"]), rules)
    moved, told = movement(cases, found.lines), found.marks(cases)
    results = having(results, crack_note=cracks.notes(cases, moved, readings, walls, variances))
    governs = ends.Governing(found.governing, found.values["rate_mm_per_year"], found.values["rate_upper"])
    note, doubt = ends.notes(cases, governs, readings, walls, variances)
    results = having(results, ends_note=note, doubt=ends.doubted(results["doubt"], doubt))
    results, findings = verdicts.judge(results, told, readings, walls, rules, judged_on)
    tables = {"wall_results": results, "mark_results": told, "movement": moved, "findings": findings}
    return {name: _fitted_to(name, rows) for name, rows in tables.items()}


def _fitted_to(name: str, rows: pa.Table) -> pa.Table:
    """The rows with the columns of a schema, in its order."""
    return rows.select(schema.find(name).names).cast(schema.find(name))
