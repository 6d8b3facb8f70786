"""The findings: each wall and period against each rule, with outcome, urgency, numbers, reason and next step.

A rule takes rows of the wall results with what else they are judged by (`verdicts` lays it beside them), and gives a
table of findings for each way in which it may come out.
"""

from collections.abc import Mapping
from datetime import date

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.config import Rules
from monitor.records import dataclass
from monitor.terms import LengthUnit, Outcome, Rule, Seen, Urgency, Verdict
from monitor.trend import reasons
from monitor.trend.columns import Array, Rows, Whole, day_number, numbers
from monitor.trend.sentences import (
    Text,
    chosen,
    decided,
    given,
    iso,
    joined,
    pick,
    rewritten,
    said,
    same,
    where,
    written,
)
from monitor.trend.signs import Held
from monitor.trend.totals import FOOT
from monitor.units import limit_rate_text

GRAVE_SIGNS = frozenset({Seen.LIP, Seen.CRUSHED_BLOCK, Seen.JOISTS_OFF, Seen.NOISE, Seen.GUSHING_WATER})
"""Signs that clear the area at once (common practice, an engineer to confirm)."""

_KEEP_OUT = "Keep people away from the wall and call a licensed engineer now."
_SAME_DAY = "Call the house today, and read the wall again from a fresh set-up."
_WEEK = "Have a licensed engineer look at the wall within a week."
_VISIT = "Make the overdue visit."
_URGENT = (Urgency.KEEP_OUT, Urgency.SAME_DAY)


@dataclass(frozen=True)
class Found:
    """What one rule says of some rows (numbers `at` of them, in their table); told: all columns but wall and rule."""

    at: Whole
    told: pa.Table


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
    told, at, rule = [pa.schema([schema.FINDINGS.field(name) for name in _TOLD]).empty_table()], [], []
    for number, word in enumerate(Rule):
        for part in found[word]:
            told.append(part.told)
            at.append(part.at)
            rule.append(np.full(len(part.at), number))
    of, by = (np.concatenate([np.zeros(0, dtype=np.intp), *parts]) for parts in (at, rule))
    order = np.lexsort((by, of))
    parts = pa.concat_tables(told).take(pa.array(order))
    wall = walls.select(["house", "wall", "period"]).take(pa.array(of[order]))
    columns = {name: parts[name] for name in _TOLD} | {name: wall[name] for name in wall.column_names}
    columns["rule"] = pick(list(Rule), by[order])
    return pa.table([columns[name] for name in schema.FINDINGS.names], schema=schema.FINDINGS)


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
    return _found(walls, outcome, asked, odds, 1 / rules.alpha, "to 1", walls.text("reason"), where(current, step))


def _trend_by_bound(walls: Rows, outcome: Outcome) -> Found:
    due, late = walls.day("due_on"), walls.count("overdue_days") > 0
    step = chosen(
        walls,
        (~walls.flag("is_current"), lambda _: ""),
        (late, lambda _: _VISIT),
        (np.isnan(due), lambda _: "Plan its next visit."),
        (True, lambda rows: said("Read it next on {day}.", day=iso(rows.day("due_on")))),
    )
    upper, limit = walls.number("rate_upper"), walls.number("threshold_mm_per_year")
    return _found(walls, outcome, Urgency.NONE, upper, limit, "mm/yr", walls.text("reason"), step)


def _confirm(walls: Rows) -> pa.Array:
    due, late = walls.day("due_on"), walls.count("overdue_days") > 0
    return said(
        "Make {visit} with two set-ups{by}{ruling}.",
        visit=where(late, "the overdue confirming visit,", "a confirming visit"),
        by=where(~late & ~np.isnan(due), said(" by {day}", day=iso(due))),
        ruling=where(walls.count("held") > 0, ", and rule on what is held"),
    )


