"""Which mark speaks for a wall: the fastest of those that can still be seen to move.

A mark at a corner held by a return wall hardly moves by construction, and one that is no longer read tells nothing new.
"""

import numpy as np

from monitor.trend.cases import Cases, at_held_end
from monitor.trend.columns import Flags, Whole
from monitor.trend.portfolio import Fitted


def preferred(cases: Cases, done: Fitted) -> list[Flags]:
    """Marks (B, M) among which the governing mark of each case of a block is sought, the most preferred first.

    First those read at the newest counting visit and not at a held corner, then all that are not at a held corner.
    """
    block, shape = done.block, (len(done.block.cases), done.block.layout.marks)
    inner, read = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    case, visit = block.place[:2]
    inner[case, block.mark] = ~at_held_end(cases, cases.rows.mark[block.rows])
    newest = visit == block.last[case]
    read[case[newest], block.mark[newest]] = True
    return [inner & read, inner]


def methods(cases: Cases, governing: Whole) -> Whole:
    """Method of the newest counting readings of each case's governing mark; of its latest visit where there is none.

    governing: number of a mark per case, -1 for none. Of several methods at one visit the first in METHODS.
    """
    rows, method = cases.rows, cases.table.method.copy()
    chosen = np.flatnonzero(rows.counts & (rows.mark == governing[rows.case]))
    case, last = np.unique(rows.case[chosen][::-1], return_index=True)
    newest = rows.visit[chosen][len(chosen) - 1 - last]
    method[case] = rows.method[chosen][np.searchsorted(rows.visit[chosen], newest)]
    return method
