"""Which sentence a homeowner reads first: a written rule from verdict and findings, nothing else.

The rule state by state is docs/homeowner-statuses.md, held to this module by tests. In short: the first that is true is
said first, of an alarm, movement shown, a visit overdue, a visit at which nothing could be read, a reading held, and
else the verdict. What else is true stands beside it; but after a sudden change or a sign seen no sentence says that
nothing moved, and after a jump none says a rate, for the jump is in it.
"""

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from monitor.report import wording
from monitor.report.context import Book, Row, WallView, tellable
from monitor.report.language import Language, other_unit
from monitor.report.places import place_words, spoken
from monitor.report.wording import EN
from monitor.terms import Act, Method, NotRead, Rule, State, Step, Urgency, Verdict

SWING_MM = 2.0
"""Half swing from which a wall is said to come and go: the upper end of ordinary soil (common practice, no source)."""
SWING_YEARS = 2.0
"""Record needed before a wall is said to come and go."""
_AT_ONCE = (Urgency.KEEP_OUT, Urgency.SAME_DAY)
SUDDEN = ("large change", "jump", "seen")
"""States after which no sentence comforts."""
_FEW = {1: "one_visit", 2: "two_visits"}
_PART_OF_INCH = re.compile(r"0?[ -]?\d+/\d+")
_RATED = ("moving", "moving after straps")


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
    if book.waits(view):
        name = "to be phoned"
        sentence = words.say("status", name, company=company_name(book, words), box=words["stay_out"]["title"])
        return Status(name, sentence, (), (), words["meaning"][name], words["short"][name])
    verdict, alarms, held = _verdict_state(book, view), _alarm_states(view), _checked(view, words)
    late = [name for name, is_so in (("overdue", is_overdue(view)), ("covered", unseen_on(view) is not None)) if is_so]
    shown = verdict if verdict in (*_RATED, "no visit") else ""
    waiting = [_held_state(view)] if held else []
    true = list(dict.fromkeys(filter(None, (*alarms, shown, *late, *waiting, verdict))))
    state, rest = true[0], [name for name in true[1:] if name not in waiting]
    if set(alarms) & set(SUDDEN) and not shown:
        rest.remove(verdict)
    if jumped(view) and verdict in rest:
        rest[rest.index(verdict)] = "moving before" if _moved_before(book, view) else "call"
    facts = _facts_said(book, view, words)
    sentences = [words.say("status", name, **facts) for name in rest]
    first = held.pop(0) if state in waiting else words.say("status", state, **facts)
    corrections = tuple(_corrected(book, view, words))
    return Status(state, first, (*sentences, *held), corrections, words["meaning"][state], words["short"][state])


def _held_state(view: WallView) -> str:
    return "being checked" if len(view.held) == 1 else "several being checked"


def jumped(view: WallView) -> bool:
    """Whether the latest visit stands apart from what the earlier ones foretell: its rate is not to be shown."""
    return any(row["rule"] == Rule.JUMP for row in view.alarms)


def end_moves(view: WallView) -> bool:
    """Whether an end that the readings stand on is shown to move: then no rate and no bound of the wall is the most."""
    return bool(view.current and view.current["ends_note"])


def _moved_before(book: Book, view: WallView) -> bool:
    """Whether the list before this one called the same period moving: shown by the visits before the jump."""
    rows = [row for row in book.earlier_results.rows((view.house, view.wall)) if row["is_current"]]
    current = view.current
    return bool(
        rows and current and rows[0]["verdict"] == Verdict.MOVING and rows[0]["period"] == current["period"]
        and (rows[0]["last_visit"] or date.max) < (current["last_visit"] or date.min)
    )  # fmt: skip


