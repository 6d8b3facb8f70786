"""Every closed set of words that tables, files and pages share. The value is what stands in a file or a table."""

from enum import StrEnum


class Method(StrEnum):
    """How a reading is taken (domain words: string line, plumb line, laser plane with a rule, distance meter)."""

    STRING = "string"
    PLUMB = "plumb"
    LASER = "laser"
    METER = "meter"


class Kind(StrEnum):
    """What the number is: gap from wall to line, deflection as such, or distance from a fixed point to the wall."""

    GAP = "gap"
    DEFLECTION = "deflection"
    DISTANCE = "distance"


class LengthUnit(StrEnum):
    """Unit of a value as typed."""

    INCH = "in"
    MM = "mm"


class Part(StrEnum):
    """Whether a visit on a day of work was read before or after that work; blank on other days."""

    NONE = ""
    BEFORE = "before"
    AFTER = "after"


class State(StrEnum):
    """What became of a received row. Received = the sum of the four, always."""

    USED = "used"
    HELD = "held"
    REJECTED = "rejected"
    COULD_NOT_READ = "could-not-read"


class NotRead(StrEnum):
    """Why a mark could not be read."""

    COVERED = "covered"
    BLOCKED = "blocked"
    MARK_LOST = "mark lost"
    NO_ENTRY = "no entry"
    OTHER = "other"


class Seen(StrEnum):
    """What the technician saw; counts without any number."""

    LIP = "lip"
    NEW_CRACK = "new crack"
    CRUSHED_BLOCK = "crushed block"
    JOISTS_OFF = "joists off bearing"
    NOISE = "cracking noise"
    GUSHING_WATER = "gushing water"
    STANDING_WATER = "standing water"


class EventKind(StrEnum):
    """What happened to a wall, its marks or its reference."""

    REINFORCEMENT = "reinforcement"
    SURFACE_WORK = "surface work"
    STRAIGHTENING = "straightening"
    DIGGING = "digging"
    DRAINAGE = "drainage"
    METHOD_CHANGE = "method change"
    REFERENCE_CHANGE = "reference change"
    LOST_MARK = "lost mark"
    COVERED = "covered"
    UNCOVERED = "uncovered"


class End(StrEnum):
    """How an end of a wall is held: by a return wall, or not."""

    RETURN = "return"
    FREE = "free"


class TopAnchor(StrEnum):
    """What the top of the straps is anchored to (rim joist: the stronger and preferred; common practice, no source)."""

    RIM_JOIST = "rim joist"
    SILL_PLATE = "sill plate"
    OTHER = "other"


class Movement(StrEnum):
    """A component of movement: bending, the top coming in, the whole wall sliding at its base."""

    BOW = "bow"
    TIP = "tip"
    SLIDE = "slide"


class Verdict(StrEnum):
    """What the readings of the current period show of the rate."""

    MOVING = "moving"
    LOOK_AGAIN = "look again"
    HOLDING = "holding"
    TOO_EARLY = "too early"


class Rule(StrEnum):
    """What a row of the findings table was judged by."""

    TREND = "trend"
    TOTAL = "total inward deflection"
    JUMP = "jump since the last visit"
    SEEN = "seen by the technician"
    FAST = "rate for an engineer"
    OVERDUE = "visit overdue"
    HELD = "readings held"


class Outcome(StrEnum):
    """The outcome of a rule; undecided is a value of its own, never a NaN that compares as False."""

    YES = "yes"
    NO = "no"
    UNDECIDED = "undecided"


class Urgency(StrEnum):
    """How soon a finding asks for somebody, most urgent first."""

    KEEP_OUT = "keep out, engineer now"
    SAME_DAY = "same-day call"
    WEEK = "engineer within a week"
    DECISION = "decision this month"
    CONFIRM = "confirming visit"
    NONE = "none"


URGENCIES = tuple(Urgency)


class AlertKind(StrEnum):
    """What an alert is about: a hard limit, a movement shown, or a reading or a visit that must not wait."""

    TOTAL = "total over its limit"
    JUMP = "sudden change"
    SEEN = "sign seen on site"
    FAST = "rate for an engineer"
    MOVING = "moving"
    REPAIR = "moving after reinforcement"
    HELD = "held reading far inward"
    OVERDUE = "visit overdue before the frost"


class Way(StrEnum):
    """By which way somebody, or another program, is told of alerts."""

    MAIL = "mail"
    WEBHOOK = "webhook"


class Act(StrEnum):
    """A ruling on one reading, always with who and why."""

    RELEASE = "release"
    REJECT = "reject"
    CORRECT = "correct"
    WITHDRAW = "withdraw"


class PhotoAct(StrEnum):
    """Whether a photo may be shown to the homeowner, always with who and why; without either it may not."""

    RELEASE = "release"
    WITHHOLD = "withhold"


RELEASED = "released"
"""Reason code of a reading that a person released: no screening sets it aside again."""


class LinkTo(StrEnum):
    """What a link opens, for somebody without an account."""

    HOMEOWNER = "homeowner"
    HISTORY = "history"
    PACK = "pack"


class Opened(StrEnum):
    """What came of opening a link."""

    SHOWN = "shown"
    EXPIRED = "expired"
    ENDED = "ended"
    NOTHING_YET = "nothing to show yet"


class HoldAct(StrEnum):
    """Whether what is known of a house's people may be erased, for a dispute's sake; always with who and why."""

    PLACE = "place"
    LIFT = "lift"


class Step(StrEnum):
    """What the office decided about a wall."""

    VISIT_SOONER = "visit sooner"
    CALL_ENGINEER = "call engineer"
    CALLED_HOMEOWNER = "called homeowner"
    REPAIR = "repair"
    NO_ACTION = "no action"


class AccountState(StrEnum):
    """Whether a person's account lets them in."""

    OPEN = "open"
    CLOSED = "closed"


class Role(StrEnum):
    """What a person is to the company."""

    TECHNICIAN = "technician"
    OFFICE = "office"
    ENGINEER = "engineer"
    OWNER = "owner"
    CONTACT = "contact"
    ERASED = "erased"
    """Was somebody; all but the id is erased. No file may say so."""


STAFF = (Role.TECHNICIAN, Role.OFFICE, Role.ENGINEER)
"""Roles of the company's own people: those that an account may have."""
DESK = (Role.OFFICE,)
"""Roles that rule on readings and decide about walls, by browser and by command."""
