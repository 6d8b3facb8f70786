"""Sentences of many rows against the same sentence written for each row by itself."""

from collections.abc import Callable
from datetime import date

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.terms import LengthUnit
from monitor.trend.columns import Rows, day_number
from monitor.trend.sentences import (
    chosen,
    decided,
    iso,
    joined,
    listed,
    months,
    pick,
    rewritten,
    said,
    same,
    where,
    written,
)
from monitor.units import (
    length_step_mm,
    length_text,
    rate_number,
    rate_step_mm,
    rate_text,
)

UNKNOWN = pa.array([None, None, None], pa.string())


def column(*texts: str | None) -> pa.Array:
    return pa.array(texts, pa.string())


WRITERS = [(rate_text, rate_step_mm), (rate_number, rate_step_mm), (length_text, length_step_mm)]
MIDDLES = st.integers(-4000, 4000).map(lambda number: number / 2)


@pytest.mark.parametrize(("write", "step"), WRITERS)
@pytest.mark.parametrize("unit", list(LengthUnit))
@given(st.lists(st.one_of(st.floats(-1e6, 1e6), MIDDLES), min_size=1, max_size=40))
def test_numbers_told_by_the_step_are_those_told_one_by_one(
    write: Callable[[float, str], str], step: Callable[[str], float], unit: str, numbers: list[float]
) -> None:
    """Numbers anywhere, and such as lie in the middle between two steps."""
    values = [number if abs(number) > 2000 else number * step(unit) for number in numbers]
    found = written(np.array(values), lambda value: write(value, unit), step(unit))
    assert found.to_pylist() == [write(value, unit) for value in values]


def test_what_is_not_a_number_has_no_text_and_what_is_endless_has_its_own() -> None:
    found = written(np.array([np.nan, np.inf, 0.26]), lambda value: f"{value:.1f}", 0.1)
    assert found.to_pylist() == [None, "inf", "0.3"]
    assert written(np.zeros(0), str).to_pylist() == []


def test_each_value_is_written_once() -> None:
    asked: list[str] = []

    def write(text: str) -> str:
        asked.append(text)
        return text.upper()

    assert rewritten(column("a", "b", "a", None), write).to_pylist() == ["A", "B", "A", None]
    assert asked == ["a", "b"]


def test_a_template_is_filled_by_row_and_by_what_holds_for_all() -> None:
    found = said("{who} of {where} ({who})", who=column("M1", "M2"), where="the wall")
    assert found.to_pylist() == ["M1 of the wall (M1)", "M2 of the wall (M2)"]
    assert said("{who}.", who=column("M1", None)).to_pylist() == ["M1.", None]


def test_parts_that_are_not_there_leave_no_trace() -> None:
    first, second, third = column("a", "a", None), column("b", None, None), column("c", "c", None)
    assert listed(first, second, third).to_pylist() == ["a, b and c", "a and c", ""]
    assert joined(" or ", first, second).to_pylist() == ["a or b", "a", ""]
    assert listed(UNKNOWN, third).to_pylist() == ["c", "c", ""]


def test_days_are_told_as_dates_and_as_months() -> None:
    days = np.array([day_number(date(2024, 2, 29)), np.nan, day_number(date(1969, 12, 31))])
    assert iso(days).to_pylist() == ["2024-02-29", None, "1969-12-31"]
    assert months(days).to_pylist() == ["February 2024", None, "December 1969"]


def test_a_row_falls_to_the_first_option_that_holds_for_it_and_keeps_its_place() -> None:
    rows = Rows(pa.table({"size": [5, 1, 9, None, 3]}))
    size = rows.number("size")
    told = chosen(
        rows,
        (size > 4, lambda part: said("large: {size}", size=written(part.number("size"), "{:.0f}".format))),
        (size > 2, lambda _: "middling"),
        (True, lambda part: where(np.isnan(part.number("size")), "unknown", "small")),
    )
    assert told.to_pylist() == ["large: 5", "small", "large: 9", "unknown", "middling"]
    assert [part.tolist() for part in decided(rows, (size > 4, lambda part: part.at))] == [[0, 2]]
    assert chosen(rows.only(np.zeros(5, dtype=bool)), (True, lambda _: "any")).to_pylist() == []


def test_options_within_an_option_keep_their_places_too() -> None:
    rows = Rows(pa.table({"size": [5, 1, 9, 4]})).only(np.array([True, False, True, True]))
    odd = rows.number("size") % 2 == 1
    told = chosen(
        rows,
        (odd, lambda part: chosen(part, (part.number("size") > 6, lambda _: "nine"), (True, lambda _: "five"))),
        (True, lambda _: "even"),
    )
    assert told.to_pylist() == ["five", "nine", "even"]


def test_words_are_picked_by_number_and_compared_as_they_stand() -> None:
    assert pick(("no", "yes"), np.array([1, 0, 1])).to_pylist() == ["yes", "no", "yes"]
    assert same(column("yes", None, "no"), "yes").tolist() == [True, False, False]


def test_a_column_that_a_table_lacks_is_unknown_in_every_row() -> None:
    rows = Rows(pa.table({"size": [1, 2]}))
    assert np.isnan(rows.number("width")).all()
    assert rows.text("name").to_pylist() == ["", ""]
    assert not rows.flag("is_current").any()
    assert rows.count("width").tolist() == [0, 0]
    assert rows.tuples(["size", "name"]) == [(1, None), (2, None)]