def total(walls: Rows, rules: Rules) -> list[Found]:
    """At or over the wall's limit an engineer looks within a week, at or over a third of its thickness at once."""
    value, limit, graver = walls.number("total_mm"), walls.number("total_limit_mm"), _graver_mm(walls, rules)
    likely, most = _slide(walls)
    return decided(
        walls,
        (np.isnan(value) | np.isnan(limit), _total_unknown),
        (value >= graver, lambda rows: _total_grave(rows, rules)),
        (value >= limit, lambda rows: _total_told(rows, rules, Outcome.YES, Urgency.WEEK, _WEEK)),
        (np.isnan(likely), lambda rows: _total_told(rows, rules, Outcome.NO, Urgency.NONE, "")),
        (value + most < np.fmin(limit, graver),
         lambda rows: _total_told(rows, rules, Outcome.NO, Urgency.NONE, "", said(_BESIDE, since=_slid(rows)))),
        (True, lambda rows: _total_open(rows, rules)),
    )  # fmt: skip


_BESIDE = "; the slide of the foot, {since}, is not in it"


def _total_unknown(walls: Rows) -> Found:
    text = "The total inward deflection at the latest visit is not known."
    step = "Read the end marks, or the lowest mark of a column, or enter the total measured at the zero reading."
    limit = walls.number("total_limit_mm")
    return _found(walls, Outcome.UNDECIDED, Urgency.NONE, np.nan, limit, "mm", text, step)


def _total_grave(walls: Rows, rules: Rules) -> Found:
    graver = _graver_mm(walls, rules)
    text = said(
        "{subject}, at or over {share} of the wall's thickness, {limit}.",
        subject=_stands(walls),
        share=f"{rules.thickness_share:.0%}",
        limit=reasons.lengths(graver, reasons.inches(walls)),
    )
    return _found(walls, Outcome.YES, Urgency.KEEP_OUT, walls.number("total_mm"), graver, "mm", text, _KEEP_OUT)


def _total_told(walls: Rows, rules: Rules, outcome: Outcome, urgency: Urgency, step: str, beside: Text = "") -> Found:
    text = said("{told}{beside}.", told=_against_limit(walls, rules), beside=beside)
    value, limit = walls.number("total_mm"), walls.number("total_limit_mm")
    return _found(walls, outcome, urgency, value, limit, "mm", text, step)


def _total_open(walls: Rows, rules: Rules) -> Found:
    template = "{told}" + _BESIDE + ", and with it the wall may be over the limit."
    text = said(template, told=_against_limit(walls, rules), since=_slid(walls))
    step = "Measure the total against something that does not slide: a string between its ends, or a fixed point."
    value = walls.number("total_mm") + _slide(walls)[1]
    nearest = np.fmin(walls.number("total_limit_mm"), _graver_mm(walls, rules))
    return _found(walls, Outcome.UNDECIDED, Urgency.CONFIRM, value, nearest, "mm", text, step)


def _stands(walls: Rows) -> pa.Array:
    """How far in the wall stands, and against what, as the start of a sentence."""
    against = where(~walls.says("total_reference"),
                    said(" (measured against {line})", line=walls.text("total_reference")))  # fmt: skip
    length = reasons.lengths(walls.number("total_mm"), reasons.inches(walls))
    return said("Mark {mark} stands {length} inward in all{against}", mark=walls.text("total_mark"), length=length,
                against=against)  # fmt: skip


def _against_limit(walls: Rows, rules: Rules) -> pa.Array:
    limit = walls.number("total_limit_mm")
    no_thickness = "; its graver limit is not known, for the wall's thickness is not entered"
    return said(
        "{subject}, {side} the limit of {limit}{graver}",
        subject=_stands(walls),
        side=where(walls.number("total_mm") >= limit, "at or over", "under"),
        limit=reasons.lengths(limit, reasons.inches(walls)),
        graver=where(np.isnan(_graver_mm(walls, rules)), no_thickness),
    )


def _slid(walls: Rows) -> pa.Array:
    likely = reasons.lengths(_slide(walls)[0], reasons.inches(walls))
    first = walls.day("first_visit")
    since = where(~np.isnan(first), said(" since {day}", day=iso(first)))
    return said("most likely {likely}{since}", likely=likely, since=since)


