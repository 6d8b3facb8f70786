"""What the readings of each wall say beside the numbers in use, as columns of a table of walls."""

from datetime import date

import numpy as np
import pyarrow as pa

from monitor.schema.arrays import array_of
from monitor.terms import Seen
from monitor.trend.columns import dates, having, numbers, places
from monitor.trend.signs import Sightings, held_readings, sightings

_WALL = ("house", "wall")


def with_notes(walls: pa.Table, readings: pa.Table, judged_on: date) -> pa.Table:
    """The walls (house, wall) with what was seen at their latest visit, and what is held.

    visited_on: day of the latest visit; undated: whether signs stand on rows without a date that can be; signs,
    unknown: words of terms.Seen and words that are none of them, separated by '; '; held, not_compared, inward_mm,
    held_mark, held_on: as signs.Held has them.
    """
    wall = places(readings, walls, _WALL)
    seen, held = sightings(readings, wall, len(walls), judged_on), held_readings(readings, wall, len(walls))
    return having(
        walls,
        visited_on=dates(seen.visited_on),
        undated=array_of(seen.undated),
        signs=_signs(seen),
        unknown=_unknown(seen),
        held=array_of(held.count.astype(np.int32)),
        not_compared=array_of(held.not_compared.astype(np.int32)),
        inward_mm=numbers(held.inward_mm),
        held_mark=pa.array(held.mark.tolist(), pa.string()),
        held_on=dates(held.read_on),
    )


def _signs(seen: Sightings) -> pa.Array:
    """The signs of each wall as one text: each set of signs that there is is written once."""
    number = seen.signs @ (1 << np.arange(len(Seen)))
    sets, of = np.unique(number, return_inverse=True)
    texts = ["; ".join(sign for place, sign in enumerate(Seen) if each >> place & 1) for each in sets.tolist()]
    return pa.array(texts, pa.string()).take(array_of(of))


def _unknown(seen: Sightings) -> pa.Array:
    texts = np.full(len(seen.signs), "", dtype=object)
    for wall, words in seen.unknown.items():
        texts[wall] = "; ".join(words)
    return pa.array(texts.tolist(), pa.string())
