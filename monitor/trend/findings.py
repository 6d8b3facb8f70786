"""The findings: each wall and period against each rule, with outcome, urgency, numbers, reason and next step."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd
import pyarrow as pa

from monitor import schema
from monitor.config import Rules
from monitor.terms import LengthUnit, Outcome, Rule, Seen, Urgency, Verdict
from monitor.trend import columns, reasons
from monitor.trend.rows import Row, arrow
from monitor.trend.signs import Held, Key, Sighting, held_readings, sightings
from monitor.trend.totals import FOOT
from monitor.units import limit_rate_text

GRAVE_SIGNS = frozenset({Seen.LIP, Seen.CRUSHED_BLOCK, Seen.JOISTS_OFF, Seen.NOISE, Seen.GUSHING_WATER})
"""Signs that clear the area at once (common practice, an engineer to confirm)."""

_KEEP_OUT = "Keep people away from the wall and call a licensed engineer now."
_SAME_DAY = "Call the house today, and read the wall again from a fresh set-up."
_WEEK = "Have a licensed engineer look at the wall within a week."
_VISIT = "Make the overdue visit."


@dataclass(frozen=True)
class Finding:
    """What one rule says of one wall; value and limit are None where nothing could be compared."""

    rule: Rule
    outcome: Outcome
    urgency: Urgency
    value: float | None
    limit: float | None
    unit: str
    reason: str
    next_step: str


@dataclass(frozen=True)
class Case:
    """A row of wall results with what else its rules need."""

    row: Row
    rules: Rules
    unit: str
    thickness_mm: float | None
    seen: Sighting
    held: Held


def cases_of(
    rows: Sequence[Row], readings: pd.DataFrame, register: Mapping[Key, Row], rules: Rules, judged_on: date
) -> list[Case]:
    """Each row with what else its rules need.

    rows: completed rows of wall results; readings: all states; register: walls by house and wall.
    """
    walls = pa.table({name: pa.array([row[name] for row in rows], pa.string()) for name in ("house", "wall")})
    read = arrow(readings)
    seen, held = sightings(read, walls, judged_on), held_readings(read, walls)
    number = columns.places(walls, walls, ["house", "wall"])
    out = []
    for row, place in zip(rows, number.tolist(), strict=True):
        key = (row["house"], row["wall"])
        wall = register.get(key, {})
        unit = wall.get("unit") or LengthUnit.INCH
        thickness = wall.get("thickness_mm")
        out.append(Case(row, rules, unit, thickness, seen.of(place), held.of(place)))
    return out


def found_on(case: Case, judged_on: date) -> list[date]:
    """Days on which the wall was found with a step or a sign that asks for a call the same day, or for more."""
    urgent = (Urgency.KEEP_OUT, Urgency.SAME_DAY)
    days = [case.row["last_visit"]] if jump(case).urgency in urgent else []
    return [*days, *([case.seen.visited_on or judged_on] if seen(case).urgency in urgent else [])]


def all_findings(cases: Sequence[Case]) -> pd.DataFrame:
    """A frame of the findings schema: of each case every rule if it is current, else the trend alone."""
    out = []
    for case in cases:
        row = case.row
        for rule in _RULES if row["is_current"] else (trend,):
            out.append({name: row[name] for name in ("house", "wall", "period")} | vars(rule(case)))
    frame = pd.DataFrame(out, columns=schema.FINDINGS.names)
    texts = {name: frame[name].astype(str) for name in ("rule", "outcome", "urgency")}
    return frame.assign(**texts).astype({"value": float, "limit": float})


def trend(case: Case) -> Finding:
    """Moving is yes, holding no, everything else undecided; a period that is over asks for nobody."""
    row, rules = case.row, case.rules
    verdict = Verdict(row["verdict"])
    outcome = {Verdict.MOVING: Outcome.YES, Verdict.HOLDING: Outcome.NO}.get(verdict, Outcome.UNDECIDED)
    urgency = {Verdict.MOVING: Urgency.DECISION, Verdict.LOOK_AGAIN: Urgency.CONFIRM}.get(verdict, Urgency.NONE)
    value, limit, unit = row["rate_upper"], row["threshold_mm_per_year"], "mm/yr"
    if verdict in (Verdict.MOVING, Verdict.LOOK_AGAIN):
        value, limit, unit = reasons.odds_value(row["log_evidence"] or 0.0), 1 / rules.alpha, "to 1"
    if not row["is_current"]:
        return Finding(Rule.TREND, outcome, Urgency.NONE, value, limit, unit, row["reason"], "")
    steps = {
        Verdict.MOVING: "Decide this month what is to be done about this wall, and who does it.",
        Verdict.LOOK_AGAIN: _confirm(case),
    }
    due = f"Read it next on {row['due_on'].isoformat()}." if row["due_on"] else "Plan its next visit."
    if row["overdue_days"]:
        due = _VISIT
    return Finding(Rule.TREND, outcome, urgency, value, limit, unit, row["reason"], steps.get(verdict, due))


def _confirm(case: Case) -> str:
    row = case.row
    by = f" by {row['due_on'].isoformat()}" if row["due_on"] and not row["overdue_days"] else ""
    visit = (
        f"the overdue confirming visit, with two set-ups{by}"
        if row["overdue_days"]
        else f"a confirming visit with two set-ups{by}"
    )
    return f"Make {visit}{', and rule on what is held' if case.held.count else ''}."


def total(case: Case) -> Finding:
    """At or over the wall's limit an engineer looks within a week, at or over a third of its thickness at once."""
    row, value, limit = case.row, case.row["total_mm"], case.row["total_limit_mm"]
    if value is None or limit is None:
        text = "The total inward deflection at the latest visit is not known."
        step = "Read the end marks, or the lowest mark of a column, or enter the total measured at the zero reading."
        return Finding(Rule.TOTAL, Outcome.UNDECIDED, Urgency.NONE, None, limit, "mm", text, step)
    graver = None if case.thickness_mm is None else case.rules.thickness_share * case.thickness_mm
    against = f" (measured against {row['total_reference']})" if row["total_reference"] else ""
    subject = f"Mark {row['total_mark']} stands {reasons.both(value, case.unit)} inward in all{against}"
    if graver is not None and value >= graver:
        share = f"{case.rules.thickness_share:.0%} of the wall's thickness, {reasons.both(graver, case.unit)}"
        text = f"{subject}, at or over {share}."
        return Finding(Rule.TOTAL, Outcome.YES, Urgency.KEEP_OUT, value, graver, "mm", text, _KEEP_OUT)
    over = value >= limit
    text = f"{subject}, {'at or over' if over else 'under'} the limit of {reasons.both(limit, case.unit)}"
    if graver is None:
        text += "; its graver limit is not known, for the wall's thickness is not entered"
    if over:
        return Finding(Rule.TOTAL, Outcome.YES, Urgency.WEEK, value, limit, "mm", f"{text}.", _WEEK)
    slide = _slide(case)
    if slide is None:
        return Finding(Rule.TOTAL, Outcome.NO, Urgency.NONE, value, limit, "mm", f"{text}.", "")
    likely, most = slide
    since = f"most likely {reasons.both(likely, case.unit)} since {row['first_visit']}"
    text += f"; the slide of the foot, {since}, is not in it"
    nearest = min(limit, graver) if graver is not None else limit
    if value + most < nearest:
        return Finding(Rule.TOTAL, Outcome.NO, Urgency.NONE, value, limit, "mm", f"{text}.", "")
    text += ", and with it the wall may be over the limit"
    step = "Measure the total against something that does not slide: a string between its ends, or a fixed point."
    return Finding(Rule.TOTAL, Outcome.UNDECIDED, Urgency.CONFIRM, value + most, nearest, "mm", f"{text}.", step)