def _alarm_states(view: WallView) -> list[str]:
    """States that alarms give, most urgent first."""
    found = []
    for row in view.alarms:
        if row["rule"] == Rule.JUMP:
            found.append("jump" if view.current and view.current["jump_mm"] is not None else "large change")
        elif row["rule"] == Rule.HELD and row["urgency"] in _AT_ONCE:
            found.append("large change")
        elif row["rule"] == Rule.SEEN and row["urgency"] in (*_AT_ONCE, Urgency.WEEK):
            found.append("seen")
        elif row["rule"] == Rule.TOTAL:
            found.append("large total")
    return list(dict.fromkeys(found))


def _verdict_state(book: Book, view: WallView) -> str:
    row = view.current
    if row is None or not any(period["visits_all"] for period in view.periods):
        return "no visit"
    return _state_of(book, row, _own_lower(view, row))


def _state_of(book: Book, row: Row, own_lower: float | None) -> str:
    """The state that a period's result alone gives; own_lower: lower bound of its governing mark taken alone."""
    verdict, rate, lower, upper = (row[name] for name in ("verdict", "rate_mm_per_year", "rate_lower", "rate_upper"))
    if not tellable(row) and (row["visits"] or 0) in _FEW:
        return "too few visits"
    if rate is None or lower is None or upper is None:
        return "nothing measured" if row["visits"] >= book.rules.holding_visits else "too early"
    if verdict == Verdict.MOVING:
        return "moving after straps" if row["period"] else "moving"
    if verdict == Verdict.LOOK_AGAIN:
        return _unsettled(row, own_lower)
    if _comes_and_goes(row):
        return "comes and goes"
    if verdict == Verdict.HOLDING or _quiet(book, row):
        return "slow" if lower > 0 else "no movement measured"
    many = row["visits"] >= book.rules.holding_visits and rate > 0
    return _unsettled(row, own_lower) if many else "too early"


def _unsettled(row: Row, own_lower: float | None) -> str:
    """How sure the movement of a wall is whose rate may lie above the threshold or below."""
    lowest = max(row["rate_lower"], row["rate_lower"] if own_lower is None else own_lower)
    if row["threshold_mm_per_year"] is not None and lowest > row["threshold_mm_per_year"]:
        return "to be confirmed"
    return "inward, not settled" if row["rate_lower"] > 0 else "small, not settled"


def _own_lower(view: WallView, row: Row) -> float | None:
    marks = (mark for mark in view.mark_results if mark["period"] == row["period"])
    return next((mark["rate_lower"] for mark in marks if mark["mark"] == row["governing_mark"]), None)


def _quiet(book: Book, row: Row) -> bool:
    """Whether the rate alone would be called holding; something else, said beside it, is in the way."""
    long_enough = (row["span_years"] or 0.0) * 12 >= book.rules.holding_months
    return bool(
        long_enough and row["visits"] >= book.rules.holding_visits and row["rate_upper"] < row["threshold_mm_per_year"]
    )


def _comes_and_goes(row: Row) -> bool:
    long_enough = row["span_years"] is not None and row["span_years"] >= SWING_YEARS
    return bool(long_enough and (row["season_mm"] or 0.0) >= SWING_MM and (row["rate_lower"] or 0.0) <= 0)


def is_overdue(view: WallView) -> bool:
    """Whether a visit is past due and its days of grace."""
    row = view.current
    return bool(row and row["overdue_days"]) or any(alarm["rule"] == Rule.OVERDUE for alarm in view.alarms)


def unseen_on(view: WallView) -> date | None:
    """Day of the last visit, where not one mark of the wall could be read at it."""
    last: date | None = max((row["visit_date"] for row in view.readings if row["visit_date"]), default=None)
    rows = [row for row in view.readings if row["visit_date"] == last]
    unread = [row for row in rows if row["state"] == State.COULD_NOT_READ and row["not_read"] in tuple(NotRead)]
    return last if rows and len(unread) == len(rows) else None


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
    wanted_soon = any(alarm["urgency"] in _AT_ONCE for alarm in view.alarms)
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


