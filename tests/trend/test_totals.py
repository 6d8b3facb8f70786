"""Total inward deflection by each method's own reference; every expected number is worked by hand."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import pyarrow as pa
import pytest
from result_rows import table

from monitor.config import Rules
from monitor.trend.totals import first_visits, totals

RULES = Rules()
ZERO, LATER = date(2024, 4, 10), date(2024, 10, 12)
X = {"M1": 0.0, "M2": 60 * 25.4, "M3": 120 * 25.4, "M4": 180 * 25.4, "M5": 240 * 25.4}


def wall(**given: Any) -> pa.Table:
    return table("walls", [{"house": "DH-01", "wall": "N", "length_mm": 240 * 25.4, "thickness_mm": 203.0} | given])


def marks(places: dict[str, tuple[float, float]], **given: Any) -> pa.Table:
    return table(
        "marks",
        [{"house": "DH-01", "wall": "N", "mark": m, "x_mm": x, "z_mm": z} | given for m, (x, z) in places.items()],
    )


ROW = marks({m: (x, 1220.0) for m, x in X.items()})


def read(
    method: str, values: dict[str, float], *, day: date = LATER, setup: int = 1, **given: Any
) -> list[dict[str, Any]]:
    shared = {
        "house": "DH-01",
        "wall": "N",
        "visit_date": day,
        "method": method,
        "setup": setup,
        "state": "used",
    } | given
    return [shared | {"mark": mark, "deflection_mm": mm} for mark, mm in values.items()]


def total(rows: Sequence[dict[str, Any]], marks_: pa.Table = ROW, walls: pa.Table | None = None) -> dict[str, Any]:
    (out,) = totals(table("readings", rows), wall() if walls is None else walls, marks_, RULES).to_pylist()
    return out


def test_a_string_line_of_equal_blocks_reads_the_total_to_its_ends() -> None:
    """Published identity: 2 in blocks, gaps 2, 1 11/16, 1 3/8, 1 3/4, 2 give 0, 5/16, 5/8, 1/4, 0 in."""
    gaps = {"M1": 2, "M2": 1 + 11 / 16, "M3": 1 + 3 / 8, "M4": 1 + 3 / 4, "M5": 2}
    got = total(read("string", {m: 25.4 * (2 - g) for m, g in gaps.items()}))
    assert got["total_mm"] == pytest.approx(15.875)
    assert got["total_mark"] == "M3"


def test_a_string_line_of_unequal_blocks_is_levelled_by_its_end_marks() -> None:
    """Published identity: blocks 2 and 1 1/2 in, gaps 1 1/2, 1 1/4, 1 3/8 give 3/8, 1/2, 1/4 in (2 in for both)."""
    gaps = {"M1": 2, "M2": 1 + 1 / 2, "M3": 1 + 1 / 4, "M4": 1 + 3 / 8, "M5": 1 + 1 / 2}
    got = total(read("string", {m: 25.4 * (2 - g) for m, g in gaps.items()}))
    assert got["total_mm"] == pytest.approx(12.7)


def test_an_end_that_was_not_read_stands_at_the_string_s_stand_off() -> None:
    assert total(read("string", {"M2": 20.0, "M3": 30.0}))["total_mm"] == 30.0
    one_end = total(read("string", {"M1": 4.0, "M3": 30.0}))
    assert one_end["total_mm"] == pytest.approx(28.0)


def test_each_row_of_one_string_set_up_has_its_own_ends() -> None:
    two_rows = marks({"T1": (0.0, 2130.0), "T3": (3048.0, 2130.0), "M3": (3048.0, 1220.0)})
    got = total(read("string", {"T1": -20.0, "T3": 5.0, "M3": 14.0}), two_rows)
    assert (got["total_mm"], got["total_mark"]) == (pytest.approx(15.0), "T3")


def test_set_ups_of_one_visit_are_averaged() -> None:
    rows = read("string", {"M2": 20.0, "M3": 30.0}) + read("string", {"M2": 29.0, "M3": 32.0}, setup=2)
    assert total(rows)["total_mm"] == pytest.approx(31.0)


def test_a_laser_plane_with_offset_and_yaw_reads_the_total_to_its_end_marks() -> None:
    true = {"M1": 0.0, "M2": 20.0, "M3": 31.0, "M4": 18.0, "M5": 0.0}
    got = total(read("laser", {m: mm + 40.0 - 0.003 * X[m] for m, mm in true.items()}))
    assert (got["total_mm"], got["total_mark"]) == (pytest.approx(31.0), "M3")


@pytest.mark.parametrize("read_ends", [{}, {"M1": 40.0}, {"M5": 40.0}])
def test_a_laser_plane_without_both_end_marks_knows_no_total(read_ends: dict[str, float]) -> None:
    got = total(read("laser", {"M2": 60.0, "M3": 71.0} | read_ends))
    assert got["total_mm"] is None
    assert got["total_mark"] == ""


def test_each_row_of_a_laser_set_up_is_read_to_its_own_ends_where_they_were_read() -> None:
    """A wall whose top has come in 20 mm as a whole: its top row bows 6 mm, its middle row 9 mm."""
    two_rows = marks({f"{r}{i}": (3048.0 * (i - 1), z) for r, z in (("T", 2130.0), ("M", 1220.0)) for i in (1, 2, 3)})
    rows = read("laser", {"T1": 20.0, "T2": 26.0, "T3": 20.0, "M1": 10.0, "M2": 19.0, "M3": 10.0})
    got = total(rows, two_rows)
    assert (got["total_mm"], got["total_mark"]) == (pytest.approx(9.0), "M2")


def test_a_laser_row_without_ends_takes_those_of_its_set_up() -> None:
    two_rows = marks({"M1": (0.0, 1220.0), "M5": (6096.0, 1220.0), "T3": (3048.0, 2130.0)})
    assert total(read("laser", {"M1": 10.0, "M5": 20.0, "T3": 50.0}), two_rows)["total_mm"] == pytest.approx(35.0)
    other_setup = read("laser", {"M1": 10.0, "M5": 20.0}) + read("laser", {"T3": 50.0}, setup=2)
    assert total(other_setup, two_rows)["total_mm"] is None


COLUMN = marks({"B3": (3048.0, 200.0), "M3": (3048.0, 1220.0), "T3": (3048.0, 2130.0)})


def test_a_plumb_line_reads_the_total_to_the_lowest_mark_of_its_column() -> None:
    """Published identity: readings 10, 22, 14 mm from the bottom up: middle 12 over the base, top 4 (the lean)."""
    got = total(read("plumb", {"B3": 10.0, "M3": 22.0, "T3": 14.0}), COLUMN)
    assert (got["total_mm"], got["total_mark"]) == (pytest.approx(12.0), "M3")


def test_a_plumb_line_whose_lowest_mark_was_not_read_knows_no_total() -> None:
    assert total(read("plumb", {"M3": 22.0, "T3": 14.0}), COLUMN)["total_mm"] is None


def test_a_lowest_mark_given_up_before_the_visit_leaves_its_place_to_the_next() -> None:
    rows = COLUMN.to_pylist()
    gone = table("marks", [row | {"retired_on": ZERO if row["mark"] == "B3" else None} for row in rows])
    assert total(read("plumb", {"M3": 22.0, "T3": 34.0}), gone)["total_mm"] == pytest.approx(12.0)


def test_columns_of_one_plumb_set_up_do_not_share_their_base() -> None:
    two = marks({"B2": (1000.0, 200.0), "M2": (1000.0, 1220.0), "B3": (2000.0, 200.0), "M3": (2000.0, 1220.0)})
    got = total(read("plumb", {"B2": 100.0, "M2": 105.0, "B3": 0.0, "M3": 9.0}), two)
    assert (got["total_mm"], got["total_mark"]) == (pytest.approx(9.0), "M3")


def test_a_distance_meter_adds_its_change_to_the_zero_total() -> None:
    rows = read("meter", {"M3": -2500.0, "M2": -2510.0}, day=ZERO) + read("meter", {"M3": -2493.0, "M2": -2507.0})
    got = total(rows, walls=wall(zero_total_mm=23.0))
    assert (got["total_mm"], got["total_mark"], got["zero_total_mm"]) == (pytest.approx(30.0), "M3", 23.0)


def test_a_distance_meter_without_a_zero_total_knows_no_total() -> None:
    rows = read("meter", {"M3": -2500.0}, day=ZERO) + read("meter", {"M3": -2493.0})
    assert total(rows)["total_mm"] is None


def test_a_mark_that_the_meter_did_not_read_at_the_zero_knows_no_total() -> None:
    rows = read("string", {"M3": 20.0}, day=ZERO) + read("meter", {"M3": -2500.0}, day=date(2024, 6, 1))
    rows += read("meter", {"M3": -2493.0})
    assert total(rows, walls=wall(zero_total_mm=23.0))["total_mm"] is None


@pytest.mark.parametrize(
    ("changed_on", "kind", "known"),
    [
        (date(2024, 6, 1), "reference change", False),
        (date(2023, 6, 1), "reference change", True),
        (date(2025, 6, 1), "reference change", True),
        (date(2024, 6, 1), "drainage", True),
    ],
)
def test_a_changed_reference_breaks_the_change_since_zero(changed_on: date, kind: str, known: bool) -> None:
    """A base plate put 60 mm further off would else read as 60 mm of movement."""
    rows = read("meter", {"M3": -2500.0}, day=ZERO) + read("meter", {"M3": -2440.0})
    events = table("events", [{"house": "DH-01", "wall": "N", "event_date": changed_on, "kind": kind}])
    out = totals(table("readings", rows), wall(zero_total_mm=23.0), ROW, RULES, events)
    assert (out["total_mm"][0].as_py() is not None) is known


def test_of_several_methods_at_one_visit_the_largest_known_total_stands() -> None:
    rows = read("string", {"M3": 30.0}) + read("laser", {"M3": 90.0}) + read("plumb", {"M3": 50.0})
    assert total(rows)["total_mm"] == 30.0


def test_only_the_latest_visit_and_after_the_day_s_work_counts() -> None:
    rows = read("string", {"M3": 44.0}, day=ZERO)
    assert total(rows + read("string", {"M3": 30.0}))["total_mm"] == 30.0
    day = read("string", {"M3": 38.0}, part="before") + read("string", {"M3": 26.0}, part="after")
    assert total(rows + day)["total_mm"] == 26.0


@pytest.mark.parametrize("state", ["held", "rejected", "could-not-read"])
def test_readings_that_are_not_used_make_no_total(state: str) -> None:
    assert total(read("string", {"M3": 60.0}, state=state))["total_mm"] is None


def test_a_wall_moved_back_behind_its_line_has_a_negative_total() -> None:
    assert total(read("string", {"M3": -4.0}))["total_mm"] == -4.0


def test_a_wall_s_own_limit_goes_before_the_company_s_and_every_wall_has_a_row() -> None:
    both = pa.concat_tables([wall(limit_mm=38.1), wall(wall="S")])
    out = totals(table("readings", []), both, ROW, RULES)
    assert out["wall"].to_pylist() == ["N", "S"]
    assert out["total_limit_mm"].to_pylist() == [38.1, 50.8]
    assert out["total_mm"].null_count == 2


def test_another_wall_s_readings_change_nothing() -> None:
    both = pa.concat_tables([wall(), wall(wall="S")])
    other = marks({m: (x, 1220.0) for m, x in X.items()}, wall="S")
    rows = read("string", {"M1": 3.0, "M3": 30.0}) + read("string", {"M1": 9.0, "M3": 70.0}, wall="S", setup=1)
    out = totals(table("readings", rows), both, pa.concat_tables([ROW, other]), RULES)
    assert out["total_mm"].to_pylist() == [pytest.approx(28.5), pytest.approx(65.5)]


def test_the_order_of_rows_changes_nothing() -> None:
    rows = read("string", {"M1": 1.0, "M2": 20.0, "M3": 30.0}) + read("laser", {"M1": 5.0, "M3": 40.0, "M5": 6.0})
    assert total(rows) == total(rows[::-1])


def test_the_first_visit_of_a_wall_is_what_was_read_before_the_work_of_its_first_day() -> None:
    rows = read("string", {"M3": 9.0}, day=date(2023, 1, 1), state="held") + read("string", {"M3": 44.0})
    rows += read("string", {"M3": 38.0}, day=ZERO, part="before") + read("string", {"M3": 26.0}, day=ZERO, part="after")
    rows += read("string", {"M3": 5.0}, day=ZERO, part="after", wall="S") + read("string", {"M3": 7.0}, wall="S")
    first = first_visits(table("readings", rows[::-1]))
    assert sorted(first["deflection_mm"].to_pylist()) == [5.0, 38.0]
    assert len(first_visits(table("readings", []))) == 0
