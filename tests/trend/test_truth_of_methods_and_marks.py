"""Simulated walls of known truth: rates' bounds hold through changes of method, lost marks, free ends and covers."""

from collections.abc import Sequence

import pytest
from true_walls import NINE, ROW, Plan, Story, check, only

from monitor.simulate import Amount, Spot
from monitor.terms import End, Method

STRING, LASER, PLUMB, METER = Method.STRING, Method.LASER, Method.PLUMB, Method.METER
MONTHS = (0, 5, 11, 18, 23, 30)


def plans(*methods: Method, months: Sequence[float] = MONTHS) -> list[Plan]:
    return [Plan(month, methods or (STRING,)) for month in months]


def test_a_change_of_method_keeps_one_rate_and_a_day_of_both_sharpens_it() -> None:
    change = [{"event_date": "2020-09-10", "kind": "method change", "method": "laser"}]
    before, after = plans(months=MONTHS[:3]), plans(LASER, months=MONTHS[3:])
    alone = check(Story([*before, *after], events=change), LASER, 11)
    both = Plan(MONTHS[3], (STRING, LASER))
    together = check(Story([*before, both, *after[1:]], events=change), LASER, 12)
    assert together < 0.9 * alone


def test_a_lost_mark_and_its_heir_hold_each_at_its_own_level() -> None:
    heir = Spot("M3b", 4550.0, 1220.0, "M", "3b", proud_mm=3.0)
    old, new = [spot.mark for spot in ROW], ["M1", "M2", "M3b", "M4", "M5"]
    visits = [only(plan, old if plan.months < 12 else new) for plan in plans()]
    lost = [{"event_date": "2020-03-11", "kind": "lost mark", "marks": "M3", "new_mark": "M3b"}]
    check(Story(visits, spots=[*ROW, heir], events=lost), STRING, 13)


def test_a_mark_set_again_on_the_spot_under_its_old_name_starts_a_level_of_its_own() -> None:
    step = {"event_date": "2020-03-11", "kind": "lost mark", "marks": "M3"}
    check(Story(plans(), events=[step], reset={"M3": (12, 8.0)}), STRING, 14)


@pytest.mark.parametrize("method", [STRING, METER])
def test_a_partial_wall_with_one_free_end(method: Method) -> None:
    check(Story(plans(method), (Amount(bow=3.0),), right=End.FREE), method, 20)


def test_a_covered_wall_read_through_a_hatch() -> None:
    visits = [plan if plan.months < 12 else only(plan, ["M3"]) for plan in plans()]
    check(Story(visits), STRING, 21)


def test_a_covered_wall_of_three_columns_read_through_a_hatch_at_one() -> None:
    visits = [plan if plan.months < 12 else only(plan, ["B2", "M2", "T2"]) for plan in plans(PLUMB)]
    check(Story(visits, (Amount(bow=2.0, tip=1.0),), spots=NINE), PLUMB, 22)
