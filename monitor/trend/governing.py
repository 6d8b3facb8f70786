"""Which mark speaks for a wall: the fastest of those that can still be seen to move.

A mark at a corner held by a return wall hardly moves by construction, and one that is no longer read tells nothing new.
"""

import numpy as np

from monitor.trend.cases import Cases, at_held_end
from monitor.trend.columns import Whole
from monitor.trend.parts import Part
from monitor.trend.shapes import Flags


def preferred(cases: Cases, part: Part, rows: Whole) -> list[Flags]:
    """Marks (B, M) among which the governing mark of each case is sought, the most preferred first.

    First those read at the newest counting visit and not at a held corner, then all that are not at a held corner.
    rows: one row of Cases.rows for each mark (B, M), as parts.first_rows has them.
    """
    inner = (rows >= 0) & ~at_held_end(cases, cases.rows.mark[rows])
    read = np.zeros(rows.shape, dtype=bool)
    newest = part.visit == part.last[part.of]
    read[part.of[newest], part.mark[newest]] = True
    return [inner & read, inner]


def methods(cases: Cases, governing: Whole) -> Whole:
    """Number of the method of the newest counting readings of each case's governing mark, -1 where there is none.

    governing: number of that mark per case, -1 for none.
    """
    rows = cases.rows
    own = np.flatnonzero(rows.counts & (rows.mark == governing[rows.case]))
    last = np.full(len(governing), -1, dtype=np.intp)
    np.maximum.at(last, rows.case[own], rows.visit[own])
    newest = own[rows.visit[own] == last[rows.case[own]]]
    found = np.full(len(governing), np.iinfo(np.intp).max)
    np.minimum.at(found, rows.case[newest], rows.method[newest])
    return np.where(last >= 0, found, -1)
