"""How numbers are shown to people."""

from fractions import Fraction

import pytest

from monitor.units import (
    MM_PER_INCH,
    fraction_text,
    inches_from_mm,
    length_text,
    limit_rate_text,
    mm_from_inches,
    nearest_fraction,
    rate_number,
    rate_text,
    rate_unit,
    rounding_sd_mm,
    steps_text,
)


@pytest.mark.parametrize(
    ("inches", "mm"),
    [
        ("1/64", 0.396875),
        ("1/16", 1.5875),
        ("3/16", 4.7625),
        ("13/16", 20.6375),
        ("19/16", 30.1625),
        ("21/8", 66.675),
        ("96", 2438.4),
    ],
)
def test_inches_are_exactly_25_4_millimetres(inches: str, mm: float) -> None:
    """International inch (NIST SP 811, App. B)."""
    assert mm_from_inches(Fraction(inches)) == mm
    assert inches_from_mm(mm) == pytest.approx(float(Fraction(inches)), rel=1e-15)


@pytest.mark.parametrize(
    ("step_mm", "sd"),
    [(1.5875, 0.458272), (0.79375, 0.229136), (0.396875, 0.114568), (1.0, 0.288675), (0.1, 0.0288675)],
)
def test_rounding_contributes_its_step_over_the_root_of_twelve(step_mm: float, sd: float) -> None:
    """GUM (JCGM 100:2008) F.2.2.1: a resolution step d contributes d / sqrt 12."""
    assert rounding_sd_mm(step_mm) == pytest.approx(sd, abs=5e-7)


def test_a_fraction_is_rounded_as_a_rule_is_read_halves_away_from_nought() -> None:
    assert nearest_fraction(1 / 32) == Fraction(1, 16)
    assert nearest_fraction(3 / 32) == Fraction(1, 8)
    assert nearest_fraction(-1 / 32) == Fraction(-1, 16)
    assert nearest_fraction(0.49 / 16) == 0


def test_a_length_in_steps_is_written_as_its_fraction() -> None:
    for steps in range(-80, 400):
        assert steps_text(steps) == fraction_text(Fraction(steps, 16))
        assert steps_text(steps, 64) == fraction_text(Fraction(steps, 64))
        assert length_text(steps * 25.4 / 16, "in") == f"{fraction_text(Fraction(steps, 16))} in"


@pytest.mark.parametrize(
    ("inches", "text"),
    [("19/16", "1 3/16"), ("13/16", "13/16"), ("2", "2"), ("0", "0"), ("-19/16", "-1 3/16"), ("-1/8", "-1/8")],
)
def test_inches_are_written_as_a_carpenter_writes_them(inches: str, text: str) -> None:
    assert fraction_text(Fraction(inches)) == text


def test_a_length_is_shown_in_the_unit_that_was_asked_for() -> None:
    assert length_text(30.1625, "in") == "1 3/16 in"
    assert length_text(30.1625, "mm") == "30.2 mm"
    assert length_text(-0.01, "mm") == "0.0 mm"


def test_a_rate_is_shown_in_the_unit_that_was_asked_for_without_a_minus_before_nought() -> None:
    assert rate_text(3.2, "mm") == "3.2 mm a year"
    assert rate_text(3.2, "in") == "0.13 inch a year"
    assert rate_text(-0.01, "in") == "0.00 inch a year"
    assert rate_number(3.2, "in") == "0.13"
    assert (rate_unit("in"), rate_unit("mm")) == ("inch a year", "mm a year")
    assert rate_text(-0.5, "mm") == "-0.5 mm a year"


def test_a_limit_of_a_rate_is_the_fraction_that_was_meant() -> None:
    assert limit_rate_text(MM_PER_INCH / 16, "in") == "1/16 inch a year"
    assert limit_rate_text(MM_PER_INCH / 8, "in") == "1/8 inch a year"
    assert limit_rate_text(MM_PER_INCH / 4, "in") == "1/4 inch a year"
    assert limit_rate_text(1.5, "in") == "0.06 inch a year"
    assert limit_rate_text(MM_PER_INCH / 16, "mm") == "1.6 mm a year"
