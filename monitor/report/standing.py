"""In which state a wall is on the day of judgement: a written rule from verdict and findings, without a word.

The rule state by state is docs/homeowner-statuses.md, held to this module by tests. In short: the first that is true is
said first, of an alarm, movement shown, a visit overdue, a visit at which nothing could be read, a reading held, and
else the verdict. What else is true stands beside it; but after a sudden change or a sign seen no sentence says that
nothing moved, and after a jump none says a rate, for the jump is in it.
"""

from datetime import date
from itertools import takewhile

from monitor.records import dataclass
from monitor.report.context import Book, Row, WallView, tellable
from monitor.terms import NotRead, Rule, State, Urgency, Verdict

SWING_MM = 2.0
"""Half swing from which a wall is said to come and go: the upper end of ordinary soil (common practice, no source)."""
SWING_YEARS = 2.0
"""Record needed before a wall is said to come and go."""
AT_ONCE = (Urgency.KEEP_OUT, Urgency.SAME_DAY)
SUDDEN = ("large change", "jump", "seen")
"""States after which no sentence comforts."""
HELD = ("being checked", "several being checked")
FEW = {1: "one_visit", 2: "two_visits"}
_RATED = ("moving", "moving after straps")


@dataclass(frozen=True)
class Standing:
    """The state that is said first, and those said beside it: keys of the phrases' section status."""

    state: str
    beside: tuple[str, ...]

    @property
    def is_held(self) -> bool:
        """Whether what is said first is that readings are held."""
        return self.state in HELD


def standing(book: Book, view: WallView) -> Standing:
    """The state of one wall on the day of judgement, and what else is true of it."""
    if book.waits(view):
        return Standing("to be phoned", ())
    verdict, alarms = _verdict_state(book, view), _alarm_states(view)
    late = [name for name, is_so in (("overdue", is_overdue(view)), ("covered", unseen_on(view) is not None)) if is_so]
    shown = verdict if verdict in (*_RATED, "no visit") else ""
    waiting = [_held_state(view)] if any(row["visit_date"] for row in view.held) else []
    true = list(dict.fromkeys(filter(None, (*alarms, shown, *late, *waiting, verdict))))
    state, rest = true[0], [name for name in true[1:] if name not in waiting]
    if set(alarms) & set(SUDDEN) and not shown:
        rest.remove(verdict)
    if jumped(view) and verdict in rest:
        rest[rest.index(verdict)] = "moving before" if _moved_before(book, view) else "call"
    return Standing(state, tuple(rest))


def state_before(book: Book, view: WallView) -> str:
    """The state that the wall's result on the list before this one gives; '' where there is none."""
    row = _before(book, view)
    return _state_of(book, row, None) if row else ""


def _before(book: Book, view: WallView) -> Row | None:
    return next((row for row in book.earlier_results.rows((view.house, view.wall)) if row["is_current"]), None)


def _held_state(view: WallView) -> str:
    return HELD[len(view.held) > 1]


def jumped(view: WallView) -> bool:
    """Whether the latest visit stands apart from what the earlier ones foretell: its rate is not to be shown."""
    return any(row["rule"] == Rule.JUMP for row in view.alarms)


def end_moves(view: WallView) -> bool:
    """Whether an end that the readings stand on is shown to move: then no rate and no bound of the wall is the most."""
    return bool(view.current and view.current["ends_note"])


def _moved_before(book: Book, view: WallView) -> bool:
    """Whether the list before this one called the same period moving: shown by the visits before the jump."""
    before, current = _before(book, view), view.current
    return bool(
        before and current and before["verdict"] == Verdict.MOVING and before["period"] == current["period"]
        and (before["last_visit"] or date.max) < (current["last_visit"] or date.min)
    )  # fmt: skip


def _alarm_states(view: WallView) -> list[str]:
    """States that alarms give, most urgent first."""
    found = []
    for row in view.alarms:
        if row["rule"] == Rule.JUMP:
            found.append("jump" if view.current and view.current["jump_mm"] is not None else "large change")
        elif row["rule"] == Rule.HELD and row["urgency"] in AT_ONCE:
            found.append("large change")
        elif row["rule"] == Rule.SEEN and row["urgency"] in (*AT_ONCE, Urgency.WEEK):
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
    if not tellable(row) and (row["visits"] or 0) in FEW:
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
    last: date | None = view.readings[-1]["visit_date"] if view.readings else None  # they stand in order of days
    rows = list(takewhile(lambda row: row["visit_date"] == last, reversed(view.readings)))
    unread = [row for row in rows if row["state"] == State.COULD_NOT_READ and row["not_read"] in tuple(NotRead)]
    return last if rows and len(unread) == len(rows) else None
