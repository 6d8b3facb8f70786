"""The one order of a table's rows, and the hash of its content: neither depends on how the rows came in."""

import hashlib
from collections.abc import Collection, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema

_FIRST = ("house", "wall", "visit_date", "event_date")
_SAME_WHENEVER_KNOWN = ("readings",)
"""A reading sent again is that reading. All else may be said again after something else was said in between."""
_NUMPY = {
    pa.float64(): "<f8",
    pa.int32(): "<i4",
    pa.int64(): "<i8",
    pa.date32(): "<i4",
    pa.timestamp("us", tz="UTC"): "<i8",
}


def ordered(table: pa.Table, first: Sequence[str] = _FIRST) -> pa.Table:
    """The rows sorted by wall and date, then by every other column, so that no two orders are possible."""
    if table.num_rows < 2:
        return table
    names = [name for name in first if name in table.column_names]
    names += [name for name in table.column_names if name not in names]
    return in_order_of(table, names)


def in_order_of(table: pa.Table, names: Sequence[str]) -> pa.Table:
    """The rows sorted by those columns; where they are already, which costs little to see, nothing is copied."""
    if table.num_rows < 2 or _is_in_order_of(table, names):
        return table
    return table.take(pc.sort_indices(table, sort_keys=[(name, "ascending") for name in names]))


def _is_in_order_of(table: pa.Table, names: Sequence[str]) -> bool:
    """Whether no row has to go; False, too, where a column that has to decide has unknown values."""
    tied = np.ones(max(table.num_rows - 1, 0), dtype=bool)
    for name in names:
        if not tied.any():
            break
        column = table[name].combine_chunks()
        if column.null_count:
            return False
        before, after = column.slice(0, len(tied)), column.slice(1)
        if (tied & _flags(pc.greater(before, after))).any():
            return False
        tied &= _flags(pc.equal(before, after))
    return True


def digests(name: str, rows: pa.Table, *, is_ordered: bool = False) -> tuple[str, str]:
    """Two SHA-256 of the rows of the table `name`, in any order: what makes an add the same add, and the whole.

    For readings the first leaves out when they became known, so that a retry is the same add. is_ordered: whether the
    rows stand in the order of `ordered` already.
    """
    kept = rows if is_ordered else ordered(rows)
    pieces = [f"{name} {schema.VERSION} {kept.num_rows}\n".encode()]
    for column in kept.column_names:
        if column != "known_at":
            pieces += [f"{column}\n".encode(), *_bytes(kept[column].combine_chunks())]
    total = hashlib.sha256(b"".join(pieces))
    content = total.hexdigest()
    if "known_at" in kept.column_names:
        total.update(b"".join(_bytes(kept["known_at"].combine_chunks())))
    whole = total.hexdigest()
    return content if name in _SAME_WHENEVER_KNOWN else whole, whole


def changes(table: pa.Table, columns: Collection[str]) -> npt.NDArray[np.bool_]:
    """For a table sorted by the columns: whether each row differs from the one before it (the first does)."""
    differs = np.zeros(table.num_rows, dtype=bool)
    if not table.num_rows:
        return differs
    differs[0] = True
    for name in columns:
        codes = _values(table[name].combine_chunks().dictionary_encode(null_encoding="encode").indices, "<i4")
        differs[1:] |= codes[1:] != codes[:-1]
    return differs


def by_row(rows: pa.Table) -> tuple[bytes, int, bytes, list[int]]:
    """Rows of a table of less than 64 columns as bytes, row after row: numbers, flags, lengths of texts and what is
    unknown, with so many bytes a row; texts, and where each row's begin (one more than rows).
    """
    blocks: list[npt.NDArray[Any]] = []
    texts: list[pa.Array] = []
    unknown = np.zeros(rows.num_rows, "<i8")  # a bit for each column; no table has as many
    for field in rows.schema:
        array = rows[field.name].combine_chunks()
        if pa.types.is_string(field.type):
            texts.append(array)
            array = pc.binary_length(array)
        values = _numbers(array)
        if array.null_count:
            known = _values(pc.cast(pc.is_valid(array), pa.int8()), "<i1")
            unknown |= (1 - known).astype("<i8") << len(blocks)
            values = np.where(known == 1, values, 0).astype(values.dtype)
        blocks.append(values)
    blocks.append(unknown)
    packed = np.empty(rows.num_rows, [(f"f{number}", block.dtype) for number, block in enumerate(blocks)])
    for number, block in enumerate(blocks):
        packed[f"f{number}"] = block
    joined = pc.binary_join_element_wise(*texts, "").cast(pa.large_string()) if texts else None
    if joined is None:
        return packed.tobytes(), packed.itemsize, b"", [0] * (rows.num_rows + 1)
    offsets = np.frombuffer(joined.buffers()[1], "<i8", len(joined) + 1, joined.offset * 8)
    return packed.tobytes(), packed.itemsize, bytes(joined.buffers()[2] or b""), offsets.tolist()


def _bytes(array: pa.Array) -> list[bytes]:
    """A column as bytes: which cells are known, then the values (0 where unknown), little-endian.

    Works on the buffers, as turning a column into a NumPy array by way of Arrow imports pandas.
    """
    if not len(array):
        return []
    if pa.types.is_string(array.type):  # never unknown: lengths, then all the text in UTF-8
        offsets = np.frombuffer(array.buffers()[1], "<i4", len(array) + 1, array.offset * 4)
        text = bytes(memoryview(array.buffers()[2])[offsets[0] : offsets[-1]]) if offsets[0] < offsets[-1] else b""
        return [(offsets[1:] - offsets[:-1]).tobytes(), text]
    values = _numbers(array)
    if not array.null_count:
        return [b"all known", values.tobytes()]
    known = _values(pc.cast(pc.is_valid(array), pa.int8()), "<i1")
    return [known.tobytes(), np.where(known == 1, values, 0).tobytes()]


def _numbers(array: pa.Array) -> npt.NDArray[Any]:
    """A column of numbers, dates or flags; what stands where it is unknown is anything."""
    if pa.types.is_boolean(array.type):
        return _values(pc.cast(array, pa.int8()), "<i1")
    values = _values(array, _NUMPY[array.type])
    return values + 0.0 if values.dtype.kind == "f" else values  # -0.0 is 0.0


def _flags(array: pa.Array) -> npt.NDArray[np.bool_]:
    return _values(pc.cast(array, pa.int8()), "<i1").astype(bool)


def _values(array: pa.Array, dtype: str) -> npt.NDArray[Any]:
    return np.frombuffer(array.buffers()[1], dtype, len(array), array.offset * np.dtype(dtype).itemsize)
