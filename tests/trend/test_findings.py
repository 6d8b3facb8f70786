"""Every rule at the edges of its limits, on the readings of a visit, and the words it may not use."""

import itertools
from datetime import date
from typing import Any

import pytest
from msgspec import structs
from result_rows import HOLDING, MOVING, RULES, finding, judged, mark_row, reading, register, wall_row

from monitor.terms import Rule, Urgency

VISIT = date(2026, 4, 12)
EARLIER = date(2025, 10, 10)
FORBIDDEN = [
    "safe",
    "stable",
    "secure",
    "fixed",
    "stopped",
    "permanent",
    "guaranteed",
    "certified",
    "passed",
    "normal",
    "covered",
    "significant",
    "tolerance",
]


def of(
    rule: str, readings: list[dict[str, Any]] | None = None, wall: dict[str, Any] | None = None, **given: Any
) -> dict[str, Any]:
    walls = [register(**(wall or {}))]
    return finding(rule, judged(wall_row(**given), readings=readings or [reading()], walls=walls)[1])


def test_a_current_period_has_one_row_by_every_rule_in_their_order() -> None:
    _, findings = judged(wall_row())
    assert [row["rule"] for row in findings] == [str(rule) for rule in Rule]
    assert {row["period"] for row in findings} == {1}


def test_findings_stand_wall_by_wall_in_the_order_of_the_rules() -> None:
    """Signs and held readings are the wall's, and stand with its current period, wherever its row is."""
    rows = [wall_row(period=0, is_current=False), wall_row(wall="S", **HOLDING), wall_row()]
    said = [reading(seen="lip"), reading(state="held", deflection_mm=90.0), reading(wall="S")]
    _, findings = judged(*rows, readings=said, walls=[register(), register(wall="S")])
    every = [str(rule) for rule in Rule]
    assert [(row["wall"], row["period"], row["rule"]) for row in findings] == [
        ("N", 0, "trend"),
        *(("S", 1, rule) for rule in every),
        *(("N", 1, rule) for rule in every),
    ]
    yes = [(row["wall"], row["rule"]) for row in findings if row["outcome"] == "yes"]
    assert yes == [("N", "seen by the technician"), ("N", "readings held")]


def test_a_period_that_is_over_has_its_trend_alone_and_asks_for_nobody() -> None:
    _, findings = judged(wall_row(period=0, is_current=False, **MOVING), wall_row())
    old = [row for row in findings if row["period"] == 0]
    assert [(row["rule"], row["outcome"], row["urgency"], row["next_step"]) for row in old] == [
        ("trend", "yes", "none", "")
    ]


@pytest.mark.parametrize(
    ("given", "lower", "outcome", "urgency"),
    [
        (MOVING, None, "yes", "decision this month"),
        (HOLDING, None, "no", "none"),
        ({}, None, "undecided", "none"),
        ({}, 2.0, "undecided", "confirming visit"),
    ],
)
def test_the_trend_says_yes_no_or_undecided(
    given: dict[str, Any], lower: float | None, outcome: str, urgency: str
) -> None:
    got = finding("trend", judged(wall_row(**given), marks=[mark_row(lower)])[1])
    assert (got["outcome"], got["urgency"]) == (outcome, urgency)


def test_the_trend_of_a_quiet_wall_names_the_next_visit_or_the_overdue_one() -> None:
    assert of("trend", **HOLDING)["next_step"] == "Read it next on 2026-10-12."
    assert of("trend", overdue_days=3)["next_step"] == "Make the overdue visit."
    assert of("trend", due_on=None)["next_step"] == "Plan its next visit."


@pytest.mark.parametrize(
    ("total_mm", "thickness_mm", "outcome", "urgency"),
    [
        (50.79, 203.0, "no", "none"),
        (50.8, 203.0, "yes", "engineer within a week"),
        (67.6, 203.0, "yes", "engineer within a week"),
        (203.0 / 3, 203.0, "yes", "keep out, engineer now"),
        (40.0, 120.0, "yes", "keep out, engineer now"),
        (90.0, None, "yes", "engineer within a week"),
        (-5.0, 203.0, "no", "none"),
        (None, 203.0, "undecided", "none"),
    ],
)
def test_the_total_is_judged_by_its_limit_and_by_a_third_of_the_thickness(
    total_mm: float | None, thickness_mm: float | None, outcome: str, urgency: str
) -> None:
    got = of("total inward deflection", wall={"thickness_mm": thickness_mm}, total_mm=total_mm)
    assert (got["outcome"], got["urgency"]) == (outcome, urgency)


