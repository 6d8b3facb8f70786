"""Words, dates, numbers as people read them: by hand."""

from datetime import date

import pytest

from monitor.report import wording
from monitor.report.wording import EN
from monitor.terms import Method, Movement, Seen, Urgency, Verdict


@pytest.mark.parametrize(
    ("years", "words"),
    [
        (0.0, "0 months"),
        (1 / 12, "1 month"),
        (1.5, "18 months"),
        (2.0, "2 years"),
        (2.5, "2 1/2 years"),
        (3.1, "3 years"),
    ],
)
def test_a_span_is_said_in_months_then_in_half_years(years, words):
    assert wording.span_text(years) == words


@pytest.mark.parametrize(
    ("mm", "thing"),
    [
        (0.0, "the thickness of a sheet of paper"),
        (0.76, "the thickness of a bank card"),  # ISO/IEC 7810, ID-1
        (1.6, "the thickness of a coin"),
        (25.4, "the width of a thumb"),
        (-25.4, "the width of a thumb"),
        (400.0, "the width of two thumbs"),
    ],
)
def test_a_length_is_compared_with_the_nearest_thing_at_hand(mm, thing):
    assert EN.comparison(mm) == thing


@pytest.mark.parametrize(
    ("mm", "unit", "words"),
    [
        (0.3, "in", "less than a quarter of the smallest mark (1/16 in) on a tape measure"),  # 0.19 of 1.5875 mm
        (0.9, "in", "half of the smallest mark (1/16 in) on a tape measure"),  # 0.57
        (1.6, "in", "1/16 in on a tape measure"),
        (30.2, "in", "1 3/16 in on a tape measure"),
        (0.5, "mm", "half of the smallest mark (1 mm) on a tape measure"),
        (3.6, "mm", "4 mm on a tape measure"),
    ],
)
def test_a_length_finer_than_a_tape_measure_is_not_rounded_up_to_its_first_mark(mm, unit, words):
    assert EN.tape_text(mm, unit) == words


def test_a_movement_bears_its_side_in_words():
    assert wording.side_text(1.6, "in") == "1/16 in (1.6 mm) further in"
    assert wording.side_text(-1.6, "mm") == "1.6 mm (1/16 in) further out"


def test_numbers_stand_in_the_first_unit_with_the_other_beside():
    assert wording.length_pair(30.1625, "in") == "1 3/16 in (30.2 mm)"
    assert wording.length_pair(30.1625, "mm") == "30.2 mm (1 3/16 in)"
    assert wording.rate_pair(5.08, "in") == "0.20 inch a year (5.1 mm a year)"
    assert wording.limit_pair(25.4 / 16, "in") == "1/16 inch a year (1.6 mm a year)"
    assert wording.bounds_text((1.27, 4.826), "in") == "0.05 to 0.19 inch a year"


def test_a_small_length_is_never_called_nought():
    assert wording.length_pair(0.4, "in") == "less than 1/32 in (0.4 mm)"
    assert wording.side_text(-0.79, "mm") == "0.8 mm (less than 1/32 in) further out"
    assert wording.length_pair(0.8, "in") == "1/16 in (0.8 mm)"  # 25.4 / 32 = 0.79
    assert wording.length_pair(0.0, "in") == "0 in (0.0 mm)"


def test_a_range_never_shows_movement_outward_as_a_length_inward():
    assert wording.range_text(2.54, 5.08, "in") == "between 0.10 and 0.20 inch a year"
    assert wording.range_text(-2.54, 5.08, "mm") == "somewhere between none and 5.1 mm a year"
    assert EN.rate_range(3.0, -1.0, 7.0, "mm") == "3.0 mm a year (none to 7.0 mm a year)"


def test_a_date_is_the_same_on_either_side_of_an_ocean():
    assert wording.day_text(date(2026, 4, 3)) == "3 April 2026"
    assert wording.month_text(date(2026, 12, 1)) == "December 2026"


def test_every_state_has_its_words_its_meaning_and_its_mark():
    assert set(EN["short"]) == set(wording.SHAPE) == set(EN["meaning"])
    assert set(EN["status"]) == set(EN["short"]) | {"corrected", "earlier page", "moving before", "call"}


def test_every_term_of_the_contract_has_words():
    assert set(EN["seen"]) == set(Seen)
    assert set(EN["reference"]) == set(Method) | {"other"}
    assert set(EN["not_measured"]) == set(Movement) | {"only_relative"}
    assert set(wording.COMPONENT) == set(Movement)
    assert set(wording.VERDICT_SHAPE) == set(Verdict)
    assert set(wording.CONTACT_DAYS) == set(Urgency) - {Urgency.CONFIRM, Urgency.NONE}


def test_states_that_a_glance_must_tell_apart_have_shapes_of_their_own():
    shapes = [wording.VERDICT_SHAPE[verdict] for verdict in Verdict]
    assert len(set(shapes)) == len(shapes)
