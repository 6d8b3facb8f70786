"""The visit plan: for each wall its next visit, what it can settle and why, and its place in the company's plan."""

from collections.abc import Collection
from datetime import date

import pandas as pd

from monitor import schema
from monitor.config import Rules
from monitor.terms import LengthUnit, Outcome, Rule, Verdict
from monitor.trend.cases import CASE, WALL
from monitor.trend.reasons import counted
from monitor.trend.rows import Row, plain
from monitor.units import limit_rate_text, rate_text

LEAST_CHANCE = 0.05
"""A visit with less chance of it is not said to settle a verdict."""
_WORTH = 0.05
"""A second set-up is said to bring something from this much more chance, or share of the standard error, on."""


def table(
    wall_results: pd.DataFrame,
    outlook: pd.DataFrame,
    ahead: pd.DataFrame,
    findings: pd.DataFrame,
    walls: pd.DataFrame,
    rules: Rules,
    cold: Collection[str] = (),
) -> pd.DataFrame:
    """One row per wall with a current period, with the columns of the plan's schema, ranked.

    wall_results, findings: judged; outlook, ahead: as outlook.outlook and planned.planned_days give them; cold: houses
    where the frost reaches the wall, so that a visit due in autumn is made before it.
    """
    current = wall_results[wall_results["is_current"]]
    first = ahead.loc[ahead["number"] == 0, [*WALL, "visit_on"]]
    joined = current.drop(columns="holding_from", errors="ignore").merge(first, on=WALL, how="left")
    joined = joined.merge(outlook, on=CASE, how="left")
    units = {(row["house"], row["wall"]): row["unit"] for row in plain(walls[[*WALL, "unit"]])}
    rows = [_row(row, units.get((row["house"], row["wall"])) or LengthUnit.INCH, rules, cold) for row in plain(joined)]
    made = pd.DataFrame(rows, columns=schema.PLAN.names)
    for name in ("visit_on", "holding_from"):
        made[name] = pd.to_datetime(made[name]).astype("datetime64[us]")
    made = made.astype(dict.fromkeys(("chance", "smallest_rate_mm_per_year", "second_setup_gain"), float))
    return ranked(made, wall_results, findings)


def ranked(plan: pd.DataFrame, wall_results: pd.DataFrame, findings: pd.DataFrame) -> pd.DataFrame:
    """The plan's rows with their rank among all of it, in its order of rows.

    Overdue walls first, those of most risk first: by a jump and the verdict, by the share of the limit used, by the
    upper bound of the rate against the threshold. Then the others by verdict to confirm, by the chance of settling
    something, by day. Walls without a planned visit come last.
    """
    risk = _risk(wall_results, findings)
    rows = plain(plan[[*WALL, "visit_on", "chance", "overdue_days"]].merge(risk, on=WALL, how="left"))
    order = sorted(range(len(rows)), key=lambda number: _urgency(rows[number]))
    rank = pd.Series(range(1, len(rows) + 1), index=order, dtype="int32")
    return plan.assign(rank=rank.reindex(range(len(rows))).to_numpy(dtype="int32"))


def _risk(wall_results: pd.DataFrame, findings: pd.DataFrame) -> pd.DataFrame:
    """What makes a wall's visit urgent: house, wall, alarm (0 for none), share of the limit and of the threshold."""
    yes = findings[(findings["rule"] == Rule.JUMP) & (findings["outcome"] == Outcome.YES)]
    jumped = pd.MultiIndex.from_frame(yes[CASE])
    current = wall_results[wall_results["is_current"]].reset_index(drop=True)
    verdicts = {Verdict.MOVING: 2, Verdict.LOOK_AGAIN: 1}
    alarm = current["verdict"].map({str(word): size for word, size in verdicts.items()}).fillna(0)
    return current[WALL].assign(
        alarm=alarm.where(~pd.MultiIndex.from_frame(current[CASE]).isin(jumped), 3),
        used=current["total_mm"] / current["total_limit_mm"],
        fast=current["rate_upper"] / current["threshold_mm_per_year"],
    )


