"""The visit plan: for each wall its next visit, what it can settle and why, and its place in the company's plan."""

from collections.abc import Collection

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.config import Rules
from monitor.schema.arrays import array_of
from monitor.terms import Verdict
from monitor.trend import ranking
from monitor.trend.columns import Array, Rows, having, numbers, places, ranks, reals, taken
from monitor.trend.reasons import counted, inches, rates, threshold
from monitor.trend.sentences import chosen, month_of, months, pick, said, same, where, written

LEAST_CHANCE = 0.05
"""A visit with less chance of it is not said to settle a verdict."""
_WORTH = 0.05
"""A second set-up is said to bring something from this much more chance, or share of the standard error, on."""
_NEARLY_SURE = 0.994
"""A chance above this is not told by its number."""
_DECEMBER = 12
_WALL = ("house", "wall")
_CASE = (*_WALL, "period")


def table(
    wall_results: pa.Table,
    outlook: pa.Table,
    ahead: pa.Table,
    findings: pa.Table,
    walls: pa.Table,
    rules: Rules,
    cold: Collection[str] = (),
) -> pa.Table:
    """One row per wall with a current period, with the columns of the plan's schema, ranked.

    wall_results, findings: judged; outlook, ahead: as outlook.outlook and planned.planned_days give them; cold: houses
    where the frost reaches the wall, so that a visit due in autumn is made before it.
    """
    current = wall_results.filter(array_of(Rows(wall_results).flag("is_current")))
    first = ahead.filter(array_of(Rows(ahead).count("number") == 0))
    current = _with(current, first, _WALL, ("visit_on",))
    current = _with(current, walls, _WALL, ("unit",))
    current = _with(current, outlook, _CASE, [name for name in outlook.column_names if name not in _CASE])
    rows = Rows(current)
    settles, chance = _settles(rows)
    current = having(current, settles=settles, chance=numbers(chance))
    month = month_of(rows.day("visit_on")) % _DECEMBER + 1
    is_cold = np.asarray(pc.is_in(rows.text("house"), pa.array(list(cold), pa.string())).to_numpy(zero_copy_only=False))
    made = having(
        current,
        why=_why(Rows(current)),
        before_frost=array_of(is_cold & (rules.frost_from <= month) & (month <= rules.frost_to)),
        overdue_days=array_of(rows.count("overdue_days").astype(np.int32)),
        rank=array_of(np.zeros(len(rows), dtype=np.int32)),
    )
    return ranked(made.select(schema.PLAN.names).cast(schema.PLAN), wall_results, findings)


def ranked(plan: pa.Table, wall_results: pa.Table, findings: pa.Table) -> pa.Table:
    """The plan's rows with their rank among all of it (`ranking`), in its order of rows."""
    by = ranking.order(plan, wall_results, findings)
    names = [ranks(plan[name]) for name in reversed(_WALL)]
    order = np.lexsort((*names, *(reals(by[name]) for name in reversed(by.column_names[len(_WALL) :]))))
    rank = np.empty(len(plan), dtype=np.int32)
    rank[order] = np.arange(1, len(plan) + 1)
    return having(plan, rank=array_of(rank))


def _with(rows: pa.Table, others: pa.Table, by: Collection[str], names: Collection[str]) -> pa.Table:
    """The rows with those columns of the others' row of the same key, null where there is none."""
    at = places(rows, others, list(by))
    return having(rows, **{name: taken(others[name], at) for name in names})


def _settles(walls: Rows) -> tuple[pa.Array, Array]:
    """What the next visit is likeliest to settle ('' for nothing), and with what chance (NaN for none)."""
    held, moved = (np.nan_to_num(walls.number(name)) for name in ("holding_chance", "moving_chance"))
    settled = walls.says("verdict", Verdict.MOVING) | walls.says("verdict", Verdict.HOLDING)
    by_moving = walls.says("verdict", Verdict.LOOK_AGAIN) | (moved > held)
    chance = np.where(by_moving, moved, held)
    told = ~settled & (chance >= LEAST_CHANCE)
    word = pick(("", Verdict.MOVING, Verdict.HOLDING), np.where(told, np.where(by_moving, 1, 2), 0))
    return word, np.where(told, chance, np.nan)


