"""Findings by the rate: the trend's verdict, and a rate above the engineer's limit."""

import numpy as np
import pyarrow as pa

from monitor.config import Rules
from monitor.terms import LengthUnit, Outcome, Urgency, Verdict
from monitor.trend import reasons
from monitor.trend.columns import Rows
from monitor.trend.findings.found import VISIT, WEEK, Found, found
from monitor.trend.sentences import chosen, decided, iso, said, where
from monitor.units import limit_rate_text


def trend(walls: Rows, rules: Rules) -> list[Found]:
    """Moving is yes, holding no, everything else undecided; a period that is over asks for nobody."""
    return decided(
        walls,
        (walls.says("verdict", Verdict.MOVING),
         lambda rows: _trend_by_odds(rows, rules, Outcome.YES, Urgency.DECISION)),
        (walls.says("verdict", Verdict.LOOK_AGAIN),
         lambda rows: _trend_by_odds(rows, rules, Outcome.UNDECIDED, Urgency.CONFIRM)),
        (walls.says("verdict", Verdict.HOLDING), lambda rows: _trend_by_bound(rows, Outcome.NO)),
        (True, lambda rows: _trend_by_bound(rows, Outcome.UNDECIDED)),
    )  # fmt: skip


def _trend_by_odds(walls: Rows, rules: Rules, outcome: Outcome, urgency: Urgency) -> Found:
    odds, current = reasons.odds_value(np.nan_to_num(walls.number("log_evidence"))), walls.flag("is_current")
    decide = "Decide this month what is to be done about this wall, and who does it."
    step = decide if outcome is Outcome.YES else _confirm(walls)
    asked = where(current, str(urgency), str(Urgency.NONE))
    return found(walls, outcome, asked, odds, 1 / rules.alpha, "to 1", walls.text("reason"), where(current, step))


def _trend_by_bound(walls: Rows, outcome: Outcome) -> Found:
    due, late = walls.day("due_on"), walls.count("overdue_days") > 0
    step = chosen(
        walls,
        (~walls.flag("is_current"), lambda _: ""),
        (late, lambda _: VISIT),
        (np.isnan(due), lambda _: "Plan its next visit."),
        (True, lambda rows: said("Read it next on {day}.", day=iso(rows.day("due_on")))),
    )
    upper, limit = walls.number("rate_upper"), walls.number("threshold_mm_per_year")
    return found(walls, outcome, Urgency.NONE, upper, limit, "mm/yr", walls.text("reason"), step)


def _confirm(walls: Rows) -> pa.Array:
    due, late = walls.day("due_on"), walls.count("overdue_days") > 0
    return said(
        "Make {visit} with two set-ups{by}{ruling}.",
        visit=where(late, "the overdue confirming visit,", "a confirming visit"),
        by=where(~late & ~np.isnan(due), said(" by {day}", day=iso(due))),
        ruling=where(walls.count("held") > 0, ", and rule on what is held"),
    )


def fast(walls: Rows, rules: Rules) -> list[Found]:
    """A rate whose lower bound is above the engineer's limit asks for one within a week."""
    limit, lower, upper = rules.engineer_mm_per_year, walls.number("rate_lower"), walls.number("rate_upper")
    unknown = "Whether the rate is above {limit} is not known: "
    return decided(
        walls,
        (~reasons.determined(walls), lambda rows: _fast(rows, rules, Outcome.UNDECIDED, "",
            unknown + "no rate is determined yet.")),
        (lower > limit, lambda rows: _fast(rows, rules, Outcome.YES, "rate_lower",
            "The inward rate is shown to be above {limit}: {likely}, {between}.", WEEK)),
        (~walls.flag("tellable"), lambda rows: _fast(rows, rules, Outcome.UNDECIDED, "",
            unknown + "no rate can be told from {visits}.")),
        (upper >= limit, lambda rows: _fast(rows, rules, Outcome.UNDECIDED, "rate_upper",
            "Whether the inward rate is above {limit} is left open: {likely}, {between}.")),
        (True, lambda rows: _fast(rows, rules, Outcome.NO, "rate_upper",
            "The inward rate is below {limit}: {likely}, {between}.")),
    )  # fmt: skip


def _fast(walls: Rows, rules: Rules, outcome: Outcome, bound: str, template: str, step: str = "") -> Found:
    """bound: the column that is compared with the limit, '' where there is none."""
    limit = rules.engineer_mm_per_year
    parts = {
        "limit": where(reasons.inches(walls), *(limit_rate_text(limit, unit) for unit in LengthUnit)),
        "likely": reasons.most_likely(walls),
        "between": reasons.between(walls),
        "visits": reasons.visits(walls),
    }
    urgency, value = Urgency.WEEK if step else Urgency.NONE, walls.number(bound) if bound else np.nan
    return found(walls, outcome, urgency, value, limit, "mm/yr", said(template, **parts), step)
