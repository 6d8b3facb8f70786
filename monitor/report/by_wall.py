"""A table's rows by wall, made into objects only as they are asked for."""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema

_BY_WALL = [("house", "ascending"), ("wall", "ascending")]
_AT_ONCE = 1024
"""Rows made at once: pages are made wall after wall in their order, and many rows cost little more than a few."""


class ByWall:
    """A table whose rows are found by (house, wall), without turning all other walls' rows into objects."""

    def __init__(self, table: pa.Table) -> None:
        self._table = table.combine_chunks()
        self._order: pa.Array | None = None
        walls = self._table.select(["house", "wall"])
        keys = _keys(walls, starts := _starts(walls))
        if any(key >= later for key, later in pairwise(keys)):
            self._order = pc.sort_indices(walls, sort_keys=_BY_WALL)  # which keeps the order within each wall
            walls = walls.take(self._order)
            keys = _keys(walls, starts := _starts(walls))
        self._places = dict(zip(keys, pairwise([*starts, len(table)]), strict=True))
        self._first, self._made = 0, list[dict[str, Any]]()

    def rows(self, key: tuple[str, str]) -> Sequence[Mapping[str, Any]]:
        """The wall's rows in table order; empty where there are none."""
        if key not in self._places:
            return ()
        start, end = self._places[key]
        if start < self._first or end > self._first + len(self._made):
            self._first, self._made = start, schema.rows(self._some(start, max(end - start, _AT_ONCE)))
        return self._made[start - self._first : end - self._first]

    def _some(self, start: int, length: int) -> pa.Table:
        if self._order is None:
            return self._table.slice(start, length)
        return self._table.take(self._order.slice(start, length))


def _starts(table: pa.Table) -> list[int]:
    """Places of the rows whose wall is not that of the row before."""
    if not len(table):
        return []
    changes = [
        pc.not_equal(table[name].slice(1).combine_chunks(), table[name].slice(0, len(table) - 1).combine_chunks())
        for name in ("house", "wall")
    ]
    return [0, *pc.add(pc.indices_nonzero(pc.or_(*changes)), 1).to_pylist()]


def _keys(table: pa.Table, starts: Sequence[int]) -> list[tuple[str, str]]:
    places = pa.array(starts, pa.int64())
    return list(zip(*(table[name].take(places).to_pylist() for name in ("house", "wall")), strict=True))
