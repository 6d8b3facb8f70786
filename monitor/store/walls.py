"""What one wall's results are, told in 32 bytes; and the sum of them over walls, however these were put together."""

from collections.abc import Iterable, Mapping
from hashlib import sha256

import numpy as np
import pyarrow as pa

from monitor.store import canonical
from monitor.store.generations import Wall

_ALL = 1 << 256


def digests(tables: Mapping[str, pa.Table]) -> dict[Wall, str]:
    """SHA-256 of each wall's rows in all of the tables, by wall.

    tables: each with the rows of a wall together, in an order that the rows themselves give.
    """
    found: dict[Wall, list[bytes]] = {}
    for name, rows in sorted(tables.items()):
        if not rows.num_rows:
            continue
        first = np.flatnonzero(canonical.changes(rows, ("house", "wall")))
        ends = [*first[1:].tolist(), rows.num_rows]
        firsts = rows.select(["house", "wall"]).take(pa.array(first))
        walls = zip(firsts["house"].to_pylist(), firsts["wall"].to_pylist(), strict=True)
        numbers, width, texts, at = canonical.by_row(rows)
        for wall, start, end in zip(walls, first.tolist(), ends, strict=True):
            pieces = found.setdefault(wall, [])
            pieces += [name.encode(), numbers[start * width : end * width], texts[at[start] : at[end]]]
    return {wall: sha256(b"".join(pieces)).hexdigest() for wall, pieces in found.items()}


def total(of_walls: Iterable[str]) -> str:
    """The sum of walls' digests, modulo 2^256, in 64 hex digits: the same in whatever order they come."""
    return f"{sum(int(each, 16) for each in of_walls) % _ALL:064x}"


def exchanged(before: str, gone: Iterable[str], come: Iterable[str]) -> str:
    """The sum after some walls' digests gave way to others."""
    return f"{(int(before, 16) - int(total(gone), 16) + int(total(come), 16)) % _ALL:064x}"
