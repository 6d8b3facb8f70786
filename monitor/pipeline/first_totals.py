"""The total inward deflection of each wall at its first visit: what was found when it was first measured."""

import pyarrow.compute as pc

from monitor import schema
from monitor.config import Rules
from monitor.report.context import Key, Row
from monitor.trend.totals import first_visits, totals


def first_totals(facts: schema.Tables) -> dict[Key, Row]:
    """total_mm, total_mark and total_reference at the first visit with a used reading, by wall, where it is known.

    facts: tables of schema.FACTS, readings with their effective state; of a day of work the reading before it counts.
    """
    first = first_visits(facts["readings"])
    found = totals(first, facts["walls"], facts["marks"], Rules(), facts["events"])
    known = found.filter(pc.is_valid(found["total_mm"]))
    rows = known.select(["house", "wall", "total_mm", "total_mark", "total_reference"]).to_pylist()
    return {(row["house"], row["wall"]): row for row in rows}
