"""What events do to readings: which period a reading belongs to, and how many breaks of its level lie before it.

Reinforcement starts a period, and with it a stretch of every mark. Surface work, a lost mark that was set again and a
change of reference start a stretch of the marks they name (of all where none is named), straightening one of all
marks, a method change one of the readings by the method it names. Digging, drainage and covers are notes.

A reading on the day of the work belongs before or after it by its own word (terms.Part). Without the word it counts
as after the work: a step made by the work then never stands in the rate before it, and after reinforcement such a
reading lies in the take-up window, where it enters no rate at all.
"""

from typing import Protocol

import numpy as np

from monitor.records import dataclass
from monitor.terms import EventKind, Part
from monitor.trend.coded import PARTS, Days, Events
from monitor.trend.columns import Flags, Whole, pairs

_OF_NAMED_MARKS = (EventKind.SURFACE_WORK, EventKind.LOST_MARK, EventKind.REFERENCE_CHANGE)
_BREAKS = (EventKind.REINFORCEMENT, EventKind.STRAIGHTENING, EventKind.METHOD_CHANGE, *_OF_NAMED_MARKS)


class Placed(Protocol):
    """Readings, or what stands for them: wall, mark, method, part and day of each (rows,)."""

    @property
    def wall(self) -> Whole:
        """Number of the wall."""

    @property
    def mark(self) -> Whole:
        """Number of the mark."""

    @property
    def method(self) -> Whole:
        """Number of the method."""

    @property
    def part(self) -> Whole:
        """Number of the part of the day."""

    @property
    def day(self) -> Days:
        """Whole days since 1970-01-01."""


@dataclass(frozen=True)
class Starts:
    """Days of reinforcement by wall and day, one per wall and day: the period it starts, 1, 2, ...; all (starts,)."""

    wall: Whole
    day: Days
    period: Whole


def reinforcements(events: Events) -> Starts:
    """What starts periods."""
    at = np.flatnonzero(events.kind == EventKind.REINFORCEMENT)
    wall, day = events.wall[at], events.day[at]
    new = np.ones(len(at), dtype=bool)
    new[1:] = (np.diff(wall) != 0) | (np.diff(day) != 0)
    wall, day = wall[new], day[new]
    return Starts(wall, day, np.arange(len(wall)) - np.searchsorted(wall, wall) + 1)


def periods(rows: Placed, starts: Starts) -> Whole:
    """Period of each row: the number of reinforcements it comes after."""
    pair, start = pairs(rows.wall, starts.wall)
    return _count(rows, pair, starts.day[start])


def breaks(rows: Placed, events: Events) -> Whole:
    """Number of events before each row that broke the level it is read on."""
    breaking = np.flatnonzero(np.isin(events.kind, [str(kind) for kind in _BREAKS]))
    pair, at = pairs(rows.wall, events.wall[breaking])
    event = breaking[at]
    touched = _touches(rows, events, pair, event)
    return _count(rows, pair[touched], events.day[event[touched]])


def _count(rows: Placed, row: Whole, day: Days) -> Whole:
    """Number of the paired events that lie before each row."""
    own = rows.day[row]
    after = (own > day) | ((own == day) & (rows.part[row] != PARTS[Part.BEFORE]))
    return np.bincount(row[after], minlength=len(rows.wall)).astype(np.intp)


def _touches(rows: Placed, events: Events, row: Whole, event: Whole) -> Flags:
    """Whether the event of each pair breaks the level of its reading."""
    touched = (events.kind[event] != EventKind.METHOD_CHANGE) | (rows.method[row] == events.method[event])
    of_marks = np.isin(events.kind[event], [str(kind) for kind in _OF_NAMED_MARKS])
    marks = int(rows.mark.max(initial=-1)) + 1
    named = np.isin(event * marks + rows.mark[row], events.named[0] * marks + events.named[1])
    return np.asarray(touched & (~of_marks | events.of_all[event] | named))
