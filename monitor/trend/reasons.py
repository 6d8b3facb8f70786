"""The sentences of verdicts and findings: what was found, how large, how sure, in the wall's own unit."""

from datetime import date
from math import exp, floor, log
from typing import Any

from monitor.config import Rules
from monitor.terms import LengthUnit, Movement, Verdict
from monitor.trend.rows import Row
from monitor.units import length_text, limit_rate_text, rate_text

COMPONENT = {
    Movement.BOW: "bowing",
    Movement.TIP: "tipping at the top",
    Movement.SLIDE: "sliding at the base",
}
"""What a component of movement is called in a sentence."""

MOST_ODDS = 1000


def reason(row: Row, verdict: Verdict, rules: Rules, unit: str, own_lower: float | None) -> str:
    """The verdict's reason in one sentence. own_lower: the governing mark's own lower bound, mm/yr."""
    threshold = limit_rate_text(row["threshold_mm_per_year"], unit)
    if verdict is Verdict.MOVING:
        return (
            f"The wall moves inward{_led_by(row)}{_since(row)}, {most_likely(row, unit)} "
            f"({between(row, unit)}), "
            f"and {visits(row)} speak {odds(row['log_evidence'])} for a rate "
            f"above the threshold of {threshold} ({odds(log(1 / rules.alpha))} is asked for)."
        )
    if verdict is Verdict.LOOK_AGAIN:
        return f"Not yet shown to be moving, but {_doubt(row, rules, unit, own_lower)}."
    if verdict is Verdict.HOLDING:
        return f"Over {visits(row)} {_rate(row, unit)}, below the threshold of {threshold}{_left_open(row)}."
    return _too_early(row, unit, threshold, rules)


def missing(row: Row, rules: Rules, unit: str, *, months_short: float, when: str) -> str:
    """What a period lacks for being called holding, in one sentence; '' where it lacks nothing.

    months_short: months by which its visits span too little; when: from when on it can be called so, '' if not known.
    """
    upper = row["rate_upper"]
    parts = []
    if row["visits"] < rules.holding_visits:
        lacking = rules.holding_visits - row["visits"]
        parts.append("1 more visit that counts for the rate" if lacking == 1 else f"{lacking} more visits that count")
    if months_short > 0:
        parts.append(f"{counted(max(1, round(months_short)), 'more month')} between the first visit and the last")
    if row["readings_held"]:
        parts.append(f"a ruling on {counted(row['readings_held'], 'held reading')}")
    if row["overdue_days"]:
        parts.append("the overdue visit")
    if upper is None and row["visits"] >= 2:
        parts.append("marks or a method that determine a rate")
    if upper is not None and upper >= row["threshold_mm_per_year"]:
        limit = limit_rate_text(row["threshold_mm_per_year"], unit)
        now = f" (now {rate_text(upper, unit)})" if tellable(row, rules) else ""
        parts.append(f"an upper bound below the threshold of {limit}{now}")
    if not parts:
        return ""
    return f"Missing for holding: {_listed(parts)}{f'; {when}' if when else ''}."


def when(likely: date | None, looked_until: date | None, earliest: date | None) -> str:
    """From when on a wall can be called holding; '' where nothing is known.

    likely: the planned visit after which a still wall is called so with 80 % chance; looked_until: the last planned
    visit that was looked at; earliest: where none was, the first planned day with visits and months enough.
    """
    if likely is not None:
        return (
            f"if it does not move, it is likely (4 times in 5) to be called so after the visit of {likely.isoformat()}"
        )
    if looked_until is not None:
        return f"no visit planned until {looked_until.isoformat()} is likely to show it, even if the wall does not move"
    return f"by visits and months alone it can be called holding from {earliest.isoformat()}" if earliest else ""


def between(row: Row, unit: str) -> str:
    """The wall's pair of bounds: 'between 0.12 and 0.30 inch a year over all its marks, 9 times in 10'."""
    low, high = (rate_text(row[name], unit) for name in ("rate_lower", "rate_upper"))
    return f"between {low.split(' ')[0]} and {high} over all its marks, 9 times in 10"


def most_likely(row: Row, unit: str) -> str:
    """The wall's rate: 'most likely 0.20 inch a year at mark M3'."""
    at = f" at mark {row['governing_mark']}" if row["governing_mark"] else ""
    return f"most likely {rate_text(row['rate_mm_per_year'], unit)}{at}"


def both(mm: float, unit: str) -> str:
    """A length in the wall's unit, the other one beside: '1 3/16 in (30.2 mm)'."""
    other = LengthUnit.MM if unit == LengthUnit.INCH else LengthUnit.INCH
    return f"{length_text(mm, unit)} ({length_text(mm, other)})"


