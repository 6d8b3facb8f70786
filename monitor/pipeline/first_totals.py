"""The total inward deflection of each wall at its first visit: what was found when it was first measured."""

import pandas as pd

from monitor import schema
from monitor.config import Rules
from monitor.pipeline.frames import frame
from monitor.report.context import Key, Row
from monitor.terms import Part, State
from monitor.trend.totals import totals


def first_totals(facts: schema.Tables) -> dict[Key, Row]:
    """total_mm, total_mark and total_reference at the first visit with a used reading, by wall, where it is known.

    facts: tables of schema.FACTS, readings with their effective state; of a day of work the reading before it counts.
    """
    readings = frame(facts["readings"])
    used = readings[(readings["state"] == State.USED) & readings["deflection_mm"].notna()]
    if used.empty:
        return {}
    first = _first(used)
    found = totals(first, frame(facts["walls"]), frame(facts["marks"]), Rules(), frame(facts["events"]))
    known = found.dropna(subset="total_mm")[["house", "wall", "total_mm", "total_mark", "total_reference"]]
    rows: list[Row] = [{str(name): value for name, value in row.items()} for row in known.to_dict("records")]
    return {(row["house"], row["wall"]): row for row in rows}


def _first(used: pd.DataFrame) -> pd.DataFrame:
    """Readings of each wall's first visit."""
    by_wall = [used["house"], used["wall"]]
    on_day = used[used["visit_date"] == used["visit_date"].groupby(by_wall).transform("min")]
    later = on_day["part"] == Part.AFTER
    return on_day[later == later.groupby([on_day["house"], on_day["wall"]]).transform("min")]
