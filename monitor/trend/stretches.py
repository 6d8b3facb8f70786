"""What events do to readings: which period a reading belongs to, and how many breaks of its level lie before it.

Reinforcement starts a period, and with it a stretch of every mark. Surface work, a lost mark that was set again and a
change of reference start a stretch of the marks they name (of all where none is named), straightening one of all
marks, a method change one of the readings by the method it names. Digging, drainage and covers are notes.

A reading on the day of the work belongs before or after it by its own word (terms.Part). Without the word it counts
as after the work: a step made by the work then never stands in the rate before it, and after reinforcement such a
reading lies in the take-up window, where it enters no rate at all.
"""

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor.terms import EventKind, Part

Whole = npt.NDArray[np.intp]

_OF_NAMED_MARKS = (EventKind.SURFACE_WORK, EventKind.LOST_MARK, EventKind.REFERENCE_CHANGE)
_BREAKS = (EventKind.REINFORCEMENT, EventKind.STRAIGHTENING, EventKind.METHOD_CHANGE, *_OF_NAMED_MARKS)


def reinforcements(events: pd.DataFrame) -> pd.DataFrame:
    """Days of reinforcement, one row per wall and day: house, wall, day, period (the period it starts, 1, 2, ...)."""
    rows = events.loc[events["kind"] == EventKind.REINFORCEMENT, ["house", "wall", "day"]]
    rows = rows.drop_duplicates().sort_values(["house", "wall", "day"], ignore_index=True)
    return rows.assign(period=rows.groupby(["house", "wall"]).cumcount() + 1)


def periods(rows: pd.DataFrame, starts: pd.DataFrame) -> Whole:
    """Period of each row (house, wall, mark, method, day, part): the number of reinforcements it comes after."""
    return _count_before(rows, starts.assign(kind=EventKind.REINFORCEMENT, marks="", method=""))


def breaks(rows: pd.DataFrame, events: pd.DataFrame) -> Whole:
    """Number of events before each row (house, wall, mark, method, day, part) that broke the level it is read on."""
    return _count_before(rows, events[events["kind"].isin(_BREAKS)])


def _count_before(rows: pd.DataFrame, events: pd.DataFrame) -> Whole:
    """Number of events of the row's wall that touch the row and lie before it."""
    count = np.zeros(len(rows), dtype=np.intp)
    if rows.empty or events.empty:
        return count
    left = rows[["house", "wall", "mark", "method", "day", "part"]].assign(row=np.arange(len(rows)))
    right = events[["house", "wall", "kind", "marks", "method", "day"]].fillna({"marks": "", "method": ""})
    pairs = left.merge(right, on=["house", "wall"], suffixes=("", "_event"))
    same_day = pairs["day"] == pairs["day_event"]
    after = (pairs["day"] > pairs["day_event"]) | (same_day & (pairs["part"] != Part.BEFORE))
    np.add.at(count, pairs.loc[after & _touches(pairs), "row"].to_numpy(), 1)
    return count


def _touches(pairs: pd.DataFrame) -> pd.Series:
    """Whether the event of each pair breaks the level of its reading."""
    named = [not marks or mark in marks.split() for mark, marks in zip(pairs["mark"], pairs["marks"], strict=True)]
    by_mark = ~pairs["kind"].isin(_OF_NAMED_MARKS) | np.array(named, dtype=bool)
    by_method = (pairs["kind"] != EventKind.METHOD_CHANGE) | (pairs["method"] == pairs["method_event"])
    return by_mark & by_method
