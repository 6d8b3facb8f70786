"""What a homeowner reads first: the state of the wall (`standing`) in sentences."""

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from functools import cached_property

from monitor.records import dataclass
from monitor.report import wording
from monitor.report.context import Book, Row, WallView
from monitor.report.language import Language, other_unit
from monitor.report.places import place_words, spoken
from monitor.report.standing import AT_ONCE, FEW, jumped, standing, state_before, unseen_on
from monitor.report.wording import EN
from monitor.terms import Act, Method, Rule, State, Step, Urgency, Verdict

_PART_OF_INCH = re.compile(r"0?[ -]?\d+/\d+")


@dataclass(frozen=True)
class Status:
    """What is said of one wall.

    state: a key of the phrases' section status; sentence: what is read first; beside: what is true as well; corrections
    of readings, and what the earlier page said; meaning: in plain words; short: the state in two or three words.
    """

    state: str
    sentence: str
    beside: tuple[str, ...]
    corrections: tuple[str, ...]
    meaning: str
    short: str

    @property
    def shape(self) -> str:
        """The mark that stands beside the words."""
        return wording.SHAPE[self.state]


def status(book: Book, view: WallView, words: Language = EN) -> Status:
    """The status of one wall on the day of judgement, in the words of a language."""
    return statuses(book, view, words, (view.unit,))[0]


def statuses(book: Book, view: WallView, words: Language, units: Sequence[str]) -> list[Status]:
    """The same once for each unit, which stands first in what bears a length or a rate."""
    stands = standing(book, view)
    facts = [_Facts(book, view, words, unit) for unit in units]
    if stands.state == "to be phoned":
        return [_of(stands.state, _said(stands.state, each), (), (), words) for each in facts]
    held = _checked(view, words)
    return [
        _of(
            stands.state,
            held[0] if stands.is_held else _said(stands.state, each),
            (*(_said(name, each) for name in stands.beside), *held[stands.is_held :]),
            _corrected(book, view, words, each.unit),
            words,
        )
        for each in facts
    ]


def _of(state: str, sentence: str, beside: tuple[str, ...], corrections: tuple[str, ...], words: Language) -> Status:
    return Status(state, sentence, beside, corrections, words["meaning"][state], words["short"][state])


def next_visit(book: Book, view: WallView) -> date | None:
    """Day of the next visit as decided, else as due by the schedule; None where it is past or still to be arranged.

    A wall that asks for a visit soon (look again, or an alarm) is never told to wait for its ordinary visit.
    """
    today = book.assessment.judged_on
    agreed = [row["due"] for row in view.decisions if row["step"] == Step.VISIT_SOONER and row["due"]]
    if agreed and agreed[-1] >= today:
        soonest: date = agreed[-1]
        return soonest
    row = view.current
    wanted_soon = any(alarm["urgency"] in AT_ONCE for alarm in view.alarms)
    if row is None or wanted_soon or row["verdict"] == Verdict.LOOK_AGAIN:
        return None
    due: date | None = row["due_on"]
    return due if due and due >= today else None


def _contact_by(book: Book, view: WallView) -> date:
    """The day a decision names, else the days that go with the most urgent finding."""
    today: date = book.assessment.judged_on
    named: list[date] = [row["due"] for row in view.decisions if row["due"] and row["due"] >= today]
    if named:
        return min(named)
    urgency = Urgency(view.alarms[0]["urgency"]) if view.alarms else Urgency.DECISION
    return today + timedelta(days=wording.CONTACT_DAYS.get(urgency, wording.CONTACT_DAYS[Urgency.DECISION]))


def reference(view: WallView, words: Language = EN) -> str:
    """What the readings of the newest period are measured against, by every method used in it."""
    start = view.current["started_on"] if view.current else None
    used = {
        row["method"]
        for row in view.readings
        if row["state"] == State.USED and (not start or row["visit_date"] >= start)
    }
    said = words["reference"]
    found = dict.fromkeys(said[method] for method in Method if method in used)
    return words.joined(found) if found else str(said.get(view.place["method"], said["other"]))


def company_name(book: Book, words: Language = EN) -> str:
    """The company as a sentence begins with it; a plain word where it has not given its name."""
    name = book.company.get("name") or words["said"]["office"]
    return name[:1].upper() + name[1:]


class _Facts(dict[str, str]):
    """Every name in braces of the status sentences, worked out where a sentence asks for it."""

    def __init__(self, book: Book, view: WallView, words: Language, unit: str) -> None:
        super().__init__()
        self.book, self.view, self.words, self.unit = book, view, words, unit
        self.row: Row = view.current or {}

    def __missing__(self, name: str) -> str:
        self[name] = text = _FACTS[name](self)
        return text

    @cached_property
    def following(self) -> date | None:
        return next_visit(self.book, self.view)

    @property
    def at_most(self) -> float:
        return float(max(self.row["rate_upper"], 0.0))

    def length(self, mm: float) -> str:
        return self.words.length_pair(mm, self.unit)

    def rate(self, mm_per_year: float, *, beside: bool = False) -> str:
        return self.words.rate_text(mm_per_year, other_unit(self.unit) if beside else self.unit)

    def day(self, day: date | None, otherwise: str) -> str:
        return self.words.day_text(day) if day else str(self.words["said"][otherwise])

    def month(self, key: str, otherwise: str) -> str:
        """A phrase with the month of the next visit, another where it is not arranged."""
        if self.following is None:
            return str(self.words["said"][otherwise])
        return self.words.say("said", key, month=self.words.month_text(self.following))


