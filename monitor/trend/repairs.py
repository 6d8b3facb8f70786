"""What a reinforcement did: the rate after it less the rate before, the step at the work, the take-up, each apart.

Difference of the rates: two fits of one wall share its yearly cycle and nothing else, and that is reckoned with exactly
(periods.cross). Each fit has a residual scale of its own; the difference's t has the degrees of freedom of Welch and
Satterthwaite (Satterthwaite 1946, Biometrics Bulletin 2, 110-114). The step at the work is what was read after it on
its day less what the period before foretells for that day, which holds the reading before the work. Where nothing was
read after it on its day, it is what the period after tells of that day, and the take-up is in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor import schema
from monitor.config import Settings, Variances
from monitor.terms import EventKind, Part
from monitor.trend import bounds, repair_words
from monitor.trend.aftermath import Contrast, Read, Reading, read_after, waiting
from monitor.trend.cases import CASE, WALL, Cases, days
from monitor.trend.periods import Period, carry, cross
from monitor.trend.rows import Row, plain
from monitor.trend.shapes import Array
from monitor.trend.variances import METHODS

PULL_BACK = "pull-back"
TOGETHER = "surface step and pull-back together"
_WET = {"wet", "frost"}


@dataclass(frozen=True)
class Told:
    """An estimate with its squared standard error and the degrees of freedom of its t; pair: one-sided 95 % bounds."""

    value: float
    variance: float
    dof: float

    @property
    def pair(self) -> tuple[float, float]:
        """Lower and upper bound."""
        reach = float(bounds.quantile(bounds.LEVEL, np.asarray(self.dof))) * self.variance**0.5
        return self.value - reach, self.value + reach


def repaired(cases: Cases) -> npt.NDArray[np.bool_]:
    """A flag per case: whether its wall was reinforced."""
    last = cases.table.groupby(WALL)["period"].transform("max")
    return np.asarray(last > 0)


def table(
    cases: Cases,
    periods: dict[int, Period],
    readings: pd.DataFrame,
    events: pd.DataFrame,
    walls: pd.DataFrame,
    settings: Settings,
) -> pd.DataFrame:
    """Table schema.REPAIRS: one row per reinforcement that lies between two periods of which one was fitted.

    periods: the fits by number of case (periods.kept). readings, events, walls: as the assessment takes them.
    """
    found = plain(cases.table[[*CASE, "case", "started_on", "span_years"]])
    number = {(row["house"], row["wall"], row["period"]): row["case"] for row in found}
    units = {(row["house"], row["wall"]): row["unit"] for row in plain(walls[[*WALL, "unit"]])}
    untouched, read = _untouched(events), waiting(cases, settings.variances)
    weather = _strapped_wet(readings, cases)
    made = []
    for row in found:
        key = (row["house"], row["wall"])
        before, after = periods.get(number.get((*key, row["period"] - 1), -1)), periods.get(row["case"])
        if not row["period"] or (before is None and after is None):
            continue
        marks = untouched.get((*key, row["started_on"]), set())
        one = _repair(row, before, after, read.get(row["case"], []), marks, settings)
        one |= {name: row[name] for name in ("house", "wall", "period")} | {"reinforced_on": row["started_on"]}
        wet = weather.get((*key, row["started_on"]), False) or _inward_half(before, one["mark"])
        one["warning"] = repair_words.warning(one, wet and row["span_years"] < 1)
        one["reason"] = repair_words.reason(one, units.get(key) or "in", settings.rules.take_up_days)
        made.append(one)
    columns = schema.REPAIRS.names
    real = [field.name for field in schema.REPAIRS if str(field.type) == "double"]
    return pd.DataFrame(made, columns=columns).astype(dict.fromkeys(real, "float64"))


def _repair(
    row: Row,
    before: Period | None,
    after: Period | None,
    read: Sequence[Reading],
    untouched: set[str],
    settings: Settings,
) -> Row:
    """Numbers of one reinforcement."""
    mark = _mark(before, after)
    day = int(days(pd.Series([row["started_on"]]))[0])
    after_work = read_after(read, mark, day, settings.variances)
    step, told_by = _step(before, after, after_work, mark, day, settings.variances)
    kind = PULL_BACK if told_by <= untouched else TOGETHER
    told = {
        "before": _rate(before, mark),
        "after": _rate(after, mark),
        "difference": _difference(before, after, mark, settings.variances),
        "step": step,
        "take_up": _take_up(after, after_work, day, settings),
    }
    one: Row = {"mark": mark, "step_kind": kind if step else "", "read_after": bool(after_work)}
    for name, value in told.items():
        unit = "mm" if name in ("step", "take_up") else "mm_per_year"
        one[f"{name}_{unit}"] = None if value is None else value.value
        one[f"{name}_lower"], one[f"{name}_upper"] = (None, None) if value is None else value.pair
    return one


def _mark(before: Period | None, after: Period | None) -> str:
    """The mark of the largest rate before that is measured after too; where there is none, of the largest rate at all.

    So that rates are compared of one mark, and the step told of the same. A mark at a corner that a return wall holds
    stands still whatever is done, and is taken only where there is no other.
    """
    fitted = [period for period in (before, after) if period is not None]
    shared = set.intersection(*(_measured(period) for period in fitted))
    apart = shared - {line.mark for line in fitted[0].lines if line.at_held_end}
    choices = [(fitted[0], apart), (fitted[0], shared), *((period, _measured(period)) for period in fitted)]
    for period, marks in choices:
        if marks:
            return max(sorted(marks), key=lambda mark: period.value(period.rate[period.marks[mark]]))
    return min(fitted[0].marks)


def _measured(period: Period) -> set[str]:
    return {mark for mark, number in period.marks.items() if period.measured[number]}


def _rate(period: Period | None, mark: str) -> Told | None:
    if period is None or mark not in _measured(period):
        return None
    functional = period.rate[period.marks[mark]]
    return Told(period.value(functional), period.variance(functional), float(period.scale.dof))


def _difference(before: Period | None, after: Period | None, mark: str, variances: Variances) -> Told | None:
    """Rate after less rate before; None where one is not measured, or they are measured against different things."""
    if before is None or after is None or before.to_base != after.to_base:
        return None
    if mark not in _measured(before) or mark not in _measured(after):
        return None
    return _less(after, after.rate[after.marks[mark]], before, before.rate[before.marks[mark]], variances)


def _less(after: Period, of_after: Array, before: Period, of_before: Array, variances: Variances) -> Told:
    """What one functional of the period after is more than one of the period before it."""
    parts = np.array([after.variance(of_after), before.variance(of_before)])
    together = of_after @ cross(after, before, carry(variances, 1)) @ of_before
    scales = float(np.sqrt(after.scale.variance * before.scale.variance))
    variance = float(parts.sum() - 2 * together * scales)
    dof = welch(parts, np.array([after.scale.dof, before.scale.dof], dtype=np.float64))
    return Told(after.value(of_after) - before.value(of_before), max(variance, 0.0), dof)


def welch(variances: Array, dof: Array) -> float:
    """Degrees of freedom of a sum of independent estimates with these squared standard errors."""
    return float(variances.sum() ** 2 / (variances**2 / dof).sum())


def _step(
    before: Period | None,
    after: Period | None,
    read: Sequence[Read],
    mark: str,
    day: int,
    variances: Variances,
) -> tuple[Told | None, set[str]]:
    """The step at the work, and the marks it is told by."""
    if before is None:
        return None, set()
    for one in read:
        foretold = one.contrast.foretold(before, day, newest=True)
        if foretold is not None:
            scale = before.scale
            variance = before.variance(foretold[1]) + one.variance * float(scale.variance)
            return Told(one.value_mm - foretold[0], variance, float(scale.dof)), set(one.contrast.weights)
    if after is None or read:
        return None, set()
    for method_code in range(len(METHODS)):
        alone = Contrast(method_code, {mark: 1.0})
        then, foretold = alone.foretold(after, day, newest=False), alone.foretold(before, day, newest=True)
        if then is not None and foretold is not None:
            told = _less(after, then[1], before, foretold[1], variances)
            return replace(told, value=then[0] - foretold[0]), {mark}
    return None, set()


def _take_up(after: Period | None, read: Sequence[Read], day: int, settings: Settings) -> Told | None:
    """Movement from the reading after the work to the end of the take-up window, the yearly cycle taken off.

    By the line of the period after, drawn back to that end, where it is determined; else by the window's last visit.
    """
    window = settings.rules.take_up_days
    if not window:
        return None
    for one in read:
        line = after and one.contrast.foretold(after, day + window, newest=False, cycle_day=day)
        if after and line:
            variance = after.variance(line[1]) + one.variance * float(after.scale.variance)
            return Told(line[0] - one.value_mm, variance, float(after.scale.dof))
    for one in read:
        if one.later is not None:
            scale = settings.variances.scale
            variance = (one.variance + one.later_variance) * scale
            return Told(one.later - one.value_mm, variance, settings.variances.scale_dof)
    return None


def _untouched(events: pd.DataFrame) -> dict[tuple[object, ...], set[str]]:
    """Marks declared untouched by house, wall and day of reinforcement."""
    rows = plain(events.loc[events["kind"] == EventKind.REINFORCEMENT, [*WALL, "event_date", "marks_untouched"]])
    found: dict[tuple[object, ...], set[str]] = {}
    for row in rows:
        marks = set((row["marks_untouched"] or "").split())
        key = (row["house"], row["wall"], row["event_date"])
        found[key] = found.get(key, marks) & marks
    return found


def _strapped_wet(readings: pd.DataFrame, cases: Cases) -> dict[tuple[object, ...], bool]:
    """Whether wet or frost was noted at the last visit before each reinforcement, by house, wall and its day."""
    starts = cases.table.loc[cases.table["period"] > 0, [*WALL, "started_on"]]
    noted = readings.loc[readings["weather"].fillna("") != "", [*WALL, "visit_date", "part", "weather"]]
    pairs = noted.merge(starts, on=WALL)
    same_day = (pairs["visit_date"] == pairs["started_on"]) & (pairs["part"] == Part.BEFORE)
    pairs = pairs[(pairs["visit_date"] < pairs["started_on"]) | same_day].sort_values("visit_date", kind="stable")
    last = pairs.drop_duplicates([*WALL, "started_on"], keep="last")
    return {(row["house"], row["wall"], row["started_on"]): row["weather"] in _WET for row in plain(last)}


def _inward_half(before: Period | None, mark: str) -> bool:
    """Whether the fitted cycle stood inward at the mark when it was last read before the work."""
    if before is None:
        return False
    lines = [line for line in before.lines if line.mark == mark]
    season = before.layout.season
    return any(before.reading(line, before.last_day)[season] @ before.estimate.theta[season] > 0 for line in lines[-1:])
