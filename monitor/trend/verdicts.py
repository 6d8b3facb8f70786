"""Verdicts on each wall and period: moving, look again, holding, too early; the findings of every rule follow them.

What is not determined is NaN, which is neither above nor below anything. Each comparison here is put so that what is
not so leads to "too early", so that an unknown rate never passes for one below a limit.
"""

from datetime import date
from math import log

import numpy as np
import pyarrow as pa

from monitor.config import Rules
from monitor.schema.arrays import array_of
from monitor.terms import Movement, Rule, Verdict
from monitor.trend import reasons
from monitor.trend.columns import (
    Array,
    Rows,
    Whole,
    dates,
    groups,
    having,
    numbers,
    places,
    taken,
)
from monitor.trend.findings import all_findings, at_once, called_on
from monitor.trend.noted import with_notes
from monitor.trend.planning import earliest_holding
from monitor.trend.schedule import add_months, confirming_on, days_late, intervals, planned_visits
from monitor.trend.sentences import chosen, given, joined, pick
from monitor.units import DAYS_PER_YEAR

_PLANNED = 12
"""Visits looked ahead for the earliest day a wall can be called holding."""

_WALL = ("house", "wall")
_VERDICTS = list(Verdict)
_TEXTS = ("verdict", "reason", "missing", "not_settled", "not_measured")


def judge(
    wall_results: pa.Table,
    mark_results: pa.Table,
    readings: pa.Table,
    walls: pa.Table,
    rules: Rules,
    judged_on: date,
) -> tuple[pa.Table, pa.Table]:
    """Completed wall results, and the findings: one row per wall, period and rule.

    wall_results, mark_results: columns of their schemas, everything but verdict, reason, missing, onset, tellable,
    not_settled and not_measured filled (an onset given already is kept where the wall moves), and holding_from and
    looked_until where visits were planned; readings: all states, after rulings; walls: the register. doubt, where it is
    given: what in its readings asks for a confirming visit, though none is set aside; may_be_misread: whether that is
    one reading which nothing at its visit can tell from a misread. Periods that are over get a trend finding only,
    without urgency. A registered wall with no current period gets its findings too, so that nothing seen there is
    hidden. A visit in doubt, or a step or sign found that asks for a call the same day, makes the next visit due sooner
    than the schedule; holding is judged by the schedule alone.
    """
    blank = _without_current(wall_results, walls, rules)
    rows = pa.concat_tables([wall_results, blank], promote_options="default")
    rows = _completed(_with_register(rows, mark_results, walls), rules, judged_on)
    rows = _with_notes(rows, readings, judged_on)
    early = at_once(Rows(rows).only(Rows(rows).flag("is_current")), rules)
    rows = _brought_forward(rows, called_on(early, rows, judged_on), rules, judged_on)
    completed = rows.slice(0, len(wall_results))
    filled = (*_TEXTS, "onset", "due_on", "overdue_days", "tellable")
    return having(wall_results, **{name: completed[name] for name in filled}), all_findings(rows, early, rules)


def verdicts(walls: Rows, rules: Rules) -> Whole:
    """The number of each row's verdict among terms.Verdict (rows,).

    walls: wall results with own_lower, the governing mark's own lower bound, null where unknown. A wall whose doubt may
    be one misread is not called moving before that visit is confirmed.
    """
    threshold, count = walls.number("threshold_mm_per_year"), walls.count("visits")
    evidence, determined = np.nan_to_num(walls.number("log_evidence")), reasons.determined(walls)
    doubtful = walls.flag("is_current") & ~walls.says("doubt")
    told = determined & ~(doubtful & walls.flag("may_be_misread"))
    moving = told & (count >= rules.moving_visits) & (evidence >= log(1 / rules.alpha))
    by_bound, by_evidence = walls.number("own_lower") > threshold, evidence >= log(rules.look_again_evidence)
    long_enough = (count >= rules.holding_visits) & (months_short(walls, rules) == 0)
    undisturbed = (walls.count("readings_held") == 0) & (walls.count("overdue_days") == 0)
    below = determined & (walls.number("rate_upper") < threshold)
    found = {
        Verdict.MOVING: moving,
        Verdict.LOOK_AGAIN: doubtful | by_bound | by_evidence,
        Verdict.HOLDING: below & long_enough & undisturbed,
    }
    numbers_of = [_VERDICTS.index(verdict) for verdict in found]
    return np.select(list(found.values()), numbers_of, _VERDICTS.index(Verdict.TOO_EARLY))


def months_short(walls: Rows, rules: Rules) -> Array:
    """Months (rows,) by which the visits that count span less than holding asks for; 0 where they span enough."""
    first = walls.day("first_visit")
    last = first + np.rint(np.nan_to_num(walls.number("span_years")) * DAYS_PER_YEAR)
    short = np.maximum(0.0, (add_months(first, rules.holding_months) - last) / DAYS_PER_YEAR * 12)
    return np.where(np.isnan(first), rules.holding_months, short)


