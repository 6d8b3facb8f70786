"""Verdicts on each wall and period: moving, look again, holding, too early; the findings of every rule follow them.

What is not determined is None by the time anything is compared here, so that an unknown rate is too early, never below
a limit.
"""

from datetime import date, timedelta
from math import log

import pandas as pd

from monitor.config import Rules
from monitor.terms import LengthUnit, Movement, Verdict
from monitor.trend import reasons
from monitor.trend.findings import all_findings, cases_of, found_on
from monitor.trend.planning import earliest_holding
from monitor.trend.rows import Row, plain
from monitor.trend.schedule import add_months, bring_forward, confirming_on, planned_months, planned_visits
from monitor.units import DAYS_PER_YEAR

_PLANNED = 12
"""Visits looked ahead for the earliest day a wall can be called holding."""


def judge(
    wall_results: pd.DataFrame,
    mark_results: pd.DataFrame,
    readings: pd.DataFrame,
    walls: pd.DataFrame,
    rules: Rules,
    judged_on: date,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Completed wall results, and the findings: one row per wall, period and rule.

    wall_results, mark_results: columns of their schemas, everything but verdict, reason, missing, onset, tellable,
    not_settled and not_measured filled (an onset given already is kept where the wall moves), and holding_from and
    looked_until where visits were planned; readings: all states, after rulings; walls: the register. Periods that are
    over get a trend finding only, without urgency. A registered wall with no current period gets its findings too, so
    that nothing seen there is hidden. A visit in doubt, or a step or sign found that asks for a call the same day,
    makes the next visit due sooner than the schedule; holding is judged by the schedule alone.
    """
    register = {_key(row): row for row in plain(walls)}
    own_lower = {(*_key(row), row["period"], row["mark"]): row["rate_lower"] for row in plain(mark_results)}
    rows = plain(wall_results)
    for row in rows:
        wall = register.get(_key(row), {})
        lower = own_lower.get((*_key(row), row["period"], row["governing_mark"]))
        _complete(row, wall, lower, rules, judged_on)
    unvisited = [_blank(wall_results, key, rules, judged_on) for key in _without_current(rows, register)]
    cases = cases_of([*rows, *unvisited], readings, register, rules, judged_on)
    for case in cases:
        if case.row["is_current"]:
            doubtful = case.row["verdict"] == Verdict.LOOK_AGAIN
            days = [*found_on(case, judged_on), *([confirming_on(case.row, rules)] if doubtful else [])]
            bring_forward(case.row, [day for day in days if day is not None], judged_on, rules)
    completed = wall_results.copy()
    for name in ("verdict", "reason", "missing", "not_settled", "not_measured"):
        completed[name] = pd.Series([row[name] for row in rows], index=completed.index, dtype="str")
    onsets = pd.Series([row["onset"] for row in rows], index=completed.index, dtype="object")
    completed["onset"] = pd.to_datetime(onsets).astype("datetime64[us]")
    due = pd.Series([row["due_on"] for row in rows], index=completed.index, dtype="object")
    completed["due_on"] = pd.to_datetime(due).astype("datetime64[us]")
    completed["overdue_days"] = pd.Series([row["overdue_days"] for row in rows], index=completed.index)
    completed["tellable"] = pd.Series([row["tellable"] for row in rows], index=completed.index, dtype="bool")
    return completed, all_findings(cases)


def verdict(row: Row, own_lower: float | None, rules: Rules) -> Verdict:
    """The verdict on one row of wall results. own_lower: the governing mark's own lower bound, None where unknown.

    row["doubt"], where it is given: what in its readings asks for a confirming visit, though none is set aside;
    row["may_be_misread"]: whether that is one reading which nothing at its visit can tell from a misread. Such a wall
    is not called moving before that visit is confirmed.
    """
    log_e, threshold = row["log_evidence"] or 0.0, row["threshold_mm_per_year"]
    doubtful = row["is_current"] and row.get("doubt")
    told = reasons.determined(row) and not (doubtful and row.get("may_be_misread"))
    if row["visits"] >= rules.moving_visits and told and log_e >= log(1 / rules.alpha):
        return Verdict.MOVING
    if doubtful or (own_lower is not None and own_lower > threshold) or log_e >= log(rules.look_again_evidence):
        return Verdict.LOOK_AGAIN
    long_enough = row["visits"] >= rules.holding_visits and not months_short(row, rules)
    undisturbed = not row["readings_held"] and not row["overdue_days"]
    if reasons.determined(row) and row["rate_upper"] < threshold and long_enough and undisturbed:
        return Verdict.HOLDING
    return Verdict.TOO_EARLY


def months_short(row: Row, rules: Rules) -> float:
    """Months by which the visits that count span less than holding asks for; 0 where they span enough."""
    first = row["first_visit"]
    if first is None:
        return rules.holding_months
    last = first + timedelta(days=round((row["span_years"] or 0.0) * DAYS_PER_YEAR))
    short: timedelta = add_months(first, rules.holding_months) - last
    return max(0.0, short.days / DAYS_PER_YEAR * 12)


def _complete(row: Row, wall: Row, own_lower: float | None, rules: Rules, judged_on: date) -> None:
    """Fill the row's verdict and the words that go with it."""
    unit = wall.get("unit") or LengthUnit.INCH
    threshold = row["threshold_mm_per_year"]
    uppers = {c: row[f"{c}_upper"] for c in Movement}
    row["visits"], row["governing_mark"] = row["visits"] or 0, row["governing_mark"] or ""
    row["not_measured"] = " ".join(c for c, upper in uppers.items() if upper is None)
    row["not_settled"] = " ".join(c for c, upper in uppers.items() if upper is not None and upper >= threshold)
    row["tellable"] = reasons.tellable(row, rules)
    found = verdict(row, own_lower, rules)
    row["verdict"] = str(found)
    row["reason"] = reasons.reason(row, found, rules, unit, own_lower)
    row["onset"] = (row["onset"] or row["first_visit"]) if found is Verdict.MOVING else None
    row["missing"] = _missing(row, found, wall, rules, judged_on, unit)


def _missing(row: Row, found: Verdict, wall: Row, rules: Rules, judged_on: date, unit: str) -> str:
    if found is Verdict.LOOK_AGAIN:
        return "A confirming visit with two set-ups."
    if found is not Verdict.TOO_EARLY:
        return ""
    if not row["is_current"]:
        return "This period is over; what it lacks cannot be made up."
    short = months_short(row, rules)
    likely, until = row.get("holding_from"), row.get("looked_until")
    earliest = None
    if until is None and (row["visits"] < rules.holding_visits or short):
        months = planned_months(wall.get("visit_months") or "", f"{row['house']}-{row['wall']}")
        planned = planned_visits(row, months, rules, not_before=judged_on, count=_PLANNED)
        counting = [day for day in planned if _counts(day, row, rules)]
        earliest = earliest_holding(row["first_visit"], row["visits"], counting, rules)
    return reasons.missing(row, rules, unit, months_short=short, when=reasons.when(likely, until, earliest))


def _counts(day: date, row: Row, rules: Rules) -> bool:
    """Whether a visit on that day would count for the rate: it does outside the take-up after a reinforcement."""
    if not row["period"] or row["started_on"] is None:
        return True
    return bool(day >= row["started_on"] + timedelta(days=rules.take_up_days))


def _without_current(rows: list[Row], register: dict[tuple[str, str], Row]) -> list[tuple[str, str]]:
    current = {_key(row) for row in rows if row["is_current"]}
    return [key for key in register if key not in current]


def _blank(columns: pd.DataFrame, key: tuple[str, str], rules: Rules, judged_on: date) -> Row:
    """A current period of a wall about which no reading in use says anything."""
    row: Row = dict.fromkeys(map(str, columns.columns))
    row |= {"house": key[0], "wall": key[1], "period": 0, "is_current": True, "visits": 0, "visits_all": 0}
    row |= {"threshold_mm_per_year": rules.threshold(0), "overdue_days": 0}
    _complete(row, {}, None, rules, judged_on)
    return row


def _key(row: Row) -> tuple[str, str]:
    return row["house"], row["wall"]
