"""Columns of Arrow tables as arrays of numbers, and back: how rows of this room are read, matched and grouped.

What is not known is null in a table, NaN among numbers and -1 among places, so that it never passes for a value.
"""

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from monitor.schema.arrays import array_of

Array: TypeAlias = npt.NDArray[np.float64]
Whole: TypeAlias = npt.NDArray[np.intp]
Flags: TypeAlias = npt.NDArray[np.bool_]
Column: TypeAlias = pa.Array | pa.ChunkedArray
Made = TypeVar("Made")

_EPOCH = date(1970, 1, 1).toordinal()
_BETWEEN = pa.scalar("\x1f")
"""Stands between the parts of a key; no name holds it."""


def reals(column: Column) -> Array:
    """Numbers (rows,), NaN for null."""
    return np.asarray(_cast(column, pa.float64()).to_numpy(zero_copy_only=False), dtype=np.float64)


def flags(column: Column) -> Flags:
    """Truth (rows,), False for null."""
    return np.asarray(filled(_cast(column, pa.bool_()), False).to_numpy(zero_copy_only=False), dtype=bool)


def whole(column: Column, unknown: int = -1) -> Whole:
    """Whole numbers (rows,), `unknown` for null."""
    return np.asarray(filled(one(column), unknown).to_numpy(zero_copy_only=False), dtype=np.intp)


def is_text(column: Column, text: str) -> Flags:
    """Whether each row (rows,) has that text; null is ''."""
    same = pc.equal(one(column), pa.scalar(str(text)))
    return np.asarray(filled(same, text == "").to_numpy(zero_copy_only=False), dtype=bool)


def days(column: Column) -> Array:
    """Dates as whole days since 1970-01-01 (rows,), NaN for null."""
    return reals(_cast(column, pa.date32()).view(pa.int32()))


def dates(numbers: npt.ArrayLike) -> pa.Array:
    """Whole days since 1970-01-01 as dates, null for NaN."""
    found = np.asarray(numbers, dtype=np.float64)
    known = np.isfinite(found)
    return array_of(np.where(known, found, 0).astype(np.int32), known).view(pa.date32())


def day_number(day: date) -> int:
    """A date as whole days since 1970-01-01."""
    return day.toordinal() - _EPOCH


def date_of(day: float) -> date | None:
    """A whole day since 1970-01-01 as a date, None for NaN."""
    return None if np.isnan(day) else date.fromordinal(int(day) + _EPOCH)


def one(column: Column) -> pa.Array:
    """A column as one array."""
    if not isinstance(column, pa.ChunkedArray):
        return column
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def filled(column: pa.Array, value: object) -> pa.Array:
    """A column with a value in the place of null; itself where it has none, as most of a wall's have."""
    return pc.fill_null(column, value) if column.null_count else column


def _cast(column: Column, kind: pa.DataType) -> pa.Array:
    """A column as one array of a type."""
    found = one(column)
    return found if found.type == kind else found.cast(kind)


def taken(column: Column, rows: Whole) -> pa.Array:
    """Values of some rows, null where the row is -1."""
    return one(column).take(array_of(rows, rows >= 0))


def key(rows: pa.Table, names: Sequence[str]) -> pa.Array:
    """One text per row that stands for its values in some columns (of texts or whole numbers), '' for null."""
    parts = [texts(rows[name]) for name in names]
    return parts[0] if len(parts) == 1 else pc.binary_join_element_wise(*parts, _BETWEEN)


def places(rows: pa.Table, among: pa.Table, names: Sequence[str]) -> Whole:
    """The first row of `among` with the same values in those columns, for each of `rows` (rows,); -1 for none."""
    found = pc.index_in(key(rows, names), value_set=key(among, names))
    return np.asarray(filled(found, -1).to_numpy(zero_copy_only=False), dtype=np.intp)


def codes(column: Column, words: Column | Sequence[str]) -> Whole:
    """The place of each row's text, '' for null, among some texts (rows,); -1 for none of them."""
    among = one(words) if isinstance(words, pa.Array | pa.ChunkedArray) else pa.array([str(word) for word in words])
    return whole(pc.index_in(texts(column), value_set=among))


def distinct(column: Column) -> pa.Array:
    """The different texts of a column in their order, '' for null."""
    found = pc.unique(texts(column))
    return found.take(pc.array_sort_indices(found))


def ranks(column: Column) -> Whole:
    """The place of each row's text, '' for null, among the different texts of the column in their order (rows,)."""
    return codes(column, distinct(column))


def numbered(*parts: npt.NDArray[np.generic]) -> tuple[Whole, Whole]:
    """The number of each row's group (rows,) by its numbers in several arrays, in their order, and its first row."""
    order = np.lexsort(parts[::-1])
    begins = np.zeros(len(order), dtype=bool)
    begins[:1] = True
    for part in parts:
        now, before = part[order][1:], part[order][:-1]
        begins[1:] |= (now != before) & ((now == now) | (before == before))  # NaN and NaN are alike
    number = np.empty(len(order), dtype=np.intp)
    number[order] = np.cumsum(begins) - 1
    return number, order[begins]


def different(numbers: Whole) -> Whole:
    """The different ones of numbers from 0 on, in their order; np.unique would load numpy.ma to look for masks."""
    return _one_of_each_run(np.sort(_one_of_each_run(numbers)))


def _one_of_each_run(numbers: Whole) -> Whole:
    return numbers[np.flatnonzero(np.diff(numbers, prepend=-1))]


