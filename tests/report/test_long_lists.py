"""A list is told from columns, its lines are made as they are read: the same as wall by wall, and never all there."""

import random
import weakref
from dataclasses import replace
from datetime import date
from itertools import pairwise

import pytest
from written_book import KNOWN, table

from monitor.report import monthly_files, monthly_rows, pages, placing
from monitor.report.context import URGENCIES
from monitor.report.monthly_rows import the_list
from monitor.results import Assessment
from monitor.terms import Outcome, Rule, Urgency, Verdict

HOUSES, WALLS = [f"H{number}" for number in range(40)], "ENS"


def drawn(seed):
    """An assessment in which walls have any results and findings, some of them of an earlier period or of no result."""
    draw = random.Random(seed)
    results, findings = [], []
    for key in [{"house": house, "wall": wall} for house in HOUSES for wall in WALLS]:
        periods = draw.choice((0, 1, 1, 1, 2))
        for period in range(periods):
            results.append(key | {
                "period": period, "is_current": period == periods - 1,
                "verdict": draw.choice(tuple(Verdict)).value, "reason": "R",
                "readings_held": draw.choice((0, 0, 2, None)), "overdue_days": draw.choice((0, 0, 9, None)),
                "total_mm": draw.choice((None, -3.0, 7.0, 21.0)),
                "total_limit_mm": draw.choice((None, 0.0, 50.8, 25.4)),
                "rate_mm_per_year": draw.choice((None, -1.0, 0.5, 4.0)),
            })  # fmt: skip
        for _ in range(draw.choice((0, 0, 1, 3))):
            findings.append(key | {
                "period": draw.randrange(max(periods, 1)), "rule": draw.choice(tuple(Rule)).value, "reason": "F",
                "outcome": draw.choice(tuple(Outcome)).value, "urgency": draw.choice(tuple(Urgency)).value,
            })  # fmt: skip
    draw.shuffle(results)
    draw.shuffle(findings)
    tables = {"wall_results": table("wall_results", results), "findings": table("findings", findings)}
    return Assessment(date(2026, 4, 30), KNOWN, "5" * 64, "f" * 64, **tables)


def by_wall(found, earlier):
    """The written rule, wall by wall: section, what else is true, the findings that ask, place in the order."""
    current = {(row["house"], row["wall"]): row for row in found.wall_results.to_pylist() if row["is_current"]}
    held_then = {
        (row["house"], row["wall"])
        for row in earlier.wall_results.to_pylist()
        if row["is_current"] and row["verdict"] == Verdict.HOLDING
    }
    asking = {}
    for row in found.findings.to_pylist():
        key = row["house"], row["wall"]
        asks = row["outcome"] == Outcome.YES or (row["outcome"] == Outcome.UNDECIDED and row["urgency"] != Urgency.NONE)
        if asks and row["period"] == current.get(key, row)["period"]:
            asking.setdefault(key, []).append(row)
    told = {}
    for key in current.keys() | asking.keys():
        row, alarms = current.get(key, {}), asking.get(key, [])
        alarms = sorted(alarms, key=lambda alarm: (URGENCIES.index(alarm["urgency"]), alarm["rule"]))
        yes = {alarm["rule"] for alarm in alarms if alarm["outcome"] == Outcome.YES}
        unclear = {alarm["rule"] for alarm in alarms if alarm["outcome"] == Outcome.UNDECIDED}
        true = {
            "moving": row.get("verdict") == Verdict.MOVING,
            "held": Rule.HELD in yes or bool(row.get("readings_held")),
            "overdue": Rule.OVERDUE in yes or bool(row.get("overdue_days")),
        }
        first = (
            ("hard", placing.hard_limit(alarms) is not None),
            ("moving", true["moving"]),
            ("again", row.get("verdict") == Verdict.LOOK_AGAIN or Rule.FAST in yes or bool(unclear & {*placing.HARD})),
            ("held", true["held"]),
            ("overdue", true["overdue"]),
            ("newly", row.get("verdict") == Verdict.HOLDING and key not in held_then),
            ("holding", row.get("verdict") == Verdict.HOLDING),
            ("early", True),
        )
        limit = row.get("total_limit_mm")
        used = max(row.get("total_mm") or 0.0, 0.0) + max(row.get("rate_mm_per_year") or 0.0, 0.0)
        told[key] = (
            next(name for name, is_so in first if is_so),
            {name for name, is_so in true.items() if is_so},
            row.get("verdict"),
            [(alarm["rule"], alarm["urgency"], alarm["outcome"]) for alarm in alarms],
            URGENCIES.index(alarms[0]["urgency"]) if alarms else len(URGENCIES),
            used / limit if limit else 0.0,
        )
    return told


def in_columns(found, earlier, also):
    placed = placing.items(found, earlier, also=also)
    assert list(placed) == sorted(placed)
    used = placed.consequence().tolist()
    return {
        key: (
            item.section,
            {name for name, walls in placed.true.items() if walls[number]},
            item.result["verdict"] if item.result else None,
            [(alarm["rule"], alarm["urgency"], alarm["outcome"]) for alarm in item.alarms],
            placed.urgency[number],
            used[number],
        )
        for number, (key, item) in enumerate(placed.pairs())
    }


@pytest.mark.parametrize("seed", range(3))
def test_columns_tell_where_walls_stand_as_the_rule_does_wall_by_wall(seed, monkeypatch):
    monkeypatch.setattr(placing, "_AT_ONCE", 7)
    found, earlier = drawn(seed), drawn(seed + 100)
    every = [(house, wall) for house in HOUSES for wall in WALLS]
    told = by_wall(found, earlier)
    assert {section for section, *_ in told.values()} == set(placing.SPOKEN)
    assert in_columns(found, earlier, every) == told
    shown = {key: item.section for key, item in placing.items(found, earlier).pairs()}
    assert shown.items() >= {key: told[key][0] for key in told if told[key][0] not in placing.REST}.items()
    assert shown.items() <= {key: section for key, (section, *_) in told.items()}.items()


@pytest.fixture
def now(book, without):
    return replace(book, previous=replace(without("moving", "holding").assessment, judged_on=date(2026, 3, 31)))


def told(book):
    return pages.monthly_list(book), monthly_files.monthly_csv(book), monthly_files.monthly_xlsx(book)


def test_a_long_list_whose_lines_are_not_kept_is_the_same_list(now, monkeypatch):
    kept = told(now)
    assert next(iter(the_list(now).all_lines)) is the_list(now).all_lines[0]
    monkeypatch.setattr(monthly_rows, "_SHORT", 0)
    monkeypatch.setattr(monthly_rows, "_AT_ONCE", 2)
    again = replace(now)
    assert told(again) == kept
    lines = the_list(again).all_lines
    assert next(iter(lines)) is not lines[0]
    assert (
        len(lines)
        == sum(map(len, the_list(again).lines.values()))
        == sum(map(the_list(again).states, monthly_rows.STATES))
    )
    assert [line.key for line in lines[1:4]] == [lines[number].key for number in (1, 2, 3)]
    assert all(before <= after for before, after in pairwise(monthly_rows.SECTIONS.index(next(
        each for each in monthly_rows.SECTIONS if each[0] == line.section)) for line in lines))  # fmt: skip


def test_a_list_does_not_keep_the_book_that_it_is_of(now):
    mine = replace(now)
    assert len(the_list(mine).all_lines)
    gone = weakref.ref(mine)
    del mine
    assert gone() is None
