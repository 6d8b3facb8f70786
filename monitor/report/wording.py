"""Every sentence and label that a page shows, and how dates and numbers stand in them: one catalogue, in English.

Words that no page may use about a wall are kept out by a test. "Very likely" stands only beside a one-sided 95 % bound,
"between ... and ..." only for the pair of them.
"""

from collections.abc import Mapping, Sequence
from datetime import date

from monitor.terms import Method, Movement, Seen, Urgency, Verdict
from monitor.units import MM_PER_INCH, SIXTEENTH_MM, length_text, limit_rate_text, rate_number, rate_text, rate_unit

_MONTHS = (  # not the locale's: the same page everywhere
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)

CAUTION_BEFORE = "This page reports measurements of how far marks on the wall have moved."
CAUTION_STRONG = (
    "It is not a structural assessment and does not say whether the wall or house is safe."  # the one place of the word
)
CAUTION_AFTER = "Only a licensed engineer who has seen it can judge that."
SCOPE = "Measured relative to {reference}. Covers {wall} only, up to {date}."
STAY_OUT = (
    "Leave the area by the wall, keep others out, and call an engineer (or the emergency number if anything is falling"
    ") at once if: you hear cracking; blocks bulge, crumble or fall; a new crack opens, or one side of a crack stands "
    "out further than the other; the wall's bottom or top has shifted; doors or floor above suddenly change; water "
    "breaks through. Do not store or sleep beside the wall. Do not prop it yourself. Do not wait for our next visit."
)
LOCAL_RULES = "Local building codes and a licensed engineer's judgement come before anything on this page."

REFERENCE: Mapping[str, str] = {
    Method.STRING: "the wall's two ends",
    Method.PLUMB: "a plumb line",
    Method.LASER: "the wall's two ends",
    Method.METER: "the opposite wall",
}

JOBS = (
    "Keep gutters clean and lead downspouts away from the house.",
    "Keep the soil sloping away from the wall.",
    "Keep heavy vehicles and piled soil away from it.",
    "Do not paint or cover the marks.",
    "Tell us before you finish the wall or dig beside it.",
)

STATUS: Mapping[str, str] = {
    "no visit": "This wall has not been read yet. Next visit: {next}.",
    "too early": (
        "We have {visits} so far. That is not yet enough to say whether this wall is moving. Next visit: {next}."
    ),
    "too few visits": ("We have {visits} so far. {few} cannot show whether this wall is moving. Next visit: {next}."),
    "nothing measured": (
        "We have {visits} so far, but the way this wall has been read cannot show yet whether it is moving. "
        "Next visit: {next}."
    ),
    "no movement measured": (
        "Over {span} we could not measure any inward movement. If the wall is moving, it is very likely less than "
        "{upper} ({upper_beside}, about {comparison})."
    ),
    "slow": (
        "Over {span} the wall has moved in slowly, very likely less than {upper} ({upper_beside}, about {comparison}); "
        "that is less than the rate at which our office asks for a decision."
    ),
    "small, not settled": (
        "Our readings hint at inward movement of about {rate} ({rate_beside}), but our measuring is not fine enough to "
        "be sure. We will read it again {again}."
    ),
    "inward, not settled": (
        "The readings show inward movement of about {rate} ({rate_beside}). Whether that is above the rate at which "
        "our office asks for a decision is not settled. We will read it again {again}."
    ),
    "to be confirmed": (
        "The readings show inward movement of about {rate} ({rate_beside}); a confirming visit will tell. {confirm}"
    ),
    "comes and goes": (
        "This wall moves in by about {swing} in the wet or cold months and back again. Over {span} we see no lasting "
        "change larger than {upper} ({upper_beside})."
    ),
    "moving": (
        "Your wall has moved in, most likely {rate} ({range}), that is {range_beside}. "
        "{company} will contact you by {by} about what to do."
    ),
    "moving after straps": (
        "The wall is still moving in since the straps were fitted, most likely {rate} ({range}), that is "
        "{range_beside}. This needs a decision by our office and, if needed, an engineer. We will call by {by}."
    ),
    "large change": (
        "The last visit shows a large change at {place}. We are checking it now. Please read the box 'Stay out and "
        "call' below."
    ),
    "jump": (
        "At the last visit the wall stands {jump} than the earlier visits foretell. We are checking it now. "
        "Please read the box 'Stay out and call' below."
    ),
    "moving before": "It was moving in before that, too. {company} will contact you by {by} about what to do.",
    "call": "{company} will contact you by {by}.",
    "large total": (
        "Your wall has come in by {total} in all, measured relative to {reference}. From {limit} on our office asks "
        "for a decision at once. {company} will contact you by {by}. Please read the box 'Stay out and call' below."
    ),
    "seen": (
        "At the last visit we saw something that needs a closer look now: {seen}. We are checking it. "
        "Please read the box 'Stay out and call' below."
    ),
    "overdue": "The last visit was {last}. This page says nothing about the time since then.",
    "covered": "We could not see the wall on {date}, so we could not read it.",
    "being checked": "One reading of {date} does not fit the others. It is not used until we have read it again.",
    "several being checked": (
        "{count} readings of {date} do not fit the others. They are not used until we have read them again."
    ),
    "corrected": (
        "On {known} we corrected a reading of {date}: {old} → {new}, because it had been written down wrongly."
    ),
    "earlier page": "The earlier page said: {old}.",
}