def _why(walls: Rows) -> pa.Array:
    """What the next visit would bring, in one sentence."""
    settles, kept_up = walls.text("settles"), ~np.isnan(walls.number("smallest_rate_mm_per_year"))
    unread, in_take_up = np.isnan(walls.number("next_counts")), walls.number("next_counts") == 0
    return chosen(
        walls,
        (np.isnan(walls.day("visit_on")),
         lambda _: "No visit is on record, so none is planned: make the zero reading."),
        (unread, lambda rows: said(
            "{visit} would be the first of its period, from which the rate is counted{later}.",
            visit=_visit(rows), later=_later(rows))),
        (in_take_up, lambda rows: said(
            "{visit} falls into the take-up window: it counts for the total, not for the rate{later}.",
            visit=_visit(rows), later=_later(rows))),
        (same(settles, Verdict.HOLDING), _lets_hold),
        (same(settles, Verdict.MOVING), lambda rows: said(
            "{visit} would show a wall at twice its threshold to be moving with {chance} chance{gain}.",
            visit=_visit(rows), chance=_percent(rows.number("chance")), gain=_gain(rows))),
        (walls.says("verdict", Verdict.HOLDING) & kept_up,
         lambda rows: _keeps(rows, "keeps the wall under watch and")),
        (walls.says("verdict", Verdict.MOVING) & kept_up, lambda rows: _keeps(rows, "follows what moves and")),
        (True, lambda rows: said(
            "{visit} is not likely to settle anything by itself{later}.", visit=_visit(rows), later=_later(rows))),
    )  # fmt: skip


def _visit(walls: Rows) -> pa.Array:
    late = counted(walls.count("overdue_days"), "day")
    return where(
        walls.count("overdue_days") > 0,
        said("The visit is {late} past its grace; made now it", late=late),
        said("A visit in {month}", month=months(walls.day("visit_on"))),
    )


def _lets_hold(walls: Rows) -> pa.Array:
    chance, twice = walls.number("chance"), walls.number("holding_chance_twice")
    more = where(twice - chance >= _WORTH, said(", with two set-ups with {twice}", twice=_percent(twice)))
    return said(
        "{visit} would let a still wall be called holding with {chance} chance{more}.",
        visit=_visit(walls),
        chance=_percent(chance),
        more=more,
    )


def _keeps(walls: Rows, kept: str) -> pa.Array:
    return said(
        "{visit} {kept} would show a rate from {rate} on to be above the threshold of {limit}{gain}.",
        visit=_visit(walls),
        kept=kept,
        rate=rates(walls.number("smallest_rate_mm_per_year"), inches(walls)),
        limit=threshold(walls),
        gain=_gain(walls),
    )


def _gain(walls: Rows) -> pa.Array:
    gain = walls.number("second_setup_gain")
    return where(gain >= _WORTH, said("; a second set-up would take {gain} off the error", gain=_percent(gain)))


def _later(walls: Rows) -> pa.Array:
    likely = said("; a still wall is likely to be called holding from {month} on",
                  month=months(walls.day("holding_from")))  # fmt: skip
    until = said("; no visit planned until {month} is likely to let a still wall be called holding",
                 month=months(walls.day("looked_until")))  # fmt: skip
    return pc.coalesce(likely, until, "")


def _percent(shares: Array) -> pa.Array:
    """Shares as texts, null for NaN."""
    told = np.where(shares > _NEARLY_SURE, np.inf, shares)
    return written(told, lambda share: "over 99 %" if np.isinf(share) else f"{100 * share:.0f} %", 0.01)