def _graver_mm(walls: Rows, rules: Rules) -> Array:
    return rules.thickness_share * walls.number("thickness_mm")


def _slide(walls: Rows) -> tuple[Array, Array]:
    """How far the foot has likely slid in over the visits that count, and at most, where the total stands on it.

    NaN where the total does not, or no slide inward is shown. The time before the first of them is not known.
    """
    span = np.nan_to_num(walls.number("span_years"))
    shown = walls.says("total_reference", FOOT) & (walls.number("slide_lower") > 0) & walls.flag("tellable")
    years = np.where(shown & (span != 0), span, np.nan)
    return walls.number("slide_mm_per_year") * years, walls.number("slide_upper") * years


def jump(walls: Rows, rules: Rules) -> list[Found]:
    """A step at the latest visit that set-up, season and reading error cannot explain."""
    step, p = walls.number("jump_mm"), walls.number("jump_p")
    least, far = rules.jump_mm, rules.keep_out_jump_mm
    beyond = f"{{told}}, more than set-up, season and reading error explain (chance under {rules.jump_p:g})."
    return decided(
        walls,
        (np.isnan(step) | np.isnan(p), lambda rows: _jumped(rows, Outcome.UNDECIDED, Urgency.NONE, least,
            "A step at the latest visit cannot be judged: there is no forecast for it.")),
        (step < least, lambda rows: _jumped(rows, Outcome.NO, Urgency.NONE, least,
            said("{told}, less than the step of {least} inward that asks for a call.", told=_foretold(rows),
                 least=_both(least, rows)))),
        (p >= rules.jump_p, lambda rows: _jumped(rows, Outcome.NO, Urgency.NONE, least,
            said("{told}, which set-up, season and reading error can still explain (chance {p}).",
                 told=_foretold(rows), p=written(rows.number("jump_p"), lambda chance: f"{chance:.2g}")))),
        (step >= far, lambda rows: _jumped(rows, Outcome.YES, Urgency.KEEP_OUT, far,
            said(beyond, told=_foretold(rows)), _KEEP_OUT)),
        (True, lambda rows: _jumped(rows, Outcome.YES, Urgency.SAME_DAY, least,
            said(beyond, told=_foretold(rows)), _SAME_DAY)),
    )  # fmt: skip


def _jumped(walls: Rows, outcome: Outcome, urgency: Urgency, limit_mm: float, text: Text, step: str = "") -> Found:
    return _found(walls, outcome, urgency, walls.number("jump_mm"), limit_mm, "mm", text, step)


def _foretold(walls: Rows) -> pa.Array:
    """How far the latest visit stands off, as the start of a sentence."""
    step = walls.number("jump_mm")
    return said(
        "The latest visit stands {length} {side} than the earlier ones foretell",
        length=reasons.lengths(np.abs(step), reasons.inches(walls)),
        side=where(step >= 0, "further in", "further out"),
    )


def seen(walls: Rows) -> list[Found]:
    """What the technician wrote counts without any number; standing water alone is no finding."""
    alarming, unknown = rewritten(walls.text("signs"), _alarming), walls.text("unknown")
    only_crack, nothing = same(alarming, Seen.NEW_CRACK), same(alarming, "")
    undecided = (Outcome.UNDECIDED, Urgency.CONFIRM, np.nan)
    return decided(
        walls,
        (only_crack, lambda rows: _alarmed(rows, Urgency.WEEK, _WEEK)),
        (~nothing, lambda rows: _alarmed(rows, Urgency.KEEP_OUT, _KEEP_OUT)),
        (~same(unknown, ""), lambda rows: _noted(rows, *undecided,
            said("The technician wrote down {day} words that are no known sign: {words}.", day=_day(rows),
                 words=pc.replace_substring(rows.text("unknown"), "; ", ", ")),
            "Ask the technician today what was seen, and correct the row.")),
        (np.isnan(walls.day("visited_on")), lambda rows: _noted(rows, Outcome.UNDECIDED, Urgency.NONE, np.nan,
            "No visit of this wall is on record, so nobody has looked for signs.")),
        (True, lambda rows: _noted(rows, Outcome.NO, Urgency.NONE, 0.0,
            said("No sign that asks for an engineer was written down {day}{water}.", day=_day(rows),
                 water=rewritten(rows.text("signs"), _water)))),
    )  # fmt: skip


