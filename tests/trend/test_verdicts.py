"""Each verdict at the edges of its own definition, and the words that go with it."""

import math
from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from result_rows import AFTER, HOLDING, MOVING, RULES, judged, mark_row, register, wall_row

from monitor.config import Rules
from monitor.errors import TrendError

TWENTY = math.log(1 / RULES.alpha)


def one(marks: tuple[dict[str, Any], ...] = (), rules: Rules = RULES, **given: Any) -> dict[str, Any]:
    completed, _ = judged(wall_row(**given), marks=marks, rules=rules)
    return completed[0]


def test_a_wall_moves_once_its_evidence_reaches_twenty_to_one() -> None:
    assert one(**MOVING | {"log_evidence": TWENTY})["verdict"] == "moving"
    assert one(**MOVING | {"log_evidence": TWENTY - 1e-9})["verdict"] == "look again"


def test_it_is_moving_from_the_third_visit_that_counts_on() -> None:
    assert one(**MOVING, visits=3)["verdict"] == "moving"
    assert one(**MOVING, visits=2, visits_all=9)["verdict"] == "look again"


def test_the_level_of_evidence_is_the_company_s() -> None:
    assert one(rules=Rules(alpha=0.01), **MOVING | {"log_evidence": TWENTY})["verdict"] == "look again"


def test_a_governing_mark_whose_own_lower_bound_is_above_the_threshold_is_looked_at_again() -> None:
    assert one((mark_row(AFTER + 1e-9),))["verdict"] == "look again"
    assert one((mark_row(AFTER),))["verdict"] == "too early"
    assert one((mark_row(9.0, mark="M2"),))["verdict"] == "too early"
    assert one((mark_row(9.0, period=0),))["verdict"] == "too early"


def test_evidence_of_ten_to_one_is_looked_at_again() -> None:
    assert one(log_evidence=math.log(10))["verdict"] == "look again"
    assert one(log_evidence=math.log(10) - 1e-9)["verdict"] == "too early"


@pytest.mark.parametrize(
    "given",
    [
        {"rate_upper": AFTER},
        {"visits": 3},
        {"span_years": 364 / 365.25},
        {"readings_held": 1},
        {"overdue_days": 1},
        {"rate_upper": None},
        {"rate_upper": np.nan},
        {"rate_mm_per_year": None, "rate_lower": None, "rate_upper": None},
    ],
)
def test_holding_needs_every_one_of_its_conditions(given: dict[str, Any]) -> None:
    assert one(**HOLDING)["verdict"] == "holding"
    assert one(**HOLDING | given)["verdict"] == "too early"


def test_twelve_months_are_counted_on_the_calendar() -> None:
    """From 2024-10-10 to 2025-10-10 are 365 days, short of a year of 365.25, and twelve months all the same."""
    assert one(**HOLDING, span_years=365 / 365.25, visits=4)["verdict"] == "holding"


def test_a_wall_that_could_be_called_holding_is_moving_or_looked_at_again_first() -> None:
    assert one(**HOLDING | {"log_evidence": TWENTY})["verdict"] == "moving"
    assert one((mark_row(AFTER + 0.1),), **HOLDING)["verdict"] == "look again"


def test_components_are_named_as_not_settled_or_not_measured() -> None:
    bounds = {"bow_mm_per_year": 0.1, "bow_lower": -0.2, "bow_upper": 0.4}
    bounds |= {"tip_mm_per_year": 0.5, "tip_lower": -1.0, "tip_upper": 2.0}
    got = one(**HOLDING, **bounds)
    assert (got["verdict"], got["not_settled"], got["not_measured"]) == ("holding", "tip", "slide")
    assert "tipping at the top not settled; sliding at the base not measured" in got["reason"]
    assert one(**bounds | {"tip_upper": AFTER})["not_settled"] == "tip"


def test_where_nothing_is_measured_all_components_are_named() -> None:
    assert (
        "(how much of it is bowing, tipping at the top or sliding at the base is not measured)."
        in one(**HOLDING)["reason"]
    )
    assert one()["not_measured"] == "bow tip slide"
    assert one()["not_settled"] == ""


def test_the_reason_of_a_moving_wall_says_since_when() -> None:
    assert "bowing), since about April 2025, most" in one(**MOVING, onset=date(2025, 4, 1))["reason"]
    assert "bowing), since October 2024 at the latest, most" in one(**MOVING)["reason"]


