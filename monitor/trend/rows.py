"""Rows of a frame as plain dictionaries in which everything unknown is None, so that no NaN reaches a comparison."""

from typing import Any, TypeAlias

import pandas as pd
import pyarrow as pa

Row: TypeAlias = dict[str, Any]
"""Column name to a plain value; None where it is not known."""


def plain(frame: pd.DataFrame) -> list[Row]:
    """Rows of `frame`: NaN, NaT and NA become None, timestamps dates, numbers of numpy numbers of Python."""
    columns = {str(name): _values(frame[name]) for name in frame.columns}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def arrow(frame: pd.DataFrame) -> pa.Table:
    """The frame as a table of Arrow, NaN as null."""
    return pa.Table.from_pandas(frame, preserve_index=False)


def dates(column: pd.Series) -> pd.Series:
    """A column of dates, however it came (date objects, texts, timestamps), as timestamps with NaT for none."""
    return pd.to_datetime(column).astype("datetime64[us]")


def replaced(table: pd.DataFrame, rows: pd.DataFrame, key: list[str]) -> pd.DataFrame:
    """The table with those of its rows that have the same key as one of `rows` replaced by it, sorted by the key."""
    kept = table[~pd.MultiIndex.from_frame(table[key]).isin(pd.MultiIndex.from_frame(rows[key]))]
    return pd.concat([kept, rows.astype(table.dtypes.to_dict())]).sort_values(key, ignore_index=True)


def _values(column: pd.Series) -> list[Any]:
    if pd.api.types.is_datetime64_any_dtype(column):
        column = column.dt.date
    values = column.astype(object).where(column.notna(), None).tolist()
    if column.dtype == object:
        return [value.date() if isinstance(value, pd.Timestamp) else value for value in values]
    return values