def _slide(case: Case) -> tuple[float, float] | None:
    """How far the foot has likely slid in over the visits that count, and at most, where the total stands on it.

    None where the total does not, or no slide inward is shown. The time before the first of them is not known.
    """
    row = case.row
    lower, span = row["slide_lower"], row["span_years"]
    if row["total_reference"] != FOOT or lower is None or lower <= 0 or not span or not row["tellable"]:
        return None
    return row["slide_mm_per_year"] * span, row["slide_upper"] * span


def jump(case: Case) -> Finding:
    """A step at the latest visit that set-up, season and reading error cannot explain."""
    row, rules = case.row, case.rules
    step, p = row["jump_mm"], row["jump_p"]
    if step is None or p is None:
        text = "A step at the latest visit cannot be judged: there is no forecast for it."
        return Finding(Rule.JUMP, Outcome.UNDECIDED, Urgency.NONE, step, rules.jump_mm, "mm", text, "")
    side = "further in" if step >= 0 else "further out"
    told = f"The latest visit stands {reasons.both(abs(step), case.unit)} {side} than the earlier ones foretell"
    if step < rules.jump_mm:
        text = f"{told}, less than the step of {reasons.both(rules.jump_mm, case.unit)} inward that asks for a call."
        return Finding(Rule.JUMP, Outcome.NO, Urgency.NONE, step, rules.jump_mm, "mm", text, "")
    if p >= rules.jump_p:
        text = f"{told}, which set-up, season and reading error can still explain (chance {p:.2g})."
        return Finding(Rule.JUMP, Outcome.NO, Urgency.NONE, step, rules.jump_mm, "mm", text, "")
    text = f"{told}, more than set-up, season and reading error explain (chance under {rules.jump_p:g})."
    if step >= rules.keep_out_jump_mm:
        limit = rules.keep_out_jump_mm
        return Finding(Rule.JUMP, Outcome.YES, Urgency.KEEP_OUT, step, limit, "mm", text, _KEEP_OUT)
    return Finding(Rule.JUMP, Outcome.YES, Urgency.SAME_DAY, step, rules.jump_mm, "mm", text, _SAME_DAY)