_FACTS: Mapping[str, Callable[[_Facts], str]] = {
    "visits": lambda of: of.words.count_text(of.row.get("visits") or of.row.get("visits_all") or 0, "visit"),
    "few": lambda of: of.words["said"][FEW[of.row["visits"]]],
    "jump": lambda of: of.words.side_text(of.row["jump_mm"], of.unit),
    "span": lambda of: of.words.span_text(of.row.get("span_years") or 0.0),
    "swing": lambda of: of.length(2 * (of.row.get("season_mm") or 0.0)),
    "company": lambda of: company_name(of.book, of.words),
    "by": lambda of: of.words.day_text(_contact_by(of.book, of.view)),
    "box": lambda of: of.words["stay_out"]["title"],
    "place": lambda of: _place(of.view, of.words),
    "total": lambda of: of.length(of.row["total_mm"]) if of.row else "",
    "limit": lambda of: of.length(of.row.get("total_limit_mm") or of.book.rules.total_limit_mm),
    "seen": lambda of: seen_words(of.view, of.words),
    "last": lambda of: (
        of.words.day_text(of.row["last_visit"]) if of.row.get("last_visit") else of.words["said"]["never"]
    ),
    "date": lambda of: of.day(unseen_on(of.view), "never"),
    "reference": lambda of: reference(of.view, of.words),
    "next": lambda of: of.words.month_text(of.following) if of.following else of.words["said"]["not_arranged"],
    "again": lambda of: of.month("again_in", "again_soon"),
    "confirm": lambda of: of.month("confirm_in", "confirm_soon"),
    "rate": lambda of: of.rate(of.row["rate_mm_per_year"]),
    "rate_beside": lambda of: of.rate(of.row["rate_mm_per_year"], beside=True),
    "range": lambda of: of.words.range_text(of.row["rate_lower"], of.row["rate_upper"], of.unit),
    "range_beside": lambda of: of.words.rate_range(
        of.row["rate_mm_per_year"], of.row["rate_lower"], of.row["rate_upper"], other_unit(of.unit)
    ),
    "upper": lambda of: of.rate(of.at_most),
    "upper_beside": lambda of: of.rate(of.at_most, beside=True),
    "comparison": lambda of: of.words.comparison(of.at_most),
}


def _said(state: str, facts: _Facts) -> str:
    return str(facts.words["status"][state]).format_map(facts)


def _place(view: WallView, words: Language) -> str:
    """Where a held reading that alarms was taken; a step of the whole wall belongs to no one place."""
    alarming = any(row["rule"] == Rule.HELD and row["urgency"] in AT_ONCE for row in view.alarms)
    if alarming and view.held and not jumped(view):
        return place_words(view, view.held[-1]["mark"], words)
    return spoken(view, words)


def seen_words(view: WallView, words: Language = EN) -> str:
    """What the technician saw at the latest visit that noted anything, in plain words."""
    days = [row["visit_date"] for row in view.readings if row["seen"] and row["visit_date"]]
    if not days:
        return str(words["said"]["a_sign"])
    signs = {
        sign.strip()
        for row in view.readings
        if row["visit_date"] == max(days)
        for sign in (row["seen"] or "").split(";")
    }
    return ", ".join(words["seen"].get(sign, sign) for sign in sorted(filter(None, signs)))


def _checked(view: WallView, words: Language) -> list[str]:
    """One sentence per day with held readings."""
    said = []
    for day, count in sorted(Counter(row["visit_date"] for row in view.held if row["visit_date"]).items()):
        key = "being checked" if count == 1 else "several being checked"
        said.append(words.say("status", key, date=words.day_text(day), count=count))
    return said


def _corrected(book: Book, view: WallView, words: Language, unit: str) -> tuple[str, ...]:
    said: list[str] = []
    for row, ruling in view.ruled:
        before = book.received.get(row["reading_id"])
        if ruling["act"] != Act.CORRECT or before is None:
            continue
        said.append(
            words.say(
                "status",
                "corrected",
                known=words.day_text(ruling["known_at"].date()),
                date=words.day_text(row["visit_date"]),
                old=_as_typed(before["value_raw"], before["unit"], words),
                new=_as_typed(ruling["value_raw"], ruling["unit"], words)
                if ruling["value_raw"]
                else words.length_text(ruling["value_mm"], unit),
            )
        )
    if said and (earlier := state_before(book, view)):
        said.append(words.say("status", "earlier page", old=words["short"][earlier]))
    return tuple(said)


def _as_typed(raw: str, unit: str, words: Language) -> str:
    """A value as it was written down, with its unit in words where it bears none itself."""
    number = raw.strip().removesuffix('"').removesuffix(unit).strip()
    if unit != "in":
        return words.say("units", "mm", n=number) if unit == "mm" else raw
    part = _PART_OF_INCH.fullmatch(number)
    return words.say("units", "part_of_inch" if part else "one_inch" if number == "1" else "inches", n=number)