def odds_value(log_evidence: float) -> float:
    """Evidence as odds to 1, cut at the most that is said."""
    return min(exp(min(log_evidence, log(MOST_ODDS))), float(MOST_ODDS))


def odds(log_evidence: float) -> str:
    """Evidence as odds: '45 to 1'; rounded down, and not said beyond 1,000 to 1."""
    if log_evidence >= log(MOST_ODDS):
        return f"over {MOST_ODDS:,} to 1"
    e = exp(log_evidence) + 1e-9
    return f"{floor(e)} to 1" if e >= 10 else f"{floor(e * 10) / 10:.1f} to 1"


def counted(number: int, noun: str) -> str:
    """'1 visit', '3 visits'."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def visits(row: Row) -> str:
    """'5 visits in 24 months'."""
    months = round((row["span_years"] or 0.0) * 12)
    return f"{counted(row['visits'], 'visit')} in {counted(months, 'month')}"


def words(text: str | None) -> list[str]:
    """Words of a column that holds several, separated by spaces."""
    return (text or "").split()


def _too_early(row: Row, unit: str, threshold: str, rules: Rules) -> str:
    if not row["visits"]:
        waiting = row["visits_all"] or 0
        held_back = (
            f": {counted(waiting, 'visit')} lie within the {rules.take_up_days} days of take-up after the work"
            if waiting and row["period"]
            else ""
        )
        return f"No visit of this period counts for the rate yet{held_back}."
    if row["visits"] == 1:
        return "Only 1 visit of this period counts for the rate, and one visit shows no movement."
    if not determined(row):
        return f"The marks and the method of {visits(row)} do not determine the rate of any mark."
    if not tellable(row, rules):
        return f"No rate can be told from {visits(row)}: it takes {rules.moving_visits} visits that count."
    if row["rate_upper"] < row["threshold_mm_per_year"]:
        settled = f"which is below the threshold of {threshold}, but not enough yet to be called holding"
    else:
        settled = f"which leaves open on which side of the threshold of {threshold} it lies"
    return f"After {visits(row)} {_rate(row, unit)}, {settled}."


def determined(row: Row) -> bool:
    """Whether the wall has a rate with both bounds."""
    return all(row[name] is not None for name in ("rate_mm_per_year", "rate_lower", "rate_upper"))


def tellable(row: Row, rules: Rules) -> bool:
    """Whether a rate can be told: from enough visits that count, and with both bounds."""
    return determined(row) and (row["visits"] or 0) >= rules.moving_visits


def _rate(row: Row, unit: str) -> str:
    """The wall's rate as the start of a sentence's end: subject, estimate, bounds."""
    return f"the wall's inward rate, {most_likely(row, unit)}, lies {between(row, unit)}"


def _doubt(row: Row, rules: Rules, unit: str, own_lower: float | None) -> str:
    threshold = row["threshold_mm_per_year"]
    parts = []
    if own_lower is not None and own_lower > threshold:
        parts.append(
            f"the lower bound of {_mark(row)} by itself, {rate_text(own_lower, unit)}, is above the threshold of "
            f"{limit_rate_text(threshold, unit)}"
        )
    if (row["log_evidence"] or 0.0) >= log(rules.look_again_evidence):
        asked = f"{odds(log(1 / rules.alpha))} from visit {rules.moving_visits} on"
        parts.append(f"{visits(row)} speak {odds(row['log_evidence'])} for a rate above it ({asked} is asked for)")
    if len(parts) == 1 and not parts[0].startswith("the lower"):
        parts = [parts[0].replace("above it", f"above the threshold of {limit_rate_text(threshold, unit)}")]
    return " and ".join([*parts, *filter(None, [row.get("doubt")])])


def _left_open(row: Row) -> str:
    if len(words(row["not_measured"])) == len(Movement):
        return " (how much of it is bowing, tipping at the top or sliding at the base is not measured)"
    parts = [
        f"{_listed([COMPONENT[Movement(word)] for word in words(row[name])])} {said}"
        for name, said in (("not_settled", "not settled"), ("not_measured", "not measured"))
        if words(row[name])
    ]
    return f" ({'; '.join(parts)})" if parts else ""


def _mark(row: Row) -> str:
    return f"mark {row['governing_mark']}" if row["governing_mark"] else "the wall"


def _led_by(row: Row) -> str:
    return f" (first of all {COMPONENT[Movement(row['largest_movement'])]})" if row["largest_movement"] else ""


def _since(row: Row) -> str:
    """When the movement began as far as the visits tell: nothing is known of the time before the first one."""
    onset = row["onset"] or row["first_visit"]
    if onset is None:
        return ""
    month = onset.strftime("%B %Y")
    return f", since about {month}" if onset != row["first_visit"] else f", since {month} at the latest"


def _listed(parts: list[Any]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
