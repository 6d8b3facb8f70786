"""The demo's right answers, wall by wall, from the raw files through the whole line."""

import csv
import re

import pytest

from monitor.demo.run import Done
from monitor.demo.scenario import STORIES
from monitor.report import names
from monitor.report.context import Row
from monitor.terms import Movement, Outcome, Rule, State, Verdict

pytestmark = pytest.mark.xdist_group("demo")

TOLERABLE_MM_PER_YEAR = 25.4 / 16
"""Common practice, no source: the rate after straps that a company tolerates, 1/16 inch a year."""


def key(wall: str) -> tuple[str, str]:
    house, _, name = wall.rpartition("-")
    return house, name


def result(demo: Done, wall: str, period: int | None = None) -> Row:
    rows = [row for row in demo.assessment.wall_results.to_pylist() if (row["house"], row["wall"]) == key(wall)]
    return next(row for row in rows if (row["is_current"] if period is None else row["period"] == period))


def alarms(demo: Done, wall: str) -> set[str]:
    return {
        row["rule"]
        for row in demo.assessment.findings.to_pylist()
        if (row["house"], row["wall"]) == key(wall) and row["outcome"] == Outcome.YES
    }


def held(demo: Done, wall: str) -> list[Row]:
    rows = demo.store.readings(walls=[key(wall)]).to_pylist()
    return [row for row in rows if row["state"] == State.HELD]


def repair(demo: Done, wall: str) -> Row:
    rows = [row for row in demo.assessment.repairs.to_pylist() if (row["house"], row["wall"]) == key(wall)]
    [only] = rows
    return only


def test_a_wall_that_moved_before_its_straps_shows_no_movement_after_them(demo: Done) -> None:
    before, after = result(demo, "DH-01-N", 0), result(demo, "DH-01-N")
    assert before["rate_lower"] < 5.0 < before["rate_upper"]
    assert after["verdict"] == Verdict.HOLDING
    assert after["rate_upper"] < TOLERABLE_MM_PER_YEAR


def test_what_the_straps_did_is_told_apart_from_pull_back_and_take_up(demo: Done) -> None:
    """M3: 5 mm/yr before, still after; pulled back 1.5 mm at once, then 1.0 mm of take-up over 122 days."""
    found = repair(demo, "DH-01-N")
    assert found["mark"] == "M3"
    assert found["difference_lower"] < -5.0 < found["difference_upper"] < 0
    assert found["step_kind"] == "pull-back"
    assert found["step_lower"] < -1.5 < found["step_upper"]
    assert found["take_up_lower"] < 1.0 * 90 / 122 < found["take_up_upper"]
    assert found["reason"].startswith("Mark M3 moves in 0.16 inch a year slower since the work of 2024-04-10 ")
    assert found["warning"] == ""


def test_a_base_that_slides_is_not_holding_and_the_movement_is_named(demo: Done) -> None:
    found = result(demo, "DH-02-E")
    assert found["verdict"] != Verdict.HOLDING
    assert found["largest_movement"] == Movement.SLIDE
    assert found["slide_lower"] < 3.3137 < found["slide_upper"]


def test_a_top_that_tips_is_not_holding_and_the_movement_is_named(demo: Done) -> None:
    found = result(demo, "DH-03-S")
    assert found["verdict"] != Verdict.HOLDING
    assert found["largest_movement"] == Movement.TIP
    assert found["tip_lower"] < 5.0735 < found["tip_upper"]


def test_a_wall_that_comes_and_goes_with_the_season_is_not_flagged(demo: Done) -> None:
    found = result(demo, "DH-04-W")
    assert found["verdict"] not in (Verdict.MOVING, Verdict.LOOK_AGAIN)
    assert alarms(demo, "DH-04-W") <= {Rule.HELD}
    assert found["season_mm"] > 1.5


def test_a_step_of_the_surface_at_the_straps_is_not_called_movement(demo: Done) -> None:
    found = result(demo, "DH-05-N")
    assert found["verdict"] == Verdict.HOLDING
    assert found["rate_lower"] < 0.2 < found["rate_upper"]


def test_the_step_of_the_surface_stands_apart_from_the_slower_rate(demo: Done) -> None:
    """M3: 2 mm/yr before, 0.2 after; a strap over column 3 brought its surface 2.5 mm in."""
    found = repair(demo, "DH-05-N")
    assert found["mark"] == "M3"
    assert found["difference_lower"] < -1.8 < found["difference_upper"] < 0
    assert found["step_kind"] == "surface step and pull-back together"
    assert found["step_lower"] < 2.5 < found["step_upper"]


