"""The readings of cases as a frame, for the dense fit of single walls and its summary: never for all walls."""

import numpy as np
import pandas as pd

from monitor.trend.cases import Cases
from monitor.trend.coded import PARTS
from monitor.trend.variances import METHODS

_PART = {number: str(part) for part, number in PARTS.items()}


def rows_of(cases: Cases) -> pd.DataFrame:
    """Cases.rows with house, wall, period, reading_id, the names of marks, methods and parts, and where marks stand.

    mark_code, method_code: the numbers of mark and method.
    """
    rows, marks, walls = cases.rows, cases.marks, cases.walls
    wall = marks.wall[rows.mark]
    own = {name: values for name, values in vars(rows).items() if name not in ("mark", "method", "part")}
    keys = {name: column.to_pylist() for name, column in cases.keys(rows.case).items()}
    places = {name: getattr(marks, name)[rows.mark] for name in ("x_mm", "z_mm")}
    sizes = {name: getattr(walls, name)[wall] for name in ("length_mm", "clear_height_mm", "left_free", "right_free")}
    words = {
        "reading_id": cases.reading_ids(np.arange(len(rows))).to_pylist(),
        "mark": cases.mark_names(rows.mark).to_pylist(),
        "part": [_PART[int(part)] for part in rows.part],
        "method": [str(METHODS[method]) for method in rows.method],
    }
    return pd.DataFrame(keys | own | words | {"mark_code": rows.mark, "method_code": rows.method} | places | sizes)
