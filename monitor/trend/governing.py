"""Which mark speaks for a wall: the fastest of those that can still be seen to move.

A mark at a corner held by a return wall hardly moves by construction, and one that is no longer read tells nothing new.
"""

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor.trend.cases import Cases, at_held_end
from monitor.trend.portfolio import Fitted
from monitor.trend.shapes import Flags
from monitor.trend.variances import METHODS


def preferred(cases: Cases, done: Fitted) -> list[Flags]:
    """Marks (B, M) among which the governing mark of each case of a block is sought, the most preferred first.

    First those read at the newest counting visit and not at a held corner, then all that are not at a held corner.
    """
    block, shape = done.block, (len(done.block.cases), done.block.layout.marks)
    inner, read = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    case, visit = block.place[:2]
    inner[case, block.mark] = ~at_held_end(cases.rows.iloc[block.rows])
    newest = visit == block.last[case]
    read[case[newest], block.mark[newest]] = True
    return [inner & read, inner]


def methods(cases: Cases, governing_mark: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """Method of the newest counting readings of each case's governing mark; of its latest visit where there is none.

    governing_mark: a name per case, '' for none.
    """
    rows = cases.rows.loc[cases.rows["counts"], ["case", "mark", "visit", "method_code"]]
    rows = rows[rows["mark"].to_numpy(object) == governing_mark[rows["case"].to_numpy(np.intp)]]
    newest = rows.sort_values(["case", "visit", "method_code"], ascending=[True, False, True]).drop_duplicates("case")
    code = pd.Series(newest["method_code"].to_numpy(), index=newest["case"]).reindex(range(len(governing_mark)))
    names = np.array([*METHODS, ""], dtype=object)[code.fillna(-1).astype(np.intp)]
    return np.where(code.notna(), names, cases.table["method"].to_numpy(object))
