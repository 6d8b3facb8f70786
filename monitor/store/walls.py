"""What one wall's results are, told in 32 bytes; and the sum of them over walls, however these were put together."""

from collections.abc import Iterable, Mapping
from hashlib import sha256

import numpy as np
import pyarrow as pa

from monitor import schema
from monitor.schema.arrays import array_of
from monitor.store import canonical
from monitor.store.generations import Wall

_ALL = 1 << 256


def digests(tables: Mapping[str, pa.Table]) -> dict[Wall, str]:
    """SHA-256 of each wall's rows in all of the tables, by wall.

    tables: each with the rows of a wall together, in an order that the rows themselves give.
    """
    found: dict[str, list[bytes]] = {}
    for name, rows in sorted(tables.items()):
        if not rows.num_rows:
            continue
        keys = schema.wall_keys(rows)
        first = np.flatnonzero(canonical.changes(rows, ("house", "wall")))
        numbers, width, texts, at = canonical.by_row(rows.drop_columns(["house", "wall"]))
        of_table, starts = name.encode(), [*first.tolist(), rows.num_rows]
        ends = starts[1:]
        for wall, start, end in zip(keys.take(array_of(first)).to_pylist(), starts, ends, strict=False):
            pieces = found.setdefault(wall, [wall.encode()])
            pieces += (of_table, numbers[start * width : end * width], texts[at[start] : at[end]])
    hashed = {key: sha256(b"".join(pieces)).hexdigest() for key, pieces in found.items()}
    return {(house, wall): told for key, told in hashed.items() for house, _, wall in [key.partition(schema.BETWEEN)]}


def total(of_walls: Iterable[str]) -> str:
    """The sum of walls' digests, modulo 2^256, in 64 hex digits: the same in whatever order they come."""
    return f"{sum(int(each, 16) for each in of_walls) % _ALL:064x}"