def test_the_total_is_told_in_both_units_and_an_unknown_thickness_is_said() -> None:
    got = of("total inward deflection", total_mm=55.0, wall={"thickness_mm": None})
    assert got["reason"] == (
        "Mark M3 stands 2 3/16 in (55.0 mm) inward in all, at or over the limit of 2 in (50.8 mm); its graver limit is "
        "not known, for the wall's thickness is not entered."
    )
    assert of("total inward deflection", total_mm=55.0, wall={"unit": "mm"})["reason"].startswith(
        "Mark M3 stands 55.0 mm (2"
    )


@pytest.mark.parametrize(
    ("jump_mm", "jump_p", "outcome", "urgency"),
    [
        (6.0, 0.0009, "yes", "same-day call"),
        (12.99, 1e-9, "yes", "same-day call"),
        (13.0, 1e-9, "yes", "keep out, engineer now"),
        (5.99, 1e-9, "no", "none"),
        (6.0, 0.001, "no", "none"),
        (20.0, 0.2, "no", "none"),
        (-20.0, 1.0, "no", "none"),
        (None, None, "undecided", "none"),
        (8.0, None, "undecided", "none"),
        (None, 0.0001, "undecided", "none"),
    ],
)
def test_a_jump_needs_both_its_size_and_what_cannot_explain_it(
    jump_mm: float | None, jump_p: float | None, outcome: str, urgency: str
) -> None:
    got = of("jump since the last visit", jump_mm=jump_mm, jump_p=jump_p)
    assert (got["outcome"], got["urgency"]) == (outcome, urgency)


@pytest.mark.parametrize("sign", ["lip", "crushed block", "joists off bearing", "cracking noise", "gushing water"])
@pytest.mark.parametrize("state", ["used", "held", "rejected", "could-not-read"])
def test_a_grave_sign_clears_the_area_whatever_became_of_its_reading(sign: str, state: str) -> None:
    got = of("seen by the technician", [reading(), reading(mark="M2", state=state, seen=f"standing water; {sign}")])
    assert (got["outcome"], got["urgency"]) == ("yes", "keep out, engineer now")
    assert sign in got["reason"]
    assert "2026-04-12" in got["reason"]


def test_a_new_crack_asks_for_an_engineer_within_a_week() -> None:
    got = of("seen by the technician", [reading(seen="new crack")])
    assert (got["outcome"], got["urgency"]) == ("yes", "engineer within a week")


def test_standing_water_alone_is_no_finding() -> None:
    got = of("seen by the technician", [reading(seen="standing water")])
    assert (got["outcome"], got["urgency"]) == ("no", "none")
    assert "standing water alone is noted" in got["reason"]


def test_only_the_latest_visit_s_signs_count() -> None:
    got = of("seen by the technician", [reading(visit_date=EARLIER, seen="lip"), reading()])
    assert got["outcome"] == "no"


def test_a_visit_of_which_every_reading_was_rejected_is_still_the_latest() -> None:
    rows = [reading(visit_date=EARLIER), reading(state="rejected", seen="cracking noise")]
    assert of("seen by the technician", rows)["urgency"] == "keep out, engineer now"


@pytest.mark.parametrize("wrong", [date(2062, 4, 12), None])
def test_a_sign_on_a_row_with_an_impossible_date_counts_until_the_row_is_mended(wrong: date | None) -> None:
    bad = reading(visit_date=wrong, state="rejected", seen="lip", reading_id="bad")
    got = of("seen by the technician", [reading(), bad])
    assert got["outcome"] == "yes"
    assert got["reason"].startswith(
        "The technician wrote down at the visit of 2026-04-12 or on a row without a valid date: lip"
    )
    mended = reading(visit_date=EARLIER, seen="lip", reading_id="good", mends="bad")
    assert of("seen by the technician", [reading(), bad, mended])["outcome"] == "no"


def test_a_row_with_a_date_to_come_does_not_hide_the_latest_visit() -> None:
    rows = [reading(seen="lip"), reading(visit_date=date(2062, 1, 1), state="rejected")]
    assert of("seen by the technician", rows)["outcome"] == "yes"


def test_a_word_that_is_no_known_sign_is_asked_about() -> None:
    got = of("seen by the technician", [reading(seen="bulging badly")])
    assert (got["outcome"], got["urgency"]) == ("undecided", "confirming visit")
    assert "bulging badly" in got["reason"]


def test_a_wall_without_any_current_period_still_tells_what_was_seen_and_held() -> None:
    rows = [reading(wall="S", state="held", seen="lip")]
    _, findings = judged(wall_row(), readings=rows, walls=[register(), register(wall="S")])
    of_s = [row for row in findings if row["wall"] == "S"]
    assert [row["rule"] for row in of_s] == [str(rule) for rule in Rule]
    assert finding("seen by the technician", of_s)["urgency"] == "keep out, engineer now"
    assert finding("readings held", of_s)["outcome"] == "yes"
    due = finding("visit overdue", of_s)  # a lip calls for a visit on the day it was found
    assert due["outcome"] == "no"
    told = ["seen by the technician", "readings held", "visit overdue"]
    assert {row["outcome"] for row in of_s if row["rule"] not in told} == {"undecided"}