def pairs(left: Whole, right: Whole) -> tuple[Whole, Whole]:
    """Every row with every row of the same number on the right, which is sorted: both rows of each pair (pairs,)."""
    first = np.searchsorted(right, left)
    size = np.searchsorted(right, left, side="right") - first
    row = np.repeat(np.arange(len(left)), size)
    return row, np.arange(len(row)) - np.repeat(np.cumsum(size) - size, size) + np.repeat(first, size)


def leaders(group: npt.NDArray[np.generic], *by: npt.NDArray[np.generic]) -> Whole:
    """The row of each group that comes first by some numbers, of those alike the first (groups,)."""
    order = np.lexsort((*reversed(by), group))
    return np.asarray(order[np.unique(group[order], return_index=True)[1]])


def means(values: Array, group: Whole) -> Array:
    """Mean of the known values of each group (groups,), NaN where none is known."""
    count, known = int(group.max(initial=-1)) + 1, ~np.isnan(values)
    number = np.bincount(group[known], minlength=count)
    total = np.bincount(group[known], values[known], minlength=count)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def medians(values: Array, group: Whole) -> Array:
    """Median of the known values of each group (groups,), NaN where none is known."""
    count, known = int(group.max(initial=-1)) + 1, ~np.isnan(values)
    values, group = values[known], group[known]
    ordered = values[np.lexsort((values, group))]
    number = np.bincount(group, minlength=count)
    first, some, found = np.cumsum(number) - number, number > 0, np.full(count, np.nan)
    low, high = (ordered[(first + middle)[some]] for middle in ((number - 1) // 2, number // 2))
    found[some] = (low + high) / 2
    return found


def groups(rows: pa.Table, names: Sequence[str]) -> tuple[Whole, Whole]:
    """The number of each row's group (rows,), counted in the order of its first row, and that first row (groups,)."""
    coded = key(rows, names).dictionary_encode()
    number = np.asarray(coded.indices.to_numpy(zero_copy_only=False), dtype=np.intp)
    first = np.zeros(len(coded.dictionary), dtype=np.intp)
    first[number[::-1]] = np.arange(len(number) - 1, -1, -1)
    return number, first


def numbers(values: npt.ArrayLike) -> pa.Array:
    """Numbers as a column, null for NaN."""
    found = np.asarray(values, dtype=np.float64)
    return array_of(found, ~np.isnan(found))


def texts(column: Column) -> pa.Array:
    """Texts (rows,), '' for null."""
    return filled(_cast(column, pa.string()), "")


def replaced(table: pa.Table, rows: pa.Table, names: Sequence[str]) -> pa.Table:
    """The table with those of its rows that have the same key as one of `rows` replaced by it, in their places."""
    at = places(table, rows, names)
    return pa.concat_tables([table, rows]).take(array_of(np.where(at < 0, np.arange(len(table)), len(table) + at)))


def having(table: pa.Table, **columns: Column) -> pa.Table:
    """The table with those columns: in the place of its own of that name, else behind all others."""
    for name, column in columns.items():
        at = table.schema.get_field_index(name)
        table = table.append_column(name, column) if at < 0 else table.set_column(at, name, column)
    return table


class Rows:
    """Some rows of a table, whose columns are read as arrays where they are asked for.

    at: numbers of these rows within the table (rows,), rising. A column that the table lacks is unknown in every row.
    """

    def __init__(self, table: pa.Table, at: Whole | None = None) -> None:
        self._table = table
        self._all = at is None
        self._asked: dict[tuple[str, Callable[[Column], Any]], Any] = {}
        self.at: Whole = np.arange(len(table)) if at is None else at

    def __len__(self) -> int:
        return len(self.at)

    def only(self, mask: Flags) -> "Rows":
        """Those of the rows for which `mask` (rows,) is true."""
        return self if mask.all() else Rows(self._table, self.at[mask])

    def number(self, name: str) -> Array:
        """Numbers (rows,), NaN for null."""
        return self._as(reals, name, pa.float64())

    def count(self, name: str) -> Whole:
        """Whole numbers (rows,), 0 for null."""
        return self._as(_counts, name, pa.float64())

    def day(self, name: str) -> Array:
        """Dates as whole days since 1970-01-01 (rows,), NaN for null."""
        return self._as(days, name, pa.date32())

    def flag(self, name: str) -> Flags:
        """Truth (rows,), False for null."""
        return self._as(flags, name, pa.bool_())

    def text(self, name: str) -> pa.Array:
        """Texts (rows,), '' for null."""
        return self._as(texts, name, pa.string())

    def says(self, name: str, word: str = "") -> Flags:
        """Whether a column of texts holds that word alone (rows,)."""
        return is_text(self.text(name), word)

    def tuples(self, names: Sequence[str]) -> list[tuple[Any, ...]]:
        """Values of some columns row by row, None for null; for few rows."""
        return list(zip(*(self._read(name, pa.null()).to_pylist() for name in names), strict=True))

    def _as(self, made: Callable[[Column], Made], name: str, kind: pa.DataType) -> Made:
        """What is made of a column, once for all that ask."""
        if (name, made) not in self._asked:
            self._asked[name, made] = made(self._read(name, kind))
        found: Made = self._asked[name, made]
        return found

    def _read(self, name: str, kind: pa.DataType) -> pa.Array:
        at = self._table.schema.get_field_index(name)
        if at < 0:
            return pa.nulls(len(self), kind)
        column = one(self._table.column(at))
        return column if self._all else column.take(array_of(self.at))


def _counts(column: Column) -> Whole:
    """Whole numbers (rows,), 0 for null."""
    return whole(column, 0)