def _facts_said(book: Book, view: WallView, words: Language) -> Mapping[str, str]:
    """Every name in braces of the status sentences; '' where the wall has no such number (no sentence uses it then)."""
    row, unit, said = view.current or {}, view.unit, words["said"]
    unseen, last, total = unseen_on(view), row.get("last_visit"), row.get("total_mm")
    return {
        "visits": words.count_text(row.get("visits") or row.get("visits_all") or 0, "visit"),
        "few": said.get(_FEW.get(row.get("visits") or 0, ""), ""),
        "jump": words.side_text(row["jump_mm"], unit) if row.get("jump_mm") is not None else "",
        "span": words.span_text(row.get("span_years") or 0.0),
        "swing": words.length_pair(2 * (row.get("season_mm") or 0.0), unit),
        "company": company_name(book, words),
        "by": words.day_text(_contact_by(book, view)),
        "box": words["stay_out"]["title"],
        "place": _place(view, words),
        "total": words.length_pair(total, unit) if total is not None else "",
        "limit": words.length_pair(row.get("total_limit_mm") or book.rules.total_limit_mm, unit),
        "seen": seen_words(view, words),
        "last": words.day_text(last) if last else said["never"],
        "date": words.day_text(unseen) if unseen else "",
        "reference": reference(view, words),
        **_next_said(next_visit(book, view), words),
        **_rate_said(row, unit, words),
    }


def _next_said(following: date | None, words: Language) -> Mapping[str, str]:
    said = words["said"]
    if following is None:
        return {"next": said["not_arranged"], "again": said["again_soon"], "confirm": said["confirm_soon"]}
    month = words.month_text(following)
    return {
        "next": month,
        "again": words.say("said", "again_in", month=month),
        "confirm": words.say("said", "confirm_in", month=month),
    }


def _rate_said(row: Row, unit: str, words: Language) -> Mapping[str, str]:
    rate, lower, upper = row.get("rate_mm_per_year"), row.get("rate_lower"), row.get("rate_upper")
    if rate is None or lower is None or upper is None:
        return {}
    other, at_most = other_unit(unit), max(upper, 0.0)
    return {
        "rate": words.rate_text(rate, unit),
        "rate_beside": words.rate_text(rate, other),
        "range": words.range_text(lower, upper, unit),
        "range_beside": words.rate_range(rate, lower, upper, other),
        "upper": words.rate_text(at_most, unit),
        "upper_beside": words.rate_text(at_most, other),
        "comparison": words.comparison(at_most),
    }


def _place(view: WallView, words: Language) -> str:
    """Where a held reading that alarms was taken; a step of the whole wall belongs to no one place."""
    alarming = any(row["rule"] == Rule.HELD and row["urgency"] in _AT_ONCE for row in view.alarms)
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


def _corrected(book: Book, view: WallView, words: Language) -> list[str]:
    said = []
    for row in view.readings:
        ruling = next(iter(view.rulings[row["reading_id"]][-1:]), None)
        before = book.received.get(row["reading_id"])
        if not ruling or ruling["act"] != Act.CORRECT or before is None:
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
                else words.length_text(ruling["value_mm"], view.unit),
            )
        )
    if said and (old := _earlier(book, view, words)):
        said.append(words.say("status", "earlier page", old=old))
    return said


def _as_typed(raw: str, unit: str, words: Language) -> str:
    """A value as it was written down, with its unit in words where it bears none itself."""
    number = raw.strip().removesuffix('"').removesuffix(unit).strip()
    if unit != "in":
        return words.say("units", "mm", n=number) if unit == "mm" else raw
    part = _PART_OF_INCH.fullmatch(number)
    return words.say("units", "part_of_inch" if part else "one_inch" if number == "1" else "inches", n=number)


def _earlier(book: Book, view: WallView, words: Language) -> str:
    """The short status on the last list, where there was one and it differed."""
    if book.previous is None:
        return ""
    rows = [row for row in book.earlier_results.rows((view.house, view.wall)) if row["is_current"]]
    return str(words["short"][_state_of(book, rows[0], None)]) if rows else ""
