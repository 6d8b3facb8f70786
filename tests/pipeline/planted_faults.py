"""Faults planted in simulated visits: what a wall's readings become, and how far apart the two meanings are."""

from collections.abc import Callable, Sequence

import numpy as np
from visits_of_a_portfolio import Key, Reading, Visits, shifted

Change = Callable[[Key, Sequence[Reading]], Sequence[Reading]]
_OTHER = {"N": "S", "S": "N"}


def as_read(key: Key, rows: Sequence[Reading]) -> Sequence[Reading]:
    """No fault."""
    return rows


def moved(visits: Visits, bow_mm: float) -> Change:
    """Walls that truly bowed in so much further."""
    return lambda key, rows: [shifted(row, bow_mm * visits.bows[*key, row["mark"]]) for row in rows]


def slipped(by_mm: float, *, seed: int) -> Change:
    """One mark of each visit so far off, inward or outward."""
    rng = np.random.default_rng(seed)

    def change(key: Key, rows: Sequence[Reading]) -> Sequence[Reading]:
        at, way = int(rng.integers(len(rows))), float(rng.choice([-1.0, 1.0]))
        return [shifted(row, way * by_mm) if n == at else row for n, row in enumerate(rows)]

    return change


def exchanged(visits: Visits) -> tuple[Change, dict[Key, float]]:
    """Both walls' sheets of each house exchanged; root mean square of the difference of their marks."""
    values = {key: {row["mark"]: row["value_raw"] for row in rows} for key, rows in visits.rows.items()}
    pairs = {
        key: visits.apart((key, mark, (key[0], _OTHER[key[1]]), mark) for mark in values[key])
        for key in values
        if values[key].keys() == values.get((key[0], _OTHER[key[1]]), {}).keys()
    }

    def change(key: Key, rows: Sequence[Reading]) -> Sequence[Reading]:
        if key not in pairs:
            return rows
        return [row | {"value_raw": values[key[0], _OTHER[key[1]]][row["mark"]]} for row in rows]

    return change, {key: float(np.sqrt(np.mean(np.square(apart)))) for key, apart in pairs.items()}


def mirrored(visits: Visits) -> tuple[Change, dict[Key, float]]:
    """Columns counted from the right; the largest difference of a mark from its mirror image."""
    images: dict[Key, dict[str, str]] = {}
    for key, rows in visits.rows.items():
        columns = sorted({row["mark"][1:] for row in rows})
        image = dict(zip(columns, reversed(columns), strict=True))
        marks = {row["mark"] for row in rows}
        flipped = {mark: mark[0] + image[mark[1:]] for mark in marks}
        if set(flipped.values()) == marks:
            images[key] = flipped

    def change(key: Key, rows: Sequence[Reading]) -> Sequence[Reading]:
        values = {row["mark"]: row["value_raw"] for row in rows}
        return [row | {"value_raw": values[images[key][row["mark"]]]} for row in rows] if key in images else rows

    apart = {key: visits.apart((key, a, key, b) for a, b in flipped.items()) for key, flipped in images.items()}
    return change, {key: float(np.abs(each).max()) for key, each in apart.items()}


def renamed(standoff_mm: float) -> Change:
    """Deflections written where the wall's gaps to a string are usual."""
    return lambda _, rows: [shifted(row | {"value_mm": standoff_mm}, row["value_mm"]) for row in rows]