COMPARED = "Since the straps were fitted on {day} the wall moves in {changed} than before: by about {size}, {range}."
BEFORE_ONLY = "Before the straps were fitted on {day} the wall moved in by about {size}, {range}."
NOT_COMPARED = (
    "Our readings cannot tell yet whether the wall moves in any differently since the straps were fitted on {day}."
)
MAY_BE_SEASON = "Part of that may be the time of year."
LIMIT_RANGE = (
    "may be reached between {first} and {last}, if the wall goes on within the bounds of its rate; no forecast"
)
LIMIT_OPEN = (
    "may be reached from {first} on, if the wall goes on within the bounds of its rate; by its lower bound not in 50 "
    "years; no forecast"
)

MEANING: Mapping[str, str] = {
    "no visit": "Nothing can be said about movement before two visits, and little before four.",
    "too early": "A few visits cannot tell movement from the small errors of measuring. More visits make it clearer.",
    "too few visits": (
        "The difference of two visits may be movement, the season or the small errors of measuring alike. "
        "More visits make it clearer."
    ),
    "nothing measured": "Not every way of reading a wall can see every movement; below we say what we did not measure.",
    "no movement measured": (
        "This is what we measured, as finely as we can; movement smaller than that would not show. "
        "We keep reading the wall to see whether it begins to move."
    ),
    "slow": (
        "The movement is small, but more than our measuring error can explain. "
        "We keep reading the wall to see whether it moves in faster."
    ),
    "small, not settled": "It may be movement, the season, or the limits of measuring. Another visit will tell more.",
    "inward, not settled": (
        "The movement is larger than our measuring error can explain; how large it is, another visit will tell."
    ),
    "to be confirmed": (
        "The movement is larger than our measuring error can explain. Before our office decides, the wall is read "
        "once more."
    ),
    "comes and goes": "Many walls swing with the seasons. We look for what is left over from one year to the next.",
    "moving": "The movement is larger than our measuring error can explain. It does not tell why, nor what comes next.",
    "moving after straps": (
        "The movement since the straps is larger than our measuring error can explain. It does not tell why, "
        "nor what comes next."
    ),
    "large change": "A change of this size asks for a second look at once, whatever the readings were before.",
    "jump": "A change of this size asks for a second look at once, whatever the readings were before.",
    "large total": "This is about how far the wall has come in altogether, not about how quickly it is moving now.",
    "seen": "What our technician sees counts at once, whatever the numbers say.",
    "overdue": "Until the wall is read again, nobody can say from our readings what it has done since.",
    "being checked": (
        "A reading that does not fit may be a slip of the pen or a real change; reading it again tells which."
    ),
    "several being checked": (
        "Readings that do not fit may be a slip of the pen or a real change; reading them again tells which."
    ),
    "covered": "Until the marks can be seen again, our readings say nothing about the time since the last one.",
}

SHORT: Mapping[str, str] = {
    "no visit": "Not read yet",
    "too early": "Too early to say",
    "too few visits": "Too early to say",
    "nothing measured": "Not measured yet",
    "no movement measured": "No movement measured",
    "slow": "Slow movement",
    "small, not settled": "Not settled yet",
    "inward, not settled": "Not settled yet",
    "to be confirmed": "Not settled yet",
    "comes and goes": "Comes and goes",
    "moving": "Moving in",
    "moving after straps": "Moving in since the straps",
    "large change": "Large change, being checked",
    "jump": "Large change, being checked",
    "large total": "Over the limit in all",
    "seen": "Seen at the visit, being checked",
    "overdue": "Visit overdue",
    "covered": "Could not be read",
    "being checked": "A reading is being checked",
    "several being checked": "Readings are being checked",
}

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
}
"""The mark beside each word: a state is never told by colour, and never by shape alone either."""

VERDICT_SHAPE: Mapping[str, str] = {
    Verdict.MOVING: "triangle",
    Verdict.LOOK_AGAIN: "diamond",
    Verdict.HOLDING: "square",
    Verdict.TOO_EARLY: "ring",
}

NOT_MEASURED: Mapping[str, str] = {
    Movement.BOW: "We did not measure whether the wall bends inward between floor and top.",
    Movement.TIP: "We did not measure whether the top of the wall comes in.",
    Movement.SLIDE: "We did not measure whether the bottom of the wall slides.",
}

COMPONENT: Mapping[str, str] = {
    Movement.BOW: "bow: bending inward between floor and top",
    Movement.TIP: "tip: the top coming in",
    Movement.SLIDE: "slide: the whole wall moving in at its base",
}

