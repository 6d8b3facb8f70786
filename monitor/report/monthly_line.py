"""One line of the monthly list: what it says of its wall, whoever shows it."""

from collections.abc import Mapping, Sequence
from datetime import date

from monitor.records import dataclass
from monitor.report import wording
from monitor.report.context import Row, tellable
from monitor.report.wall_sheet import period_words, told, untold
from monitor.terms import Rule, Urgency
from monitor.units import length_text

FIRST, NEW, STILL, NEWLY = "first list", "new", "still open", "newly holding"
STATES = (FIRST, NEW, STILL, NEWLY)
"""What a line is against the last list."""


@dataclass(frozen=True, slots=True)
class Run:
    """For how long a wall has asked for somebody, by the lists.

    since: first day of the unbroken run of lists on which it stood in the section it stands in now; opened: of those
    on which it stood in any; before: the list before these, on which it asked for nobody, None where none is known.
    """

    since: date
    opened: date
    before: date | None


@dataclass(frozen=True, slots=True)
class Line:
    """One wall of the list. result: its row of wall_results; lead: its most urgent finding.

    decision: the last one made since the wall asks for somebody; older: the last one before that, where there is none.
    homeowner: what became of bad news, '' where there is none.
    """

    house: str
    wall: str
    nickname: str
    page: str
    unit: str
    section: str
    heading: str
    state: str
    run: Run
    age_days: int
    result: Row | None
    lead: Row | None
    reason: str
    also: Sequence[str]
    decision: Row | None
    older: Row | None
    homeowner: str

    @property
    def key(self) -> str:
        """House and wall as people write them."""
        return f"{self.house}-{self.wall}"

    @property
    def urgency(self) -> str:
        """How soon the wall asks for somebody."""
        return str(self.lead["urgency"]) if self.lead else str(Urgency.NONE)

    @property
    def next_step(self) -> str:
        """What its most urgent finding asks for."""
        return str(self.lead["next_step"]) if self.lead else ""

    @property
    def is_told(self) -> bool:
        """Whether there is a rate to show."""
        row = self.result
        return row is not None and tellable(row) and row["rate_mm_per_year"] is not None

    @property
    def rate(self) -> Mapping[str, str] | None:
        """Rate and bounds in the wall's unit; None where they are not told."""
        return told(self.result, "rate", self.unit) if self.result else None

    @property
    def untold(self) -> str:
        """What stands in place of a rate."""
        return untold(self.result)

    @property
    def jumped(self) -> bool:
        """Whether the latest visit stands apart from the earlier ones, and so bends the rate."""
        return bool(self.lead and self.lead["rule"] == Rule.JUMP)

    @property
    def movement(self) -> str:
        """The component that moves most, '' where none is measured."""
        return str(self.result["largest_movement"] or "") if self.result and self.is_told else ""

    @property
    def not_measured(self) -> str:
        """Components that marks and method cannot see: 'tip, slide'."""
        return ", ".join((self.result["not_measured"] or "").split()) if self.result else ""

    @property
    def total(self) -> str:
        """Total inward deflection in the wall's unit."""
        row = self.result
        return length_text(row["total_mm"], self.unit) if row and row["total_mm"] is not None else "not known"

    @property
    def room_mm(self) -> float | None:
        """What is left of the total up to its limit, below nought where it is over; None where not known."""
        row = self.result
        if row is None or row["total_mm"] is None or row["total_limit_mm"] is None:
            return None
        return float(row["total_limit_mm"] - row["total_mm"])

    @property
    def room(self) -> str:
        """The same in words."""
        room = self.room_mm
        if room is None:
            return ""
        size = length_text(abs(room), self.unit)
        said = f"{size} to the limit" if room > 0 else f"over the limit by {size}"
        is_to_foot = self.result and self.result["total_reference"] in wording.EN["total_leaves_out"]
        return f"{said}, a slide of the foot not counted" if is_to_foot else said

    @property
    def period(self) -> str:
        """'before reinforcement', 'after reinforcement', ..."""
        return period_words(self.result["period"]) if self.result else ""

    @property
    def visits(self) -> int:
        """Visits that count for the rate."""
        return int(self.result["visits"] or 0) if self.result else 0

    @property
    def last_visit(self) -> date | None:
        """Day of the latest visit."""
        return self.result["last_visit"] if self.result else None

    @property
    def asks(self) -> bool:
        """Whether the wall asks for somebody: one that is newly holding does not."""
        return self.state != NEWLY

    @property
    def owner(self) -> str:
        """Who does what was decided, '' where nothing was decided since the wall asks for somebody."""
        return str(self.decision["owner"]) if self.decision else ""

    @property
    def age(self) -> str:
        """State and age in words: 'still open, 61 days, here since 2026-02-28, on the list since 2025-11-30'."""
        return ", ".join(filter(None, (self.state, self.age_beside)))

    @property
    def age_beside(self) -> str:
        """The age that stands beside the state, '' where the wall is on the list for the first time."""
        since, opened = self.run.since, self.run.opened
        if self.state in (FIRST, NEWLY) or (opened == since and not self.age_days):
            return ""
        here = f"{wording.count_text(self.age_days, 'day')}, here since {since.isoformat()}"
        before = f"on the list since {opened.isoformat()}"
        if not self.age_days:
            return f"here since this list, {before}"
        return here if opened == since else f"{here}, {before}"
