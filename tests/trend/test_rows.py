"""Frames as plain rows: whatever a frame calls unknown is None, and nothing else is."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from result_rows import frame, wall_row

from monitor.trend.rows import dates, plain


@pytest.mark.parametrize(
    "column",
    [
        pd.Series([np.nan]),
        pd.Series([None], dtype=object),
        pd.Series([pd.NA], dtype="Int64"),
        pd.Series([pd.NaT]),
        pd.Series([pd.NaT], dtype=object),
        pd.Series([np.nan], dtype="str"),
    ],
)
def test_every_way_of_not_knowing_is_none(column: pd.Series) -> None:
    assert plain(pd.DataFrame({"a": column})) == [{"a": None}]


@pytest.mark.parametrize("unit", ["s", "us", "ns"])
def test_days_are_dates_whether_they_came_as_timestamps_or_dates(unit: str) -> None:
    stamps = pd.Series([pd.Timestamp(2024, 2, 29)]).astype(f"datetime64[{unit}]")
    for column in (stamps, pd.Series([pd.Timestamp(2024, 2, 29), None], dtype=object), pd.Series([date(2024, 2, 29)])):
        got = plain(pd.DataFrame({"a": column}))[0]["a"]
        assert type(got) is date
        assert got == date(2024, 2, 29)


def test_numbers_are_numbers_of_python_and_nought_and_blank_stay_what_they_are() -> None:
    table = pd.DataFrame({"a": np.array([0.0]), "b": np.array([0], dtype="int32"), "c": [False], "d": [""]})
    got = plain(table)[0]
    assert got == {"a": 0.0, "b": 0, "c": False, "d": ""}
    assert [type(value) for value in got.values()] == [float, int, bool, str]


def test_a_row_of_the_results_comes_back_as_it_was_written() -> None:
    written = wall_row()
    got = plain(frame("wall_results", [written]))[0]
    assert {name: got[name] for name in written} == written


def test_an_empty_frame_has_no_rows() -> None:
    assert plain(pd.DataFrame({"a": []})) == []
    assert plain(pd.DataFrame()) == []


def test_dates_are_one_kind_of_column_however_they_came() -> None:
    for column in (pd.Series([date(2024, 2, 29), None]), pd.Series(["2024-02-29", None]), pd.Series([None, None])):
        got = dates(column)
        assert got.dtype == "datetime64[us]"
        assert pd.isna(got.iloc[1])
