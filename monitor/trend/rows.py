"""Rows of a frame as plain dictionaries in which everything unknown is None, so that no NaN reaches a comparison."""

from datetime import date
from typing import Any, TypeAlias

import pandas as pd

Row: TypeAlias = dict[str, Any]
"""Column name to a plain value; None where it is not known."""


def plain(frame: pd.DataFrame) -> list[Row]:
    """Rows of `frame`: NaN, NaT and NA become None, timestamps dates, numbers of numpy numbers of Python."""
    columns = {str(name): _values(frame[name]) for name in frame.columns}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def dates(column: pd.Series) -> pd.Series:
    """A column of dates, however it came (date objects, texts, timestamps), as timestamps with NaT for none."""
    return pd.to_datetime(column).astype("datetime64[us]")


def _values(column: pd.Series) -> list[Any]:
    if pd.api.types.is_datetime64_any_dtype(column):
        column = column.dt.date
    known = column.notna().tolist()
    values = column.astype(object).tolist()
    return [_plain_value(value) if there else None for value, there in zip(values, known, strict=True)]


def _plain_value(value: Any) -> Any:
    if isinstance(value, pd.Timestamp):
        return value.date()
    return value if isinstance(value, str | bool | int | float | date) else getattr(value, "item", lambda: value)()