def seen(case: Case) -> Finding:
    """What the technician wrote counts without any number; standing water alone is no finding."""
    found = case.seen
    days = [f"at the visit of {found.visited_on.isoformat()}"] if found.visited_on else []
    day = " or ".join([*days, *(["on a row without a valid date"] if found.undated else [])])
    grave = [sign for sign in found.signs if sign in GRAVE_SIGNS]
    crack = Seen.NEW_CRACK in found.signs
    if grave or crack:
        listed = ", ".join([*grave, *([Seen.NEW_CRACK] if crack else [])])
        urgency, step = (Urgency.KEEP_OUT, _KEEP_OUT) if grave else (Urgency.WEEK, _WEEK)
        text = f"The technician wrote down {day}: {listed}."
        return Finding(Rule.SEEN, Outcome.YES, urgency, float(len(grave) + crack), 1.0, "signs", text, step)
    if found.unknown:
        text = f"The technician wrote down {day} words that are no known sign: {', '.join(found.unknown)}."
        step = "Ask the technician today what was seen, and correct the row."
        return Finding(Rule.SEEN, Outcome.UNDECIDED, Urgency.CONFIRM, None, 1.0, "signs", text, step)
    if found.visited_on is None:
        text = "No visit of this wall is on record, so nobody has looked for signs."
        return Finding(Rule.SEEN, Outcome.UNDECIDED, Urgency.NONE, None, 1.0, "signs", text, "")
    water = "; standing water alone is noted, not judged" if Seen.STANDING_WATER in found.signs else ""
    text = f"No sign that asks for an engineer was written down {day}{water}."
    return Finding(Rule.SEEN, Outcome.NO, Urgency.NONE, 0.0, 1.0, "signs", text, "")