def test_the_onset_is_the_first_visit_that_counts_unless_a_later_one_is_given() -> None:
    assert one(**MOVING)["onset"] == date(2024, 10, 10)
    assert one(**MOVING, onset=date(2025, 4, 1))["onset"] == date(2025, 4, 1)
    assert one(**HOLDING, onset=date(2025, 4, 1))["onset"] is None


def test_the_reason_of_a_moving_wall_has_its_rate_bounds_odds_and_threshold_in_inches() -> None:
    assert one(**MOVING)["reason"] == (
        "The wall moves inward (first of all bowing), since October 2024 at the latest, most likely 0.20 inch a year "
        "at mark M3 (between 0.12 and 0.27 inch a year over all its marks, 9 times in 10), and 5 visits in 18 months "
        "speak 54 to 1 for a rate above the threshold of 1/16 inch a year (20 to 1 is asked for)."
    )


def test_the_same_reason_in_millimetres() -> None:
    completed, _ = judged(wall_row(**MOVING), walls=[register(unit="mm")])
    assert "most likely 5.0 mm a year at mark M3 (between 3.1 and 6.9 mm a year over" in completed[0]["reason"]
    assert "the threshold of 1.6 mm a year" in completed[0]["reason"]


def test_the_reason_of_a_holding_wall_says_how_fast_it_may_still_move() -> None:
    assert one(**HOLDING)["reason"].startswith(
        "Over 5 visits in 18 months the wall's inward rate, most likely 0.01 inch a year at mark M3, lies between "
        "-0.02 and 0.04 inch a year over all its marks, 9 times in 10, below the threshold of 1/16 inch a year"
    )
    assert one(**HOLDING)["missing"] == ""


def test_the_reason_to_look_again_says_why() -> None:
    by_bound = one((mark_row(2.0),), log_evidence=1.0)
    assert (
        "the lower bound of mark M3 by itself, 0.08 inch a year, is above the threshold of 1/16 inch a year"
        in by_bound["reason"]
    )
    by_odds = one(log_evidence=math.log(12.5))
    assert "speak 12 to 1 for a rate above the threshold of 1/16 inch a year" in by_odds["reason"]
    both = one((mark_row(2.0),), log_evidence=math.log(12.5))
    assert both["reason"].count("threshold") == 1
    assert both["missing"] == "A confirming visit with two set-ups."


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (
            {"visits": 0, "visits_all": 2},
            "No visit of this period counts for the rate yet: 2 visits lie within the 90 days",
        ),
        ({"visits": 0, "visits_all": 0}, "No visit of this period counts for the rate yet."),
        (
            {"visits": 1, "rate_upper": None},
            "Only 1 visit of this period counts for the rate, and one visit shows no movement.",
        ),
        (
            {"rate_upper": None},
            "The marks and the method of 5 visits in 18 months do not determine the rate of any mark.",
        ),
        ({}, "which leaves open on which side of the threshold of 1/16 inch a year it lies."),
        (
            {"rate_upper": 1.0, "visits": 3},
            "below the threshold of 1/16 inch a year, but not enough yet to be called holding.",
        ),
    ],
)
def test_too_early_says_what_is_known_so_far(given: dict[str, Any], said: str) -> None:
    got = one(**given)
    assert got["verdict"] == "too early"
    assert said in got["reason"]


def test_what_is_missing_is_listed_with_the_earliest_day_by_visits_and_months() -> None:
    """Three visits by 2024-11-12, then by the schedule: the fourth on 2025-05-12, twelve months on 2025-11-12."""
    start = {"first_visit": date(2024, 10, 10), "last_visit": date(2024, 11, 12), "started_on": date(2024, 6, 1)}
    got = one(visits=3, span_years=33 / 365.25, readings_held=2, rate_upper=2.2, **start)
    completed, _ = judged(
        wall_row(visits=3, span_years=33 / 365.25, readings_held=2, **start), judged_on=date(2024, 12, 1)
    )
    assert completed[0]["missing"] == (
        "Missing for holding: 1 more visit that counts for the rate, 11 more months between the first visit and the "
        "last, a ruling on 2 held readings and an upper bound below the threshold of 1/16 inch a year (now 0.09 inch a "
        "year); by visits and months alone it can be called holding from 2025-11-12."
    )
    assert "from 2026-05-01" in got["missing"], "a planned day that is past already is made on the day of judging"


def test_an_overdue_visit_is_missing_for_holding() -> None:
    assert one(**HOLDING, overdue_days=5)["missing"] == "Missing for holding: the overdue visit."