@pytest.mark.parametrize(
    ("lower", "upper", "outcome", "urgency"),
    [
        (6.36, 9.0, "yes", "engineer within a week"),
        (6.35, 9.0, "undecided", "none"),
        (1.0, 6.35, "undecided", "none"),
        (1.0, 6.34, "no", "none"),
        (None, None, "undecided", "none"),
    ],
)
def test_a_fast_rate_is_one_whose_lower_bound_is_above_a_quarter_inch_a_year(
    lower: float | None, upper: float | None, outcome: str, urgency: str
) -> None:
    got = of("rate for an engineer", rate_lower=lower, rate_upper=upper)
    assert (got["outcome"], got["urgency"]) == (outcome, urgency)
    assert "1/4 inch a year" in got["reason"]


def test_an_overdue_visit_says_since_when_nothing_is_known() -> None:
    got = of("visit overdue", due_on=date(2026, 3, 1), overdue_days=31, last_visit=date(2025, 9, 1))
    assert (got["outcome"], got["urgency"], got["value"]) == ("yes", "confirming visit", 31.0)
    assert got["reason"] == (
        "The visit due on 2026-03-01 is 31 days past its grace of 30 days, and nothing is known of the time "
        "since 2025-09-01."
    )
    assert of("visit overdue")["outcome"] == "no"
    assert of("visit overdue", due_on=None)["outcome"] == "undecided"


@pytest.mark.parametrize(
    ("held_mm", "urgency", "said"),
    [
        (35.99, "decision this month", "Release, reject or correct"),
        (36.0, "confirming visit", "within 2 working days"),
        (42.99, "confirming visit", "within 2 working days"),
        (43.0, "same-day call", "today"),
        (-10.0, "decision this month", "Release, reject or correct"),
    ],
)
def test_a_held_reading_far_inward_of_its_mark_s_last_value_is_confirmed_soon(
    held_mm: float, urgency: str, said: str
) -> None:
    rows = [reading(visit_date=EARLIER), reading(state="held", deflection_mm=held_mm)]
    got = of("readings held", rows, readings_held=1)
    assert (got["outcome"], got["urgency"]) == ("yes", urgency)
    assert said in got["next_step"]


def test_the_furthest_inward_of_several_held_readings_leads() -> None:
    rows = [reading(visit_date=EARLIER), reading(visit_date=EARLIER, mark="M2", deflection_mm=20.0)]
    rows += [reading(state="held", deflection_mm=37.0), reading(state="held", mark="M2", deflection_mm=35.9)]
    got = of("readings held", rows)
    assert got["value"] == pytest.approx(15.9)
    assert got["reason"] == (
        "2 readings are held and not used; mark M2 of 2026-04-12, if it is right, lies 5/8 in (15.9 mm) inward of its "
        "last value."
    )


def test_a_held_reading_is_compared_with_the_latest_used_value_before_it_and_with_the_mean_of_its_set_ups() -> None:
    rows = [reading(visit_date=date(2024, 4, 10), deflection_mm=10.0)]
    rows += [reading(visit_date=EARLIER, deflection_mm=29.0), reading(visit_date=EARLIER, deflection_mm=31.0, setup=2)]
    assert of("readings held", [*rows, reading(state="held", deflection_mm=37.0)])["value"] == pytest.approx(7.0)


def test_a_mark_that_was_read_again_later_is_no_longer_urgent() -> None:
    rows = [
        reading(visit_date=date(2024, 4, 10)),
        reading(visit_date=EARLIER, state="held", deflection_mm=50.0),
        reading(),
    ]
    got = of("readings held", rows)
    assert (got["outcome"], got["urgency"], got["value"]) == ("yes", "decision this month", 1.0)


def test_another_set_up_of_the_same_day_does_not_settle_a_held_reading() -> None:
    rows = [
        reading(visit_date=EARLIER),
        reading(setup=2, deflection_mm=30.5),
        reading(state="held", deflection_mm=50.0),
    ]
    got = of("readings held", rows)
    assert (got["urgency"], got["value"]) == ("same-day call", 20.0)


@pytest.mark.parametrize("deflection_mm", [None, 50.0])
def test_a_held_reading_with_nothing_to_compare_it_with_is_said_to_have_none(deflection_mm: float | None) -> None:
    earlier = [reading(visit_date=EARLIER)] if deflection_mm is None else [reading(visit_date=EARLIER, method="laser")]
    got = of("readings held", [*earlier, reading(state="held", deflection_mm=deflection_mm)])
    assert "1 of them with no value of the same mark to compare with" in got["reason"]
    assert got["outcome"] == "yes"