def _urgency(row: Row) -> tuple[object, ...]:
    risk = (-(row["alarm"] or 0), -(row["used"] or 0.0), -(row["fast"] or 0.0))
    day, key = row["visit_on"] or date.max, (row["house"], row["wall"])
    if row["overdue_days"]:
        return (0, *risk, day, *key)
    settles = (-min(row["alarm"] or 0, 1), -(row["chance"] or 0.0), day)
    return (2 if row["visit_on"] is None else 1, *settles, *key)


def _row(row: Row, unit: str, rules: Rules, cold: Collection[str]) -> Row:
    settles, chance, twice = _settles(row)
    day = row["visit_on"]
    return {
        **{name: row[name] for name in (*WALL, "visit_on", "smallest_rate_mm_per_year", "holding_from")},
        "second_setup_gain": row["second_setup_gain"],
        "settles": settles,
        "chance": chance,
        "why": _why(row, settles, chance, twice, unit),
        "before_frost": day is not None and row["house"] in cold and rules.frost_from <= day.month <= rules.frost_to,
        "overdue_days": row["overdue_days"] or 0,
        "rank": 0,
    }


def _settles(row: Row) -> tuple[str, float | None, float | None]:
    """What the next visit is likeliest to settle, with what chance, and with what chance by two set-ups (holding)."""
    held, moved = row["holding_chance"] or 0.0, row["moving_chance"] or 0.0
    if row["verdict"] in (Verdict.MOVING, Verdict.HOLDING) or max(held, moved) < LEAST_CHANCE:
        return "", None, None
    if row["verdict"] == Verdict.LOOK_AGAIN or moved > held:
        return (str(Verdict.MOVING), moved, None) if moved >= LEAST_CHANCE else ("", None, None)
    return str(Verdict.HOLDING), held, row["holding_chance_twice"]


def _why(row: Row, settles: str, chance: float | None, twice: float | None, unit: str) -> str:
    """What the next visit would bring, in one sentence."""
    day = row["visit_on"]
    if day is None:
        return "No visit is on record, so none is planned: make the zero reading."
    visit = f"A visit in {_month(day)}"
    if row["overdue_days"]:
        visit = f"The visit is {counted(row['overdue_days'], 'day')} past its grace; made now it"
    if row["next_counts"] is None:
        return f"{visit} would be the first of its period, from which the rate is counted{_later(row)}."
    if not row["next_counts"]:
        return f"{visit} falls into the take-up window: it counts for the total, not for the rate{_later(row)}."
    if chance is not None and settles == Verdict.HOLDING:
        more = f", with two set-ups with {_percent(twice)}" if twice is not None and twice - chance >= _WORTH else ""
        return f"{visit} would let a still wall be called holding with {_percent(chance)} chance{more}."
    if chance is not None:
        shown = f"would show a wall at twice its threshold to be moving with {_percent(chance)} chance"
        return f"{visit} {shown}{_gain(row)}."
    if row["verdict"] in (Verdict.HOLDING, Verdict.MOVING) and row["smallest_rate_mm_per_year"] is not None:
        limit = limit_rate_text(row["threshold_mm_per_year"], unit)
        rate = rate_text(row["smallest_rate_mm_per_year"], unit)
        kept = "keeps the wall under watch and" if row["verdict"] == Verdict.HOLDING else "follows what moves and"
        return f"{visit} {kept} would show a rate from {rate} on to be above the threshold of {limit}{_gain(row)}."
    return f"{visit} is not likely to settle anything by itself{_later(row)}."


def _gain(row: Row) -> str:
    gain = row["second_setup_gain"]
    return f"; a second set-up would take {_percent(gain)} off the error" if gain is not None and gain >= _WORTH else ""


def _later(row: Row) -> str:
    if row["holding_from"] is not None:
        return f"; a still wall is likely to be called holding from {_month(row['holding_from'])} on"
    if row["looked_until"] is not None:
        return f"; no visit planned until {_month(row['looked_until'])} is likely to let a still wall be called holding"
    return ""


def _month(day: date) -> str:
    return day.strftime("%B %Y")


def _percent(share: float) -> str:
    return "over 99 %" if share > 0.994 else f"{100 * share:.0f} %"