def _alarmed(walls: Rows, urgency: Urgency, step: str) -> Found:
    signs = rewritten(walls.text("signs"), _alarming)
    text = said("The technician wrote down {day}: {signs}.", day=_day(walls), signs=signs)
    return _noted(walls, Outcome.YES, urgency, pc.add(pc.count_substring(signs, ", "), 1), text, step)


def _noted(walls: Rows, outcome: Outcome, urgency: Urgency, value: npt.ArrayLike, text: Text, step: str = "") -> Found:
    return _found(walls, outcome, urgency, value, 1.0, "signs", text, step)


def _day(walls: Rows) -> pa.Array:
    """When signs were looked for, and whether some stand where nobody can say when."""
    undated = given(walls.flag("undated"), "on a row without a valid date")
    return joined(" or ", said("at the visit of {day}", day=iso(walls.day("visited_on"))), undated)


def _alarming(signs: str) -> str:
    """Those of the signs that ask for an engineer, grave ones first; '' where there is none."""
    words = signs.split("; ")
    return ", ".join([word for word in words if word in GRAVE_SIGNS] + [Seen.NEW_CRACK] * (Seen.NEW_CRACK in words))


def _water(signs: str) -> str:
    return "; standing water alone is noted, not judged" if Seen.STANDING_WATER in signs.split("; ") else ""


