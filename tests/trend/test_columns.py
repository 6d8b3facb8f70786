"""Rows of tables grouped and reduced as arrays: held against pandas' groups, an independent library, and by hand."""

from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from monitor.trend import columns

RNG = np.random.default_rng(5)
GROUPED = pd.DataFrame(
    {
        "wall": RNG.integers(0, 4, 60),
        "setup": RNG.integers(-1, 3, 60),
        "z": RNG.choice([200.0, 1220.0, np.nan], 60),
        "mm": np.where(RNG.random(60) < 0.2, np.nan, RNG.normal(0, 5, 60)),
    }
)
BY = ["wall", "setup", "z"]


def numbered() -> tuple[columns.Whole, columns.Whole]:
    return columns.numbered(*(GROUPED[name].to_numpy() for name in BY))


def test_groups_are_numbered_in_the_order_of_their_numbers_and_the_unknown_is_one_of_them() -> None:
    number, first = numbered()
    pandas = GROUPED.groupby(BY, dropna=False, sort=True)
    assert number.tolist() == pandas.ngroup().tolist()
    assert first.tolist() == [rows[0] for rows in pandas.indices.values()]


@pytest.mark.parametrize("reduce", ["mean", "median"])
def test_means_and_medians_of_groups_leave_out_what_is_not_known(reduce: str) -> None:
    number, _ = numbered()
    ours = {"mean": columns.means, "median": columns.medians}[reduce](GROUPED["mm"].to_numpy(), number)
    theirs = GROUPED.groupby(number)["mm"].agg(reduce).to_numpy()
    assert np.isnan(theirs).any(), "a group of which nothing is known is among them"
    np.testing.assert_allclose(ours, theirs, rtol=1e-14)


def test_the_leader_of_a_group_is_its_first_by_some_numbers_and_of_those_alike_the_first_row() -> None:
    group, size, day = np.array([7, 3, 7, 3, 7]), np.array([2, 1, 1, 1, 1]), np.array([0, 5, 9, 5, 8])
    assert columns.leaders(group, size).tolist() == [1, 2]
    assert columns.leaders(group, size, day).tolist() == [1, 4]


def test_rows_meet_every_row_of_their_number_as_in_pandas() -> None:
    left, right = np.array([4, 2, 9, 4]), np.array([1, 2, 2, 4, 7])
    rows = zip(*columns.pairs(left, right), strict=True)
    joined = pd.DataFrame({"n": left}).reset_index().merge(pd.DataFrame({"n": right}).reset_index(), on="n")
    assert list(rows) == list(zip(joined["index_x"], joined["index_y"], strict=True))


def test_nothing_grouped_is_nothing() -> None:
    none, whole = np.zeros(0), np.zeros(0, dtype=np.intp)
    number, first = columns.numbered(none, whole)
    assert (len(number), len(first), len(columns.leaders(number, none))) == (0, 0, 0)
    assert (len(columns.means(none, number)), len(columns.medians(none, number))) == (0, 0)


def test_texts_are_ranked_in_their_order_with_null_as_no_text() -> None:
    texts = pa.chunked_array([["plumb", None], ["", "laser", "plumb"]])
    assert columns.distinct(texts).to_pylist() == ["", "laser", "plumb"]
    assert columns.ranks(texts).tolist() == [2, 0, 0, 1, 2]
    assert columns.codes(texts, ["plumb", "meter"]).tolist() == [0, -1, -1, -1, 0]
    assert columns.is_text(texts, "").tolist() == [False, True, True, False, False]


def test_a_day_goes_to_a_number_and_back() -> None:
    assert columns.date_of(columns.day_number(date(2026, 5, 1))) == date(2026, 5, 1)
    assert columns.date_of(float("nan")) is None