def _with_register(rows: pa.Table, mark_results: pa.Table, walls: pa.Table) -> pa.Table:
    """The rows with what the register says of their wall, and the lower bound of their governing mark (own_lower)."""
    at = places(rows, walls, _WALL)
    of_wall = {name: taken(walls[name], at) for name in ("unit", "thickness_mm", "visit_months")}
    own = mark_results.select([*_WALL, "period", "rate_lower"]).append_column("governing_mark", mark_results["mark"])
    at = places(rows, own, (*_WALL, "period", "governing_mark"))
    return having(rows, own_lower=taken(own["rate_lower"], at), **of_wall)


def _completed(rows: pa.Table, rules: Rules, judged_on: date) -> pa.Table:
    """The rows with their verdict and the words that go with it."""
    walls = Rows(rows)
    threshold = walls.number("threshold_mm_per_year")
    uppers = {str(c): walls.number(f"{c}_upper") for c in Movement}
    rows = having(
        rows,
        not_measured=joined(" ", *(given(np.isnan(upper), c) for c, upper in uppers.items())),
        not_settled=joined(" ", *(given(upper >= threshold, c) for c, upper in uppers.items())),
        tellable=array_of(reasons.tellable(walls, rules)),
        verdict=pick(_VERDICTS, verdicts(walls, rules)),
    )
    walls = Rows(rows)
    onset = np.where(np.isnan(walls.day("onset")), walls.day("first_visit"), walls.day("onset"))
    return having(
        rows,
        reason=reasons.reason(walls, rules),
        onset=dates(np.where(walls.says("verdict", Verdict.MOVING), onset, np.nan)),
        missing=_missing(walls, rules, judged_on),
    )


def _missing(walls: Rows, rules: Rules, judged_on: date) -> pa.Array:
    return chosen(
        walls,
        (walls.says("verdict", Verdict.LOOK_AGAIN), lambda _: "A confirming visit with two set-ups."),
        (~walls.says("verdict", Verdict.TOO_EARLY), lambda _: ""),
        (~walls.flag("is_current"), lambda _: "This period is over; what it lacks cannot be made up."),
        (True, lambda rows: _lacking(rows, rules, judged_on)),
    )


def _lacking(walls: Rows, rules: Rules, judged_on: date) -> pa.Array:
    short, likely, until = months_short(walls, rules), walls.day("holding_from"), walls.day("looked_until")
    asked = np.isnan(until) & ((walls.count("visits") < rules.holding_visits) | (short > 0))
    earliest = np.full(len(walls), np.nan)
    earliest[asked] = _earliest(walls.only(asked), rules, judged_on)
    return reasons.missing(walls, rules, months_short=short, when=reasons.when(likely, until, earliest))


def _earliest(walls: Rows, rules: Rules, judged_on: date) -> Array:
    """First planned day (rows,) with visits and months enough for holding, NaN where none is looked at."""
    started, last = walls.day("started_on"), walls.day("last_visit")
    planned = planned_visits(started, last, intervals(walls), rules, not_before=judged_on, count=_PLANNED)
    in_take_up = (walls.count("period") > 0)[:, None] & (planned < (started + rules.take_up_days)[:, None])
    counting = np.where(in_take_up, np.nan, planned)
    return earliest_holding(walls.day("first_visit"), walls.count("visits"), counting, rules)


def _without_current(wall_results: pa.Table, walls: pa.Table, rules: Rules) -> pa.Table:
    """A current period for each wall about which no reading in use says anything."""
    current = wall_results.filter(array_of(Rows(wall_results).flag("is_current")))
    left = walls.select(_WALL).filter(array_of(places(walls, current, _WALL) < 0))
    count = len(left)
    nothing = {"period": array_of(np.zeros(count, dtype=np.int32)), "is_current": array_of(np.ones(count, dtype=bool))}
    return having(left, **nothing, threshold_mm_per_year=numbers(np.full(count, rules.threshold(0))))


def _with_notes(rows: pa.Table, readings: pa.Table, judged_on: date) -> pa.Table:
    """The rows with what was seen at their wall's latest visit, and what is held there."""
    number, first = groups(rows, _WALL)
    noted = with_notes(rows.select(_WALL).take(array_of(first)), readings, judged_on).take(array_of(number))
    return having(rows, **{name: noted[name] for name in noted.column_names if name not in _WALL})


def _brought_forward(rows: pa.Table, called: dict[Rule, Array], rules: Rules, judged_on: date) -> pa.Table:
    """The rows with the next visit of a current one due by the day that it asks for, where that is sooner."""
    walls = Rows(rows)
    due, doubtful = walls.day("due_on"), walls.says("verdict", Verdict.LOOK_AGAIN)
    days = [*called.values(), np.where(doubtful, confirming_on(walls.day("last_visit"), rules), np.nan)]
    sooner = np.where(walls.flag("is_current"), np.fmin.reduce([due, *days]), due)
    moved = sooner != due
    late = np.where(moved & ~np.isnan(sooner), days_late(sooner, judged_on, rules), walls.count("overdue_days"))
    return having(rows, due_on=dates(sooner), overdue_days=array_of(late.astype(np.int32)))