def test_a_wall_s_own_schedule_moves_the_earliest_day() -> None:
    start = {"first_visit": date(2025, 10, 10), "last_visit": date(2025, 10, 10), "started_on": date(2025, 10, 10)}
    completed, _ = judged(
        wall_row(period=0, visits=1, span_years=0.0, **start),
        walls=[register(visit_months="1 2 9 12")],
        judged_on=date(2025, 10, 11),
    )
    assert completed[0]["missing"].endswith("from 2026-10-10.")


def test_visits_planned_within_the_take_up_window_do_not_bring_the_earliest_day_nearer() -> None:
    """Reinforced on 2025-10-10, planned after 1, 7, 13, 19 and 25 months: only the first does not count."""
    start = {"first_visit": None, "last_visit": date(2025, 10, 10), "started_on": date(2025, 10, 10)}
    completed, _ = judged(
        wall_row(visits=0, span_years=0.0, **start), walls=[register(visit_months="1 6")], judged_on=date(2025, 10, 11)
    )
    assert completed[0]["missing"].endswith("from 2027-11-10.")


def test_nothing_is_asked_of_a_period_that_is_over() -> None:
    got = one(is_current=False, visits=2)
    assert got["missing"] == "This period is over; what it lacks cannot be made up."


def test_unknown_evidence_and_a_frame_of_nulls_are_too_early_never_an_error() -> None:
    got = one(
        log_evidence=None, rate_mm_per_year=None, rate_lower=None, rate_upper=None, span_years=None, first_visit=None
    )
    assert got["verdict"] == "too early"


def test_a_schedule_that_cannot_be_read_is_named() -> None:
    with pytest.raises(TrendError, match="visit_months"):
        judged(wall_row(visits=1), walls=[register(visit_months="soon")])


def test_every_row_is_completed_in_its_place() -> None:
    completed, findings = judged(
        wall_row(**MOVING), wall_row(wall="S", **HOLDING), wall_row(period=0, is_current=False)
    )
    assert [row["verdict"] for row in completed] == ["moving", "holding", "too early"]
    assert len(findings) == 7 + 7 + 1


def test_no_walls_at_all_give_empty_tables() -> None:
    assert judged(walls=[]) == ([], [])


NUMBERS = st.one_of(st.none(), st.just(math.nan), st.floats(-30, 30))


@settings(max_examples=60, deadline=None)
@given(
    st.fixed_dictionaries(
        dict.fromkeys(("rate_mm_per_year", "rate_lower", "rate_upper", "log_evidence", "span_years"), NUMBERS)
        | {"visits": st.one_of(st.none(), st.integers(0, 12)), "readings_held": st.integers(0, 2)}
        | {"overdue_days": st.integers(0, 3), "is_current": st.booleans()}
        | dict.fromkeys(("bow_upper", "jump_mm", "jump_p", "total_mm", "exceed_chance"), NUMBERS)
    ),
    NUMBERS,
)
def test_whatever_is_unknown_every_row_gets_a_verdict_and_a_sentence(
    given: dict[str, Any], lower: float | None
) -> None:
    completed, findings = judged(wall_row(**given), marks=[mark_row(lower)])
    got = completed[0]
    assert got["reason"].endswith(".")
    assert "nan" not in " ".join([got["reason"], got["missing"], *(row["reason"] for row in findings)]).lower()
    if got["verdict"] == "holding":
        assert given["rate_upper"] < AFTER
    if got["verdict"] == "moving":
        assert given["log_evidence"] >= TWENTY


@settings(max_examples=40, deadline=None)
@given(st.floats(0.1, 5), st.floats(0, 5), st.floats(0, 10), st.floats(-10, 10), st.floats(-10, 10))
def test_a_higher_threshold_never_makes_a_wall_look_worse_on_the_same_evidence(
    threshold: float, more: float, log_e: float, lower: float, upper: float
) -> None:
    worst = ["holding", "too early", "look again", "moving"]
    ranks = []
    for limit in (threshold, threshold + more):
        given = {"rate_lower": lower, "rate_upper": upper, "log_evidence": log_e, "threshold_mm_per_year": limit}
        ranks.append(worst.index(one((mark_row(lower),), **given)["verdict"]))
    assert ranks[1] <= ranks[0]


def test_a_reading_that_may_be_a_misread_calls_for_another_look_before_a_wall_is_called_moving() -> None:
    doubt = {"doubt": "mark M3 of 2025-04-01 stands apart"}
    assert one(**MOVING, **doubt, may_be_misread=True)["verdict"] == "look again"
    assert one(**MOVING, **doubt, may_be_misread=False)["verdict"] == "moving"
    assert one(**MOVING, **doubt, may_be_misread=True, is_current=False)["verdict"] == "moving"