def fast(case: Case) -> Finding:
    """A rate whose lower bound is above the engineer's limit asks for one within a week."""
    row, limit = case.row, case.rules.engineer_mm_per_year
    shown = limit_rate_text(limit, case.unit)
    if not reasons.determined(row):
        text = f"Whether the rate is above {shown} is not known: no rate is determined yet."
        return Finding(Rule.FAST, Outcome.UNDECIDED, Urgency.NONE, None, limit, "mm/yr", text, "")
    pair = f"{reasons.most_likely(row, case.unit)}, {reasons.between(row, case.unit)}"
    if row["rate_lower"] > limit:
        text = f"The inward rate is shown to be above {shown}: {pair}."
        return Finding(Rule.FAST, Outcome.YES, Urgency.WEEK, row["rate_lower"], limit, "mm/yr", text, _WEEK)
    if not row["tellable"]:
        text = f"Whether the rate is above {shown} is not known: no rate can be told from {reasons.visits(row)}."
        return Finding(Rule.FAST, Outcome.UNDECIDED, Urgency.NONE, None, limit, "mm/yr", text, "")
    if row["rate_upper"] >= limit:
        text = f"Whether the inward rate is above {shown} is left open: {pair}."
        return Finding(Rule.FAST, Outcome.UNDECIDED, Urgency.NONE, row["rate_upper"], limit, "mm/yr", text, "")
    text = f"The inward rate is below {shown}: {pair}."
    return Finding(Rule.FAST, Outcome.NO, Urgency.NONE, row["rate_upper"], limit, "mm/yr", text, "")


def overdue(case: Case) -> Finding:
    """A visit past its due day and its grace."""
    row, grace = case.row, case.rules.grace_days
    if row["due_on"] is None:
        text = "No visit is planned, for this wall has none to count from."
        step = "Make the zero reading."
        return Finding(Rule.OVERDUE, Outcome.UNDECIDED, Urgency.NONE, None, 0.0, "days", text, step)
    due, late = row["due_on"].isoformat(), row["overdue_days"] or 0
    if not late:
        text = f"The next visit is due on {due}, and {grace} days of grace follow."
        return Finding(Rule.OVERDUE, Outcome.NO, Urgency.NONE, 0.0, 0.0, "days", text, "")
    last = f", and nothing is known of the time since {row['last_visit'].isoformat()}" if row["last_visit"] else ""
    text = f"The visit due on {due} is {reasons.counted(late, 'day')} past its grace of {grace} days{last}."
    return Finding(Rule.OVERDUE, Outcome.YES, Urgency.CONFIRM, float(late), 0.0, "days", text, _VISIT)


def held(case: Case) -> Finding:
    """Held readings wait for a ruling; one that would lie far inward is confirmed soon, whatever it turns out to be."""
    found, rules = case.held, case.rules
    if not found.count:
        text = "No reading of this wall is held."
        return Finding(Rule.HELD, Outcome.NO, Urgency.NONE, 0.0, 0.0, "readings", text, "")
    holds = "reading is held and not used" if found.count == 1 else "readings are held and not used"
    text = f"{found.count} {holds}"
    if found.not_compared:
        text += f", {found.not_compared} of them with no value of the same mark to compare with"
    far = far_inward(found, rules, case.unit)
    if far is None:
        step = "Release, reject or correct what is held, after asking the technician or reading it again."
        if case.row["verdict"] == Verdict.LOOK_AGAIN:
            step = f"{step.removesuffix('.')}, and make the confirming visit with two set-ups."
        return Finding(Rule.HELD, Outcome.YES, Urgency.DECISION, float(found.count), 0.0, "readings", f"{text}.", step)
    return Finding(
        Rule.HELD, Outcome.YES, far.urgency, found.inward_mm, far.limit_mm, "mm", f"{text}; {far.what}.", far.next_step
    )


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


_RULES = (trend, total, jump, seen, fast, overdue, held)
