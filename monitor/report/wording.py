"""What pages say: the office's phrases, taken from the English of language.py, and what is the same in every language.

Pages of the office are in English alone, so its phrases stand here by name. Words that no page may use about a wall are
kept out by a test. "Very likely" stands only beside a one-sided 95 % bound, "between ... and ..." only for the pair.
"""

from collections.abc import Mapping, Sequence

from monitor.report.counting import count_text
from monitor.report.language import FIRST, language, other_unit
from monitor.terms import Movement, Urgency, Verdict
from monitor.units import rate_number, rate_unit

__all__ = ["count_text", "other_unit"]

EN = language(FIRST)

CAUTION_BEFORE: str = EN["caution"]["before"]
CAUTION_STRONG: str = EN["caution"]["strong"]
CAUTION_AFTER: str = EN["caution"]["after"]
LOCAL_RULES: str = EN["caution"]["local_rules"]
STAY_OUT: str = EN["stay_out"]["text"]

day_text = EN.day_text
month_text = EN.month_text
span_text = EN.span_text
length_pair = EN.length_pair
side_text = EN.side_text
rate_pair = EN.rate_pair
limit_pair = EN.limit_pair
range_text = EN.range_text

STEP_IN_RATE = ", with the latest step in the rate"
"""After a verdict whose rate a jump at the latest visit bends."""
LIMIT_RANGE = (
    "may be reached between {first} and {last}, if the wall goes on within the bounds of its rate; no forecast"
)
LIMIT_OPEN = (
    "may be reached from {first} on, if the wall goes on within the bounds of its rate; by its lower bound not in 50 "
    "years; no forecast"
)

SHAPE: Mapping[str, str] = {
    "no visit": "ring",
    "too early": "ring",
    "too few visits": "ring",
    "nothing measured": "ring",
    "no movement measured": "square",
    "slow": "square",
    "small, not settled": "diamond",
    "inward, not settled": "diamond",
    "to be confirmed": "diamond",
    "comes and goes": "square",
    "moving": "triangle",
    "moving after straps": "triangle",
    "large change": "cross",
    "jump": "cross",
    "large total": "cross",
    "seen": "cross",
    "overdue": "clock",
    "covered": "clock",
    "being checked": "ring",
    "several being checked": "ring",
    "to be phoned": "ring",
}
"""The mark beside each word: a state is never told by colour, and never by shape alone either."""

VERDICT_SHAPE: Mapping[str, str] = {
    Verdict.MOVING: "triangle",
    Verdict.LOOK_AGAIN: "diamond",
    Verdict.HOLDING: "square",
    Verdict.TOO_EARLY: "ring",
}

COMPONENT: Mapping[str, str] = {
    Movement.BOW: "bow: bending inward between floor and top",
    Movement.TIP: "tip: the top coming in",
    Movement.SLIDE: "slide: the whole wall moving in at its base",
}

CONTACT_DAYS: Mapping[str, int] = {
    Urgency.KEEP_OUT: 0,
    Urgency.SAME_DAY: 0,
    Urgency.WEEK: 7,
    Urgency.DECISION: 14,
}
"""Days within which the homeowner hears from the office where no decision names a day; ours."""


def bounds_text(rates: Sequence[float], unit: str) -> str:
    """A rate, or its pair of bounds, with the unit once: '0.05 to 0.19 inch a year'."""
    return f"{' to '.join(rate_number(rate, unit) for rate in rates)} {rate_unit(unit)}"
