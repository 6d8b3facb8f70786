"""What a generation says beside its rows, so that a few walls are found without reading all of them.

`places`: every house and wall that a row speaks of, with the house in small letters, as ids are found whatever their
case. `strays`: readings that were sent in to mend one of another wall. Both are made of the compacted rows and can be
made again from them; a generation from before there were any is read whole.
"""

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.errors import StoreError
from monitor.store import canonical, generations
from monitor.store.generations import PartFile, Pointer
from monitor.store.parquet import PLACES

_BESIDE = "\x1f"
TABLES = tuple(name for name, columns in schema.FACTS.items() if "house" in columns.names)
"""Tables of facts whose rows speak of houses."""


def folded(text: str) -> str:
    """An id as it is looked for."""
    return text.casefold()


def places(rows: Iterable[pa.Table]) -> pa.Table:
    """The places (PLACES) that rows of tables with houses speak of, each once, by house."""
    return _places(map(_keys, rows))


def _places(found: Iterable[pa.Array]) -> pa.Table:
    keys = pa.concat_arrays([pa.array([], pa.string()), *found]).unique()
    parts = pc.split_pattern(keys, _BESIDE)
    house, wall = pc.list_element(parts, 0), pc.list_element(parts, 1)
    is_plain = pc.all(pc.string_is_ascii(house), min_count=0).as_py()
    small = pc.ascii_lower(house) if is_plain else pa.array([folded(each) for each in house.to_pylist()], pa.string())
    return canonical.ordered(pa.Table.from_arrays([small, house, wall], schema=PLACES), PLACES.names)


def _keys(rows: pa.Table) -> pa.Array:
    walls = rows["wall"] if "wall" in rows.column_names else pa.array([""] * rows.num_rows, pa.string())
    return pc.binary_join_element_wise(rows["house"].combine_chunks(), walls, pa.scalar(_BESIDE)).unique()


def strays(readings: pa.Table) -> pa.Table:
    """Of all readings of some walls those that mend one which is not of the same wall, with what mends them in turn.

    That is every mender of a wall that has such a one: whoever follows what was mended by what then needs of other
    walls nothing else.
    """
    menders = readings.filter(pc.not_equal(readings["mends"], pa.scalar("")))
    if not menders.num_rows:
        return menders
    beside = pa.scalar(_BESIDE)
    own = pc.binary_join_element_wise(schema.wall_keys(readings), readings["reading_id"].combine_chunks(), beside)
    keys = schema.wall_keys(menders)
    mended = pc.binary_join_element_wise(keys, menders["mends"].combine_chunks(), beside)
    away = keys.filter(pc.invert(pc.is_in(mended, value_set=own)))
    return menders.filter(pc.is_in(keys, value_set=away))


class Finding:
    """Works out both tables for a new generation, part by part; what an old part says is taken from before."""

    def __init__(self, root: Path, before: Pointer) -> None:
        self._root, self._before = root, before
        self._old: dict[str, pa.Table] = {}
        with suppress(StoreError, FileNotFoundError):  # damaged or gone: all of it is worked out anew
            parts = [part for part in before.derived if part.table in ("places", "strays")]
            self._old = {part.table: generations.read_part(root, part) for part in parts}
        self._is_known = len(self._old) > 1
        self._keys = [_keys(self._old["places"])] if self._is_known else []
        self._strays: list[pa.Table] = []
        self._kept: list[int] = []

    def kept(self, part: PartFile) -> None:
        """A part of the generation before stands in the new one, too."""
        if not self._is_known:
            if part.table in TABLES:
                self.written(part.table, generations.read_part(self._root, part))
        elif part.table == "readings":
            self._kept.append(part.bucket)

    def written(self, table: str, rows: pa.Table) -> None:
        """A part was written with those rows, all of its bucket."""
        if table in TABLES:
            self._keys.append(_keys(rows))
        if table == "readings":
            self._strays.append(strays(rows))

    def tables(self) -> dict[str, pa.Table]:
        """The two tables."""
        if self._kept and self._old["strays"].num_rows:
            old = self._old["strays"]
            numbers = generations.bucket_numbers(old, self._before.buckets)
            self._strays.append(old.filter(pa.array(np.isin(numbers, self._kept))))
        found = pa.concat_tables([schema.empty("readings"), *self._strays])
        return {"places": _places(self._keys), "strays": found}
