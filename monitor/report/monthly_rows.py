"""The lines of the monthly list: the same for its page, its CSV file, its workbook and the terminal."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from typing import overload
from weakref import WeakKeyDictionary

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.records import dataclass
from monitor.report import names
from monitor.report.context import Book, Key, PastList, Row
from monitor.report.monthly_line import FIRST, NEW, NEWLY, STATES, STILL, Line, Run
from monitor.report.placing import (
    COLUMNS,
    SECTIONS,
    SPOKEN,
    Item,
    Numbers,
    Places,
    items,
    numbers,
    open_places,
    rest,
)
from monitor.terms import Rule

_AT_ONCE = 1024
"""Lines that are made at a time."""
_SHORT = 20_000
"""The lines of so many walls stay in memory: some ten megabytes, and each is made once for page, files and service."""

SHOWN = {
    "wall_results": (
        *COLUMNS["wall_results"],
        "reason",
        "visits",
        "last_visit",
        "tellable",
        "rate_mm_per_year",
        "rate_lower",
        "rate_upper",
        "threshold_mm_per_year",
        "governing_mark",
        "largest_movement",
        "not_measured",
        "exceed_chance",
        "total_mm",
        "total_limit_mm",
        "total_reference",
    ),
    "findings": (*COLUMNS["findings"], "reason", "next_step"),
    "walls": ("house", "wall", "nickname", "unit", "known_at"),
}
"""Columns of some tables that a list needs of the walls it shows."""


class Lines(Sequence[Line]):
    """Lines that are made as they are read, some at a time: a list of many walls is never all there.

    numbers: of their walls among those placed. make: makes some.
    """

    def __init__(self, numbers: Numbers, make: Callable[[Numbers], Sequence[Line]]) -> None:
        self._numbers, self._make = numbers, make

    def __len__(self) -> int:
        """How many lines there are."""
        return len(self._numbers)

    def __iter__(self) -> Iterator[Line]:
        """Every line in order."""
        for start in range(0, len(self), _AT_ONCE):
            yield from self._make(self._numbers[start : start + _AT_ONCE])

    @overload
    def __getitem__(self, at: int) -> Line: ...
    @overload
    def __getitem__(self, at: slice) -> "Lines": ...
    def __getitem__(self, at: int | slice) -> "Line | Lines":
        """One line, or some."""
        if isinstance(at, slice):
            return Lines(self._numbers[at], self._make)
        return self._make(self._numbers[[at]])[0]


@dataclass(frozen=True)
class List:
    """The whole list: each wall's place now and on the last list, and the lines of each section in order.

    placed, earlier: all walls of a section, and those that the last list had in one; of others no more is known than
    their number, which is `numbers` by section and place outside of any. all_lines: of all sections in the order of
    the page. by_state: how many there are in each of STATES.
    """

    placed: Places
    earlier: Places | None
    lines: Mapping[str, Lines]
    all_lines: Lines
    numbers: Mapping[str, int]
    by_state: Mapping[str, int]
    decided: Lines

    def number(self, section: str) -> int:
        """How many judged walls stand there."""
        return self.numbers[section]

    def states(self, state: str) -> int:
        """How many lines are in one of STATES."""
        return self.by_state[state]


_LISTS: WeakKeyDictionary[Book, List] = WeakKeyDictionary()
"""The list of each book that is in use: its page, its files and what counts on it ask for the same one."""


def the_list(book: Book) -> List:
    """The list of a book: sections in the order of their urgency; within each, by urgency, then by consequence."""
    if (found := _LISTS.get(book)) is None:
        found = _LISTS[book] = _the_list(book)
    return found


def _the_list(book: Book) -> List:
    earlier = items(book.previous) if book.previous else None
    left = earlier.sections(earlier.is_open) if earlier else ()
    placed = items(book.assessment, book.previous, also=left)
    standing = Counter(placed.count()) + Counter(rest(book.assessment, placed))
    order = np.lexsort((-placed.consequence(), placed.urgency))
    sections = {name: order[placed.section[order] == number] for number, (name, *_) in enumerate(SECTIONS)}
    states = _states(placed, earlier)
    shown = np.concatenate(list(sections.values()))
    by_state = {state: int((states[shown] == number).sum()) for number, state in enumerate(STATES)}
    make = _Maker(book, placed, states)
    lines = {name: Lines(of, make) for name, of in sections.items()}
    decided = shown[np.isin(shown, placed.numbers_of(book.decisions))]
    return List(placed, earlier, lines, Lines(shown, make), standing, by_state, Lines(decided, make))


def decisions_by_wall(book: Book) -> Mapping[Key, Sequence[Row]]:
    """Decisions of each wall, oldest first."""
    found: dict[Key, list[Row]] = defaultdict(list)
    for row in sorted(book.decisions.to_pylist(), key=lambda row: (row["known_at"].isoformat(), row["decision_id"])):
        found[row["house"], row["wall"]].append(row)
    return found


def _past_lists(book: Book) -> Sequence[PastList]:
    """The earlier lists of the book; where it was given none, the last one at least."""
    if book.lists or book.previous is None:
        return book.lists
    return [PastList(book.previous.judged_on, open_places(book.previous))]


def _run(judged_on: date, key: Key, item: Item, lists: Sequence[PastList]) -> Run:
    since = opened = judged_on
    stayed = item.is_open
    for past in lists if item.is_open else ():
        place = past.places.get(key)
        if place is None:
            return Run(since, opened, past.judged_on)
        opened = past.judged_on
        stayed = stayed and place == item.section
        since = opened if stayed else since
    return Run(since, opened, None)


def _states(placed: Places, earlier: Places | None) -> Numbers:
    """Of each wall the number of what it is against the last list, in STATES."""
    if earlier is None:
        asks = np.full(len(placed), STATES.index(FIRST))
    else:
        before = np.append(earlier.is_open, False)[earlier.numbers_of(placed.walls)]
        asks = np.where(before, STATES.index(STILL), STATES.index(NEW))
    return np.where(placed.is_open, asks, STATES.index(NEWLY))


class _Maker:
    """Makes lines of a book, which it does not hold: else neither would ever go. Lines of a short list are kept."""

    def __init__(self, book: Book, placed: Places, states: Numbers) -> None:
        self._judged_on, self._news = book.assessment.judged_on, book.news
        self._lists, self._decided = _past_lists(book), decisions_by_wall(book)
        self._placed, self._states = placed, states
        self._register = _newest_first(book.fact("walls"))
        self._row = numbers(pc.index_in(schema.wall_keys(placed.walls), value_set=schema.wall_keys(self._register)))
        self._made: dict[int, Line] = {}
        self._keeps = len(placed) <= _SHORT

    def __call__(self, wanted: Numbers) -> Sequence[Line]:
        """The lines of some walls by their numbers among those placed."""
        if not self._keeps:
            return self._some(wanted)
        if missing := [number for number in wanted.tolist() if number not in self._made]:
            self._made |= zip(missing, self._some(np.array(missing)), strict=True)
        return [self._made[number] for number in wanted.tolist()]

    def _some(self, wanted: Numbers) -> list[Line]:
        row, states = self._row[wanted], self._states[wanted].tolist()
        rows = iter(schema.rows(self._register.take(pa.array(row[row >= 0]))))
        places = [next(rows) if at >= 0 else None for at in row.tolist()]
        walls = zip(self._placed.at(wanted), places, states, strict=True)
        return [self._line(key, item, place, STATES[state]) for (key, item), place, state in walls]

    def _line(self, key: Key, item: Item, place: Row | None, state: str) -> Line:
        run = _run(self._judged_on, key, item, self._lists)
        lead = item.alarms[0] if item.alarms else None
        said = str(item.result["reason"]) if item.result else ""
        reason = (lead["reason"] if lead and item.section in ("hard", "held", "overdue") else said) or said
        decided = self._decided.get(key, ())
        since = [row for row in decided if run.before is None or row["known_at"].date() > run.before]
        older = [row for row in decided if row not in since]
        return Line(
            house=key[0],
            wall=key[1],
            nickname=place["nickname"] or f"wall {key[1]}" if place else "",
            page=names.page_name(*key, "wall") if place else "",
            unit=(place["unit"] or "in") if place else "mm",
            section=item.section,
            heading=next(heading for name, heading, *_ in SECTIONS if name == item.section),
            state=state,
            run=run,
            age_days=max((self._judged_on - run.since).days, 0),
            result=item.result,
            lead=lead,
            reason=reason,
            also=_also(item, lead, reason),
            decision=since[-1] if since else None,
            older=older[-1] if older and not since else None,
            homeowner=self._news[key].said if key in self._news else "",
        )


def _newest_first(walls: pa.Table) -> pa.Table:
    """Rows of the register, of two rows of one wall the one known later first."""
    last_first = walls.take(pa.array(np.arange(walls.num_rows)[::-1]))
    return last_first.sort_by([("known_at", "descending")]).combine_chunks()


def _also(item: Item, lead: Row | None, said: str) -> list[str]:
    """Reasons of the other findings that ask for somebody."""
    rest = [
        row["reason"] for row in item.alarms if row["rule"] != Rule.TREND and (row is not lead or row["reason"] != said)
    ]
    return [text for text in dict.fromkeys(rest) if text and text != said]


def was_place(item: Item | None) -> str:
    """A wall's place in words: 'look again', 'no longer judged'."""
    return SPOKEN[item.section] if item else "no longer judged"