def test_a_change_of_method_keeps_one_rate_and_a_day_of_both_narrows_it(demo: Done) -> None:
    errors = {
        wall: next(
            row["rate_se"]
            for row in demo.assessment.mark_results.to_pylist()
            if (row["house"], row["wall"]) == key(wall) and row["mark"] == "M3"
        )
        for wall in ("DH-07-N", "DH-07-S")
    }
    assert errors["DH-07-S"] < 0.75 * errors["DH-07-N"]
    assert Verdict.MOVING not in {result(demo, wall)["verdict"] for wall in errors}


def test_a_lost_mark_and_its_heir_make_no_false_movement(demo: Done) -> None:
    assert result(demo, "DH-08-W")["verdict"] not in (Verdict.MOVING, Verdict.LOOK_AGAIN)
    marks = {row["mark"] for row in demo.store.readings(walls=[key("DH-08-W")]).to_pylist() if row["state"] == "used"}
    assert {"M3", "M3b"} <= marks


def test_a_wall_nobody_went_back_to_is_overdue_and_not_called_moving(demo: Done) -> None:
    found = result(demo, "DH-09-E")
    assert found["verdict"] == Verdict.LOOK_AGAIN
    assert Rule.OVERDUE in alarms(demo, "DH-09-E")
    assert found["overdue_days"] == max(row["overdue_days"] for row in demo.assessment.wall_results.to_pylist()) > 0


def test_inches_under_a_millimetre_header_are_held_with_the_factor_named(demo: Done) -> None:
    rows = held(demo, "DH-10-N")
    assert len(rows) == 5
    assert all("25.4" in row["reason"] for row in rows)
    assert result(demo, "DH-10-N")["verdict"] not in (Verdict.MOVING, Verdict.LOOK_AGAIN)


def test_a_meter_pressed_past_its_plate_raises_no_flag(demo: Done) -> None:
    assert alarms(demo, "DH-10-S") == set()


def test_the_technician_who_presses_it_is_told_of_on_that_wall_alone_by_role(demo: Done) -> None:
    """T3 reads 2 mm further in; the other wall by meter was read by T3 once only."""
    notes = {
        f"{row['house']}-{row['wall']}": row["technician_note"] for row in demo.assessment.wall_results.to_pylist()
    }
    said = notes.pop("DH-10-S")
    found = re.match(
        r"One technician's \d set-ups by distance meter stand (\d\.\d) mm further in than the others'", said
    )
    assert found is not None
    assert abs(float(found.group(1)) - 2.0) < 1.0
    assert "T3" not in said
    assert set(notes.values()) == {""}


def test_two_visits_that_look_like_eight_millimetres_a_year_are_too_early(demo: Done) -> None:
    found = result(demo, "DH-12-E")
    assert found["visits"] == 2
    assert found["rate_mm_per_year"] > 6
    assert found["verdict"] == Verdict.TOO_EARLY


def test_a_step_in_a_wet_frost_is_a_call_of_the_same_day_though_the_fitted_rate_is_modest(demo: Done) -> None:
    found = result(demo, "DH-12-S")
    assert Rule.JUMP in alarms(demo, "DH-12-S")
    assert Rule.FAST not in alarms(demo, "DH-12-S")
    assert found["rate_mm_per_year"] < 25.4 / 4


@pytest.mark.parametrize(("wall", "mate"), [("DH-11-N", "DH-11-S"), ("DH-11-S", "DH-11-N")])
def test_two_walls_exchanged_are_both_held_and_the_exchange_named(demo: Done, wall: str, mate: str) -> None:
    rows = [row for row in held(demo, wall) if row["reason_code"] == "swapped"]
    assert {str(row["visit_date"]) for row in rows} == {"2025-04-11"}
    assert sorted(row["mark"] for row in rows) == ["M1", "M2", "M3", "M4", "M5"]
    assert all(f"{wall}'s readings fit {mate} and the reverse" in row["reason"] for row in rows)
    assert result(demo, wall)["verdict"] not in (Verdict.MOVING, Verdict.LOOK_AGAIN)
    if wall == "DH-11-S":
        assert any("Same day: call the office" in row["reason"] for row in rows)
    assert result(demo, "DH-11-N")["rate_lower"] < 1.0 < result(demo, "DH-11-N")["rate_upper"]