def fast(walls: Rows, rules: Rules) -> list[Found]:
    """A rate whose lower bound is above the engineer's limit asks for one within a week."""
    limit, lower, upper = rules.engineer_mm_per_year, walls.number("rate_lower"), walls.number("rate_upper")
    unknown = "Whether the rate is above {limit} is not known: "
    return decided(
        walls,
        (~reasons.determined(walls), lambda rows: _fast(rows, rules, Outcome.UNDECIDED, "",
            unknown + "no rate is determined yet.")),
        (lower > limit, lambda rows: _fast(rows, rules, Outcome.YES, "rate_lower",
            "The inward rate is shown to be above {limit}: {likely}, {between}.", _WEEK)),
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
    return _found(walls, outcome, urgency, value, limit, "mm/yr", said(template, **parts), step)


def overdue(walls: Rows, rules: Rules) -> list[Found]:
    """A visit past its due day and its grace."""
    grace = str(rules.grace_days)
    return decided(
        walls,
        (np.isnan(walls.day("due_on")), lambda rows: _due(rows, Outcome.UNDECIDED, Urgency.NONE, np.nan,
            "No visit is planned, for this wall has none to count from.", "Make the zero reading.")),
        (walls.count("overdue_days") == 0, lambda rows: _due(rows, Outcome.NO, Urgency.NONE, 0.0,
            said("The next visit is due on {day}, and {grace} days of grace follow.", day=iso(rows.day("due_on")),
                 grace=grace))),
        (True, lambda rows: _due(rows, Outcome.YES, Urgency.CONFIRM, rows.number("overdue_days"),
            said("The visit due on {day} is {late} past its grace of {grace} days{last}.",
                 day=iso(rows.day("due_on")), late=reasons.counted(rows.count("overdue_days"), "day"), grace=grace,
                 last=_nothing_since(rows)), _VISIT)),
    )  # fmt: skip


def _due(walls: Rows, outcome: Outcome, urgency: Urgency, value: npt.ArrayLike, text: Text, step: str = "") -> Found:
    return _found(walls, outcome, urgency, value, 0.0, "days", text, step)


def _nothing_since(walls: Rows) -> pa.Array:
    last = walls.day("last_visit")
    return where(~np.isnan(last), said(", and nothing is known of the time since {day}", day=iso(last)))


def held(walls: Rows, rules: Rules) -> list[Found]:
    """Held readings wait for a ruling; one that would lie far inward is confirmed soon, whatever it turns out to be."""
    nothing = "No reading of this wall is held."
    return decided(
        walls,
        (walls.count("held") == 0, lambda rows: _found(
            rows, Outcome.NO, Urgency.NONE, 0.0, 0.0, "readings", nothing, "")),
        (True, lambda rows: _held(rows, rules)),
    )  # fmt: skip


def _held(walls: Rows, rules: Rules) -> Found:
    """The few walls that have any, one by one."""
    names = ("held", "not_compared", "inward_mm", "held_mark", "held_on")
    of_walls = zip(walls.tuples(names), reasons.inches(walls), walls.says("verdict", Verdict.LOOK_AGAIN), strict=True)
    told = [_held_told(Held(*row), rules, in_inches, again) for row, in_inches, again in of_walls]
    urgency, value, limit, unit, text, step = zip(*told, strict=True)
    return _found(walls, Outcome.YES, pa.array(urgency), value, limit, pa.array(unit), pa.array(text), pa.array(step))


def _held_told(found: Held, rules: Rules, in_inches: bool, look_again: bool) -> tuple[str, float, float, str, str, str]:
    """Urgency, value, limit, unit, reason and next step."""
    text = f"{found.count} {'reading is' if found.count == 1 else 'readings are'} held and not used"
    if found.not_compared:
        text += f", {found.not_compared} of them with no value of the same mark to compare with"
    far = far_inward(found, rules, LengthUnit.INCH if in_inches else LengthUnit.MM)
    if far is not None and found.inward_mm is not None:
        return str(far.urgency), found.inward_mm, far.limit_mm, "mm", f"{text}; {far.what}.", far.next_step
    step = "Release, reject or correct what is held, after asking the technician or reading it again"
    step += ", and make the confirming visit with two set-ups." if look_again else "."
    return str(Urgency.DECISION), float(found.count), 0.0, "readings", f"{text}.", step


@dataclass(frozen=True)
class FarInward:
    """What a held reading that would lie far inward asks for; limit_mm: the limit it is over; what: no full stop."""

    urgency: Urgency
    limit_mm: float
    what: str
    next_step: str


def far_inward(found: Held, rules: Rules, unit: str) -> FarInward | None:
    """What the held reading furthest inward asks for, None where none lies as far as a jump."""
    inward = found.inward_mm
    if inward is None or inward < rules.jump_mm:
        return None
    day = f" of {found.read_on.isoformat()}" if found.read_on else ""
    what = f"mark {found.mark}{day}, if it is right, lies {reasons.both(inward, unit)} inward of its last value"
    if inward >= rules.keep_out_jump_mm:
        step = "Call the house today and have the mark read again."
        return FarInward(Urgency.SAME_DAY, rules.keep_out_jump_mm, what, step)
    return FarInward(Urgency.CONFIRM, rules.jump_mm, what, "Have the mark read again within 2 working days.")


_TOLD = [name for name in schema.FINDINGS.names if name not in ("house", "wall", "period", "rule")]


def _found(
    walls: Rows,
    outcome: Outcome,
    urgency: Text,
    value: npt.ArrayLike,
    limit: npt.ArrayLike,
    unit: Text,
    reason: Text,
    next_step: Text,
) -> Found:
    """Findings of the rows; whatever is not given by row holds for all of them."""
    count = len(walls)
    texts = {"outcome": outcome, "urgency": urgency, "unit": unit, "reason": reason, "next_step": next_step}
    told = {name: _for_all(text, count) for name, text in texts.items()}
    told |= {name: numbers(np.broadcast_to(of, count)) for name, of in (("value", value), ("limit", limit))}
    return Found(walls.at, pa.table([told[name] for name in _TOLD], names=_TOLD))


def _for_all(text: Text, count: int) -> pa.Array:
    return pa.repeat(str(text), count) if isinstance(text, str) else text


def _both(mm: float, walls: Rows) -> pa.Array:
    """One length in the unit of each wall."""
    return where(reasons.inches(walls), *(reasons.both(mm, unit) for unit in LengthUnit))
