"""The findings: each wall and period against each rule, with outcome, urgency, numbers, reason and next step.

A rule takes rows of the wall results with what else they are judged by (`verdicts` lays it beside them), and gives a
table of findings for each way in which it may come out.
"""

from collections.abc import Mapping
from datetime import date

import numpy as np
import pyarrow as pa

from monitor import schema
from monitor.config import Rules
from monitor.schema.arrays import array_of
from monitor.terms import Rule, Urgency
from monitor.trend.columns import Array, Rows, day_number
from monitor.trend.findings.by_rate import fast, trend
from monitor.trend.findings.by_total import total
from monitor.trend.findings.found import TOLD, Found
from monitor.trend.findings.sudden import jump, seen
from monitor.trend.findings.waiting import held, overdue
from monitor.trend.sentences import pick

_URGENT = (Urgency.KEEP_OUT, Urgency.SAME_DAY)


def at_once(walls: Rows, rules: Rules) -> Mapping[Rule, list[Found]]:
    """Findings of current rows by the rules that may call for a visit at once, and need no day it is due."""
    return {Rule.JUMP: jump(walls, rules), Rule.SEEN: seen(walls)}


def called_on(found: Mapping[Rule, list[Found]], walls: pa.Table, judged_on: date) -> dict[Rule, Array]:
    """Days (rows,) on which a step or a sign was found that asks for a call the same day, or for more; NaN for none.

    walls: the table that `found` numbers the rows of.
    """
    rows = Rows(walls)
    visited_on = rows.day("visited_on")
    days = {
        Rule.JUMP: rows.day("last_visit"),
        Rule.SEEN: np.where(np.isnan(visited_on), day_number(judged_on), visited_on),
    }
    for rule, day in days.items():
        urgent = np.zeros(len(rows), dtype=bool)
        for part in found[rule]:
            of = Rows(part.told)
            urgent[part.at] = np.logical_or.reduce([of.says("urgency", urgency) for urgency in _URGENT])
        days[rule] = np.where(urgent, day, np.nan)
    return days


def all_findings(walls: pa.Table, early: Mapping[Rule, list[Found]], rules: Rules) -> pa.Table:
    """A table of the findings schema: of each row every rule if it is current, else the trend alone.

    walls: completed; early: what `at_once` found of its current rows.
    """
    rows = Rows(walls)
    current = rows.only(rows.flag("is_current"))
    found = {
        Rule.TREND: trend(rows, rules),
        Rule.TOTAL: total(current, rules),
        **early,
        Rule.FAST: fast(current, rules),
        Rule.OVERDUE: overdue(current, rules),
        Rule.HELD: held(current, rules),
    }
    told, at, rule = [pa.schema([schema.FINDINGS.field(name) for name in TOLD]).empty_table()], [], []
    for number, word in enumerate(Rule):
        for part in found[word]:
            told.append(part.told)
            at.append(part.at)
            rule.append(np.full(len(part.at), number))
    of, by = (np.concatenate([np.zeros(0, dtype=np.intp), *parts]) for parts in (at, rule))
    order = np.lexsort((by, of))
    parts = pa.concat_tables(told).take(array_of(order))
    wall = walls.select(["house", "wall", "period"]).take(array_of(of[order]))
    columns = {name: parts[name] for name in TOLD} | {name: wall[name] for name in wall.column_names}
    columns["rule"] = pick(list(Rule), by[order])
    return pa.table([columns[name] for name in schema.FINDINGS.names], schema=schema.FINDINGS)
