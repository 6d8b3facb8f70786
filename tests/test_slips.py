"""Typical slips in writing down a length (which are typical: common practice, no source)."""

import pytest

from monitor.lengths import parse
from monitor.slips import candidates, likely


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("1 13/16", "1 3/16"),  # the ten of the numerator
        ("1 3/16", "1 13/16"),
        ("5/16", "9/16"),  # digits alike
        ("9/16", "5/16"),
        ("3/8", "5/8"),  # counted from the wrong end of the inch
        ("3/8", "3/16"),  # another denominator
        ("3/16", "3/8"),
        ("2 3/16", "1 3/16"),  # a whole inch
        ("13/16", "1 3/16"),  # run together
        ("3 1/16", "1 3/16"),  # exchanged
        ("1-13/16\"", "1 3/16"),
        ("1 ⅝", "1 3/8"),
        ("2", "1"),
        ("12' 7 5/16\"", "12' 7 9/16\""),
    ],
)  # fmt: skip
def test_a_fraction_may_have_been_meant_as(written: str, meant: str) -> None:
    assert dict(candidates(written, "in"))[meant] == pytest.approx(parse(meant, "in").mm)


@pytest.mark.parametrize(
    ("written", "unit", "meant"),
    [
        ("31", "mm", "13"),  # exchanged
        ("40.2", "mm", "30.2"),  # ten more
        ("3.02", "mm", "30.2"),  # the point
        ("39.2", "mm", "35.2"),  # digits alike
        ("2.19", "in", "1.19"),
        ("1.91", "in", "1.19"),
        ("2410", "mm", "2310"),
    ],
)
def test_a_number_with_a_point_may_have_been_meant_as(written: str, unit: str, meant: str) -> None:
    assert dict(candidates(written, unit))[meant] == pytest.approx(parse(meant, unit).mm)


def test_digits_on_both_sides_of_a_point_are_not_exchanged() -> None:
    assert "32" not in dict(candidates("30.2", "mm"))


@pytest.mark.parametrize("written", ["1 3/16", "13/16", "2 1/2", "30", "30.2", "1.19", "0", "12' 7 5/16\"", "-1/4"])
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_candidates_are_lengths_as_written_and_never_the_value_itself(written: str, unit: str) -> None:
    for raw, mm in candidates(written, unit):
        assert parse(raw, unit).mm == pytest.approx(mm)
        assert mm > 0
        assert mm != pytest.approx(parse(written, unit).mm)


def test_the_nearest_comes_first() -> None:
    changes = [abs(mm - 46.0375) for _, mm in candidates("1 13/16", "in")]
    assert changes == sorted(changes)


def test_a_text_that_is_no_length_has_no_candidates() -> None:
    assert candidates("covered", "in") == candidates("1 3/16", "mm") == ()


def test_the_likely_value_is_the_nearest_slip_within_reach() -> None:
    assert likely("1 13/16", "in", 29.9, 1.5) == ("1 3/16", 30.1625)
    assert likely("1 13/16", "in", 41.0, 1.0) is None