@pytest.mark.parametrize(("held_mm", "urgency"), [(85.0, "decision this month"), (94.0, "same-day call")])
def test_a_laser_that_stands_elsewhere_is_compared_after_its_set_up_s_own_shift(held_mm: float, urgency: str) -> None:
    """All other marks read 50 mm more than last time: the plane stands 50 mm off, so 94 is 14 mm in of 30."""
    rows = [reading(visit_date=EARLIER, method="laser", mark=m, deflection_mm=30.0) for m in ("M1", "M3", "M5")]
    rows += [reading(method="laser", mark=m, deflection_mm=80.0) for m in ("M1", "M5")]
    got = of("readings held", [*rows, reading(method="laser", state="held", deflection_mm=held_mm)])
    assert got["urgency"] == urgency
    alone = [*rows[:3], reading(method="laser", state="held", deflection_mm=held_mm)]
    assert "no value of the same mark" in of("readings held", alone)["reason"]


def test_no_held_reading_is_a_plain_no() -> None:
    assert of("readings held")["outcome"] == "no"


def every_sentence() -> list[str]:
    """All reasons and steps that a grid of walls calls forth."""
    grid = itertools.product(
        [MOVING, HOLDING, {}, {"rate_upper": None, "visits": 1}, {"visits": 0}],
        [{"total_mm": mm} for mm in (None, 10.0, 55.0, 90.0)],
        [{"jump_mm": mm, "jump_p": p} for mm, p in ((None, None), (3.0, 0.5), (8.0, 0.5), (8.0, 1e-6), (20.0, 1e-6))],
        [{"overdue_days": 0}, {"overdue_days": 9, "readings_held": 2}],
    )
    rows = [wall_row(wall=f"W{i}", **a | b | c | d) for i, (a, b, c, d) in enumerate(grid)]
    seen = ["", "lip", "new crack", "standing water", "rubble"]
    readings = [
        reading(wall=row["wall"], state=("used", "held")[i % 2], seen=seen[i % 5], deflection_mm=50.0)
        for i, row in enumerate(rows)
    ] + [reading(wall=row["wall"], visit_date=EARLIER, deflection_mm=20.0 + 10 * (i % 3)) for i, row in enumerate(rows)]
    walls = [register(wall=row["wall"], unit=("in", "mm")[i % 2]) for i, row in enumerate(rows)]
    completed, findings = judged(*rows, marks=[mark_row(4.0, wall="W3")], readings=readings, walls=walls)
    told = [(row["reason"], row["missing"]) for row in completed]
    return [*itertools.chain(*told), *itertools.chain(*((row["reason"], row["next_step"]) for row in findings))]


def test_no_sentence_uses_a_word_that_promises_what_measuring_cannot() -> None:
    sentences = every_sentence()
    assert len(set(sentences)) > 50
    for sentence in set(sentences):
        assert not set(sentence.lower().replace(",", " ").replace(".", " ").split()) & set(FORBIDDEN), sentence
        assert "not significant" not in sentence


def test_every_sentence_is_one_and_ends_with_a_full_stop() -> None:
    for sentence in set(every_sentence()) - {""}:
        assert sentence.endswith("."), sentence
        assert sentence[0].isupper() or sentence[0].isdigit(), sentence
        assert ". " not in sentence, sentence
        assert "None" not in sentence, sentence
        assert "nan" not in sentence, sentence


def test_every_finding_is_of_a_closed_set_and_an_urgent_one_names_a_next_step() -> None:
    _, findings = judged(wall_row(**MOVING, total_mm=90.0, jump_mm=20.0, jump_p=1e-6), readings=[reading(seen="lip")])
    assert {row["urgency"] for row in findings} <= {str(urgency) for urgency in Urgency}
    urgent = [row for row in findings if row["urgency"] != "none"]
    assert len(urgent) == 4
    assert all(row["next_step"] for row in urgent)


def test_another_wall_s_readings_change_no_finding() -> None:
    _, alone = judged(wall_row(), readings=[reading()])
    other = [reading(wall="S", seen="lip"), reading(wall="S", state="held", deflection_mm=99.0)]
    _, both = judged(wall_row(), readings=[reading(), *other])
    assert alone == both


def test_rules_of_the_company_move_the_limits() -> None:
    rules = structs.replace(RULES, jump_mm=4.0, engineer_mm_per_year=3.0)
    _, findings = judged(wall_row(**MOVING, jump_mm=4.5, jump_p=1e-5), rules=rules, readings=[reading()])
    assert finding("jump since the last visit", findings)["outcome"] == "yes"
    assert finding("rate for an engineer", findings)["outcome"] == "yes"