def test_columns_read_from_the_right_are_held_and_the_mirror_image_named(demo: Done) -> None:
    rows = held(demo, "DH-13-W")
    assert {(str(row["visit_date"]), row["method"], row["reason_code"]) for row in rows} == {
        ("2024-10-18", "string", "mirrored")
    }
    assert all("the mirror image of what was expected fits better" in row["reason"] for row in rows)


def test_a_corner_that_tips_in_is_noted_and_asks_for_another_look(demo: Done) -> None:
    """Bow 2 mm/yr by string; the left end comes in 1.7 at mid-height against its base, so M3 moves about 0.8 more."""
    found = result(demo, "DH-13-W")
    assert found["verdict"] == Verdict.LOOK_AGAIN
    assert found["ends_note"].startswith("The left end is not still: its plumb line shows T1 moving 0.10 inch a year")
    assert "tells the rate of mark M3 about 0.03 inch a year too low" in found["ends_note"]
    assert "The right end" not in found["ends_note"]
    assert "its left end is not still" in found["reason"]
    noted = [row for row in demo.assessment.wall_results.to_pylist() if row["ends_note"]]
    assert {(row["house"], row["wall"]) for row in noted} == {key("DH-13-W")}


def test_a_range_of_days_for_the_limit_is_given_only_where_the_rate_is_shown_to_be_inward(demo: Done) -> None:
    for row in demo.assessment.wall_results.to_pylist():
        shown = row["is_current"] and row["rate_lower"] is not None and row["rate_lower"] > 0
        assert row["limit_to"] is None or (shown and row["limit_from"] < row["limit_to"])
    found = result(demo, "DH-12-S")
    assert (found["limit_from"].year, found["limit_to"].year) == (2028, 2032)  # 14.7 mm at 6.0 to 2.3 mm/yr


def test_a_misread_fraction_is_held_with_the_slip_named_and_the_wall_is_quiet(demo: Done) -> None:
    [row] = held(demo, "DH-06-E")
    assert row["reason"].startswith("K4 '2 13/16': M3 is 5/8 in off; 2 3/16 would fit. Re-read or confirm.")
    assert result(demo, "DH-06-E")["verdict"] not in (Verdict.MOVING, Verdict.LOOK_AGAIN)


def test_a_control_wall_shows_no_movement_until_it_is_covered(demo: Done) -> None:
    found = result(demo, "DH-13-N")
    assert found["rate_upper"] < TOLERABLE_MM_PER_YEAR
    rows = demo.store.readings(walls=[key("DH-13-N")]).to_pylist()
    assert any(row["state"] == State.COULD_NOT_READ and row["not_read"] == "covered" for row in rows)


def test_straightening_shows_in_the_total_and_is_neither_error_nor_inward_movement(demo: Done) -> None:
    found = result(demo, "DH-13-E")
    assert found["total_mm"] == pytest.approx(26, abs=3)  # 38 mm at zero, 12 mm taken back
    assert alarms(demo, "DH-13-E") == set()
    assert found["verdict"] not in (Verdict.MOVING, Verdict.LOOK_AGAIN)


def test_the_list_shows_a_call_that_was_made_and_a_wall_that_left_it_with_why(demo: Done) -> None:
    with (demo.index.parent / names.MONTHLY_CSV).open(encoding="utf-8-sig", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert {row["wall"]: row["homeowner"] for row in rows if row["homeowner"]} == {
        "DH-12-S": "homeowner told on 2026-05-01 by O1"
    }
    [gone] = [row for row in rows if row["list"] == "closed"]
    assert gone["wall"] == "DH-04-W"
    assert "1 reading ruled on by O1: reject (T4: the paper is gone, and nobody knows" in gone["reason"]


def test_every_wall_of_the_scenario_is_tested_above() -> None:
    tested = "DH-01-N DH-02-E DH-03-S DH-04-W DH-05-N DH-07-N DH-07-S DH-08-W DH-09-E DH-10-N DH-10-S DH-12-E DH-12-S"
    assert set(tested.split()) | {"DH-06-E", "DH-11-N", "DH-11-S", "DH-13-N", "DH-13-E", "DH-13-W"} == {
        f"{story.house}-{story.wall}" for story in STORIES
    }
