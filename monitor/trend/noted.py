"""What the readings of each wall say beside the numbers in use, as columns of a table of walls."""

from datetime import date

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor.terms import State
from monitor.trend.columns import Rows, dates, day_number, having, key, places
from monitor.trend.signs import Held, Key, Sighting, held_readings, sightings

_WALL = ("house", "wall")


def with_notes(walls: pa.Table, readings: pa.Table, judged_on: date) -> pa.Table:
    """The walls (house, wall) with what was seen at their latest visit, and what is held.

    visited_on: day of the latest visit; undated: whether signs stand on rows without a date that can be; signs,
    unknown: words of terms.Seen and words that are none of them, separated by '; '; held, not_compared, inward_mm,
    held_mark, held_on: as signs.Held has them.
    """
    rows, place = Rows(readings), places(readings, walls, _WALL)
    when = rows.day("visit_date")
    past = when <= day_number(judged_on)
    visited = np.full(len(walls), -np.inf)
    known = past & (place >= 0)
    np.maximum.at(visited, place[known], when[known])
    latest = (place >= 0) & (when == visited[place])
    told = ~rows.says("seen") & (latest | ~past)
    seen = sightings(_of_walls(readings, told).to_pandas(date_as_object=False), judged_on) if told.any() else {}
    is_held = rows.says("state", State.HELD)
    held = held_readings(_of_walls(readings, is_held).to_pandas(date_as_object=False)) if is_held.any() else {}
    return _columns(having(walls, visited_on=dates(visited)), seen, held)


def _of_walls(readings: pa.Table, wanted: np.ndarray) -> pa.Table:
    """All rows of the walls that a wanted row (rows,) is of, and those that mend another row."""
    keys = key(readings, _WALL)
    mending = pc.not_equal(pc.fill_null(readings["mends"], ""), "")
    return readings.filter(pc.or_(pc.is_in(keys, keys.filter(pa.array(wanted))), mending))


def _columns(walls: pa.Table, seen: dict[Key, Sighting], held: dict[Key, Held]) -> pa.Table:
    count = len(walls)
    noted: dict[str, list[object]] = {
        "undated": [False] * count, "signs": [""] * count, "unknown": [""] * count, "held": [0] * count,
        "not_compared": [0] * count, "inward_mm": [None] * count, "held_mark": [""] * count, "held_on": [None] * count,
    }  # fmt: skip
    if seen or held:
        for number, place in enumerate(zip(walls["house"].to_pylist(), walls["wall"].to_pylist(), strict=True)):
            if place in seen:
                sighting = seen[place]
                noted["undated"][number] = sighting.undated
                noted["signs"][number], noted["unknown"][number] = map("; ".join, (sighting.signs, sighting.unknown))
            if place in held:
                found = held[place]
                noted["held"][number], noted["not_compared"][number] = found.count, found.not_compared
                noted["inward_mm"][number], noted["held_mark"][number] = found.inward_mm, found.mark
                noted["held_on"][number] = found.read_on
    kinds = {"undated": pa.bool_(), "held": pa.int32(), "not_compared": pa.int32(), "inward_mm": pa.float64(),
             "held_on": pa.date32()}  # fmt: skip
    return having(walls, **{name: pa.array(said, kinds.get(name, pa.string())) for name, said in noted.items()})
