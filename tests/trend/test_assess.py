"""The whole assessment: its tables, and that it is never surer than its readings."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import assess

from monitor import schema
from monitor.config import Settings
from monitor.terms import Method, Verdict

SETTINGS = Settings()
ROW = [(f"M{n}", x, 1220.0) for n, x in enumerate((1500.0, 3000, 4500, 6000, 7500))]
NINE = [
    (f"{r}{c}", x, z)
    for r, z in (("B", 300.0), ("M", 1250.0), ("T", 2100.0))
    for c, x in enumerate((1500.0, 4400, 7000))
]


def judged(
    table: pd.DataFrame,
    places: list[tuple[str, float, float]] = ROW,
    events: list[dict[str, object]] = (),
    names=("H1",),
) -> dict[str, pd.DataFrame]:
    return assess(
        table, invented.walls(names), invented.marks(names, places), invented.events(events), SETTINGS, date(2024, 1, 1)
    )


def read(
    months: tuple[float, ...],
    places: list[tuple[str, float, float]] = ROW,
    method: Method = Method.STRING,
    rate: float = 0.0,
) -> pd.DataFrame:
    when = invented.dates(date(2021, 1, 1), months)
    return invented.grid(np.random.default_rng(8), ["H1"], places, when, method, rate=(rate, 0, 0))[0]


def one_wall(results: dict[str, pd.DataFrame]) -> pd.Series:
    (number,) = range(len(results["wall_results"]))
    return results["wall_results"].iloc[number]


def test_tables_have_exactly_the_columns_of_their_schemas() -> None:
    results = judged(read((0, 6, 12, 18, 24)))
    assert {"wall_results", "mark_results", "movement", "findings", "suspects", "repairs"} <= set(results)
    for name, table in results.items():
        assert table.columns.tolist() == schema.find(name).names
        assert len(table) > 0 or name in ("suspects", "repairs")


def test_a_wall_that_bows_fast_is_moving_with_its_rate_between_its_bounds() -> None:
    wall = one_wall(judged(read((0, 6, 12, 18, 24), rate=12.0)))
    assert wall["verdict"] == Verdict.MOVING
    assert wall["rate_lower"] < wall["rate_mm_per_year"] < wall["rate_upper"]
    assert wall["rate_mm_per_year"] == pytest.approx(12, abs=3)
    assert wall["governing_mark"] in {"M1", "M2", "M3"}
    assert wall["relative_to"] == "the wall's two ends"
    assert wall["not_measured"] == "bow tip slide"
    assert wall["exceed_chance"] > 0.99
    assert wall["onset"] == wall["first_visit"]


@pytest.mark.parametrize("method", list(Method))
def test_readings_of_one_day_give_no_rate_no_bound_and_no_jump(method: Method) -> None:
    results = judged(read((0,), NINE, method), NINE)
    wall = one_wall(results)
    numbers = [c for c in wall.index if c.startswith(("rate_", "bow_", "tip_", "slide_", "jump_"))]
    assert wall[numbers].isna().all()
    assert wall[["governing_mark", "largest_movement", "relative_to"]].tolist() == ["", "", ""]
    assert wall["verdict"] == Verdict.TOO_EARLY
    assert wall["log_evidence"] == 0
    assert np.isnan(wall["exceed_chance"])
    assert not results["mark_results"]["measured"].any()
    assert results["mark_results"]["rate_mm_per_year"].isna().all()


def test_two_visits_never_look_sure() -> None:
    """Half a year apart and 8 mm/yr apparent: a band of several mm/yr on either side, and no verdict but too early."""
    table = read((0, 5), rate=0.0)
    apart = table["visit_date"] > table["visit_date"].min()
    mean = table[~apart].set_index("mark")["deflection_mm"]
    table.loc[apart, "deflection_mm"] = table.loc[apart, "mark"].map(mean) + 8 * 5 / 12
    wall = one_wall(judged(table))
    assert wall["rate_upper"] - wall["rate_lower"] > 10
    assert wall["rate_lower"] < 0
    assert wall["verdict"] == Verdict.TOO_EARLY


def test_a_plumb_line_names_what_it_does_not_measure() -> None:
    wall = one_wall(judged(read((0, 6, 12, 18), NINE, Method.PLUMB), NINE))
    assert wall["not_measured"] == "slide"
    assert np.isnan(wall["slide_mm_per_year"])
    assert wall["relative_to"] == "the wall's base"
    assert wall["largest_movement"] in {"bow", "tip"}
    assert wall[["bow_lower", "tip_lower"]].max() == wall[f"{wall['largest_movement']}_lower"]


def test_a_distance_meter_is_relative_to_the_opposite_wall() -> None:
    assert one_wall(judged(read((0, 6, 12, 18), NINE, Method.METER), NINE))["relative_to"] == "the opposite wall"


def test_visits_of_the_take_up_window_alone_give_no_rate_but_are_counted() -> None:
    results = judged(read((0, 1)), events=[{"house": "H1", "event_date": "2020-12-20", "kind": "reinforcement"}])
    wall = one_wall(results)
    assert (wall["period"], wall["visits"], wall["visits_all"], wall["readings_used"]) == (1, 0, 2, 0)
    assert np.isnan(wall["rate_mm_per_year"])
    assert wall["threshold_mm_per_year"] == SETTINGS.rules.after_mm_per_year
    assert len(results["mark_results"]) == 5
    assert not results["mark_results"]["measured"].any()


def test_a_wall_without_a_reading_still_has_its_row() -> None:
    results = judged(read((0, 6, 12)), names=("H1", "H2"))
    rows = results["wall_results"].set_index("house")
    assert rows.loc["H2", "visits_all"] == 0
    assert rows.loc["H2", "verdict"] == Verdict.TOO_EARLY


def test_no_readings_at_all_is_no_error() -> None:
    table = read((0, 6)).iloc[:0]
    results = judged(table)
    assert len(results["wall_results"]) == 1
    assert len(results["movement"]) == len(results["mark_results"]) == 0
    for name, frame in results.items():
        assert frame.columns.tolist() == schema.find(name).names


def test_no_walls_at_all_is_no_error() -> None:
    table = read((0, 6)).iloc[:0]
    results = assess(
        table, invented.walls(["H1"]).iloc[:0], invented.marks(["H1"], ROW).iloc[:0], invented.events(), SETTINGS,
        date(2024, 1, 1),
    )  # fmt: skip
    assert all(len(frame) == 0 for frame in results.values())


def test_a_wall_of_unknown_length_is_not_measured_and_does_not_stop_the_others() -> None:
    names = ("H1", "H2")
    when = invented.dates(date(2021, 1, 1), (0, 6, 12, 18))
    table = invented.grid(np.random.default_rng(8), names, ROW, when)[0]
    walls = invented.walls(names)
    for unknown in (np.nan, 0.0):
        walls.loc[0, "length_mm"] = unknown
        results = assess(table, walls, invented.marks(names, ROW), invented.events(), SETTINGS, date(2024, 1, 1))
        rates = results["wall_results"].set_index("house")["rate_mm_per_year"]
        assert rates.isna().tolist() == [True, False]


def test_a_mark_that_the_register_does_not_know_is_not_measured() -> None:
    results = judged(read((0, 6, 12, 18)), ROW[1:])
    measured = results["mark_results"].set_index("mark")["measured"]
    assert measured.tolist() == [False, True, True, True, True]


def test_a_rate_that_a_meter_determines_is_told_against_the_opposite_wall_though_a_plumb_line_read_more() -> None:
    months = (0, 6, 12, 18, 24)
    plumb, meter = read(months, NINE, Method.PLUMB), read(months, NINE[:1], Method.METER)
    assert one_wall(judged(plumb, NINE))["relative_to"] == "the wall's base"
    both = pd.concat([plumb, meter.assign(reading_id=meter["reading_id"] + "m")], ignore_index=True)
    assert one_wall(judged(both, NINE))["relative_to"] == "the opposite wall"