SEEN_PLAIN: Mapping[str, str] = {
    Seen.LIP: "one side of a crack standing out further than the other",
    Seen.NEW_CRACK: "a new crack",
    Seen.CRUSHED_BLOCK: "a crushed block",
    Seen.JOISTS_OFF: "floor joists off their bearing",
    Seen.NOISE: "cracking noises",
    Seen.GUSHING_WATER: "water breaking through",
    Seen.STANDING_WATER: "water standing on the floor",
}

CONTACT_DAYS: Mapping[str, int] = {
    Urgency.KEEP_OUT: 0,
    Urgency.SAME_DAY: 0,
    Urgency.WEEK: 7,
    Urgency.DECISION: 14,
}
"""Days within which the homeowner hears from the office where no decision names a day; ours."""

THINGS: tuple[tuple[float, str], ...] = (
    (0.1, "the thickness of a sheet of paper"),
    (0.76, "the thickness of a bank card"),  # ISO/IEC 7810, ID-1: 0.76 mm
    (1.75, "the thickness of a coin"),
    (3.5, "the thickness of two coins"),
    (5.25, "the thickness of three coins"),
    (7.0, "the thickness of a pencil"),
    (14.0, "the width of a finger"),
    (25.4, "the width of a thumb"),
    (50.8, "the width of two thumbs"),
)
"""Things people have at hand, in mm; from memory but for the card."""


def day_text(day: date) -> str:
    """'14 March 2026': unambiguous on either side of an ocean."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def month_text(day: date) -> str:
    """'March 2026'."""
    return f"{_MONTHS[day.month - 1]} {day.year}"


def other_unit(unit: str) -> str:
    """The unit that stands beside the first."""
    return "mm" if unit == "in" else "in"


def length_pair(mm: float, unit: str) -> str:
    """'1 3/16 in (30.2 mm)', or the reverse where the wall is read in millimetres; no small length is called nought."""
    return f"{_length(mm, unit)} ({_length(mm, other_unit(unit))})"


def _length(mm: float, unit: str) -> str:
    if unit == "in" and 0 < abs(mm) < MM_PER_INCH / 32:
        return "less than 1/32 in"
    return length_text(mm, unit)


def rate_pair(mm_per_year: float, unit: str) -> str:
    """'0.13 inch a year (3.2 mm a year)', or the reverse."""
    return f"{rate_text(mm_per_year, unit)} ({rate_text(mm_per_year, other_unit(unit))})"


def limit_pair(mm_per_year: float, unit: str) -> str:
    """A limit of a rate: '1/16 inch a year (1.6 mm a year)', or the reverse."""
    return f"{limit_rate_text(mm_per_year, unit)} ({limit_rate_text(mm_per_year, other_unit(unit))})"


def range_text(lower: float, upper: float, unit: str) -> str:
    """'between 0.16 and 0.23 inch a year'; a lower end that is not inward is said in words."""
    high = rate_text(upper, unit)
    return f"between {rate_number(lower, unit)} and {high}" if lower > 0 else f"somewhere between none and {high}"


def rate_range(mm_per_year: float, lower: float, upper: float, unit: str) -> str:
    """'5.0 mm a year (4.1 to 5.9 mm a year)': rate and bounds short, for the unit that stands beside."""
    low = rate_number(lower, unit) if lower > 0 else "none"
    return f"{rate_text(mm_per_year, unit)} ({low} to {rate_text(upper, unit)})"


def bounds_text(rates: Sequence[float], unit: str) -> str:
    """A rate, or its pair of bounds, with the unit once: '0.05 to 0.19 inch a year'."""
    return f"{' to '.join(rate_number(rate, unit) for rate in rates)} {rate_unit(unit)}"


def side_text(mm: float, unit: str) -> str:
    """'1/16 in (1.1 mm) further out': a movement with its side in words."""
    return f"{length_pair(abs(mm), unit)} further {'in' if mm >= 0 else 'out'}"


def tape_text(mm: float, unit: str) -> str:
    """A length as it looks on a tape measure, whose smallest mark is 1/16 in or 1 mm: '1 3/16 in on a tape measure'."""
    smallest, name = (SIXTEENTH_MM, "1/16 in") if unit == "in" else (1.0, "1 mm")
    if mm < 0.75 * smallest:
        share = "half" if mm >= 0.25 * smallest else "less than a quarter"
        return f"{share} of the smallest mark ({name}) on a tape measure"
    shown = length_text(mm, unit) if unit == "in" else f"{mm:.0f} mm"
    return f"{shown} on a tape measure"


def comparison(mm: float) -> str:
    """The thing at hand that comes nearest to a length in proportion."""
    size = max(abs(mm), 0.05)
    return min(THINGS, key=lambda thing: max(size / thing[0], thing[0] / size))[1]


def span_text(years: float) -> str:
    """'18 months', '3 years': whole months under two years, then years with a half where it is near one."""
    if years < 2:
        months = max(round(years * 12), 0)
        return f"{months} month{'' if months == 1 else 's'}"
    halves = round(years * 2)
    return f"{halves // 2}{' 1/2' if halves % 2 else ''} years"


def count_text(number: int, noun: str) -> str:
    """'1 visit', '4 visits'."""
    return f"{number} {noun}{'' if number == 1 else 's'}"
