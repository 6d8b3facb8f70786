"""Simulated portfolios: tables of the schema, the same wall in any block, shares inside binomial limits."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from scipy import stats

from monitor import schema
from monitor.lengths import parse
from monitor.simulate.portfolio import STANDOFF_MM, Portfolio, portfolio, stream
from monitor.simulate.recipe import FLEET, Layout, Recipe, Sort
from monitor.terms import Method

WALLS = 600


@pytest.fixture(scope="module")
def fleet() -> Portfolio:
    return portfolio(WALLS, seed=11)


def test_the_tables_have_the_columns_of_the_schema(fleet: Portfolio) -> None:
    assert fleet.readings.schema.equals(schema.READINGS, check_metadata=True)
    assert fleet.walls.schema.equals(schema.WALLS, check_metadata=True)
    assert fleet.marks.schema.equals(schema.MARKS, check_metadata=True)
    assert fleet.events.schema.equals(schema.EVENTS, check_metadata=True)


def test_keys_are_unique_and_text_is_never_null(fleet: Portfolio) -> None:
    for name in ("readings", "walls", "marks", "events"):
        table: pa.Table = getattr(fleet, name)
        keys = table.select(list(schema.KEY[name]))
        assert keys.group_by(keys.column_names).aggregate([]).num_rows == table.num_rows
        assert [f.name for f in table.schema if pa.types.is_string(f.type) and table[f.name].null_count] == []


def test_the_same_wall_comes_in_any_block() -> None:
    whole = portfolio(30, seed=5)
    parts = list(stream(20, seed=5, first=10, block=7))
    assert pa.concat_tables([part.readings for part in parts]).equals(
        whole.readings.filter(pc.greater_equal(whole.readings["house"], "S00000010"))
    )
    assert pa.concat_tables([part.truth for part in parts]).num_rows < whole.truth.num_rows
    assert not portfolio(30, seed=6).readings.equals(whole.readings)


def test_what_was_typed_is_the_value_and_the_deflection(fleet: Portfolio) -> None:
    for row in fleet.readings.slice(0, 2000).to_pylist():
        assert parse(row["value_raw"], row["unit"]).mm == pytest.approx(row["value_mm"], abs=1e-9)
        assert row["deflection_mm"] == pytest.approx(row["standoff_mm"] - row["value_mm"])
        assert row["standoff_mm"] == (STANDOFF_MM if row["method"] == "string" else 0.0)


def test_every_reading_is_of_a_registered_mark_in_its_time(fleet: Portfolio) -> None:
    marks = {(m["house"], m["mark"]): m for m in fleet.marks.to_pylist()}
    for row in fleet.readings.select(["house", "mark", "visit_date"]).to_pylist():
        mark = marks[row["house"], row["mark"]]
        assert mark["set_on"] <= row["visit_date"]
        assert mark["retired_on"] is None or row["visit_date"] < mark["retired_on"] + timedelta(days=1)


def test_a_lost_mark_is_read_to_the_day_before_and_its_heir_from_that_day_on(fleet: Portfolio) -> None:
    lost = fleet.events.filter(pc.equal(fleet.events["kind"], "lost mark")).to_pylist()
    assert lost
    days: dict[tuple[str, str], list[date]] = {}
    for row in fleet.readings.select(["house", "mark", "visit_date"]).to_pylist():
        days.setdefault((row["house"], row["mark"]), []).append(row["visit_date"])
    for event in lost:
        assert max(days[event["house"], event["marks"]]) <= event["event_date"]
        assert min(days.get((event["house"], event["new_mark"]), [event["event_date"]])) >= event["event_date"]
    retired = {(m["house"], m["mark"]) for m in fleet.marks.to_pylist() if m["retired_on"] is not None}
    assert retired == {(event["house"], event["marks"]) for event in lost}


def test_sorts_straps_and_missed_visits_come_in_their_shares(fleet: Portfolio) -> None:
    first = fleet.truth.filter(pc.equal(fleet.truth["period"], 0)).to_pylist()
    sorts = list({row["house"]: row["sort"] for row in first}.values())
    for sort in FLEET.sorts:
        within(sorts.count(sort.name), len(sorts), sort.share)
    strapped = pc.count_distinct(fleet.events.filter(pc.equal(fleet.events["kind"], "reinforcement"))["house"]).as_py()
    within(strapped, WALLS, FLEET.strapped_share)
    planned = WALLS * 6 + 3 * strapped
    held = fleet.readings.select(["house", "visit_date", "part"])
    visited = held.group_by(held.column_names).aggregate([]).num_rows - WALLS
    within(planned - visited, planned, FLEET.missed_share)


def test_rates_stay_in_the_range_of_their_sort(fleet: Portfolio) -> None:
    ranges = {sort.name: sort.rate for sort in (*FLEET.sorts, *(FLEET.after or ()))}
    for row in fleet.truth.to_pylist():
        low, high = ranges[row["sort"]]
        total = row["bow_mm_per_year"] + row["tip_mm_per_year"] + row["slide_mm_per_year"]
        assert low <= total <= high


def test_misreads_are_told_and_are_typical_slips() -> None:
    made = portfolio(200, seed=3, recipe=replace(Recipe(), misread_share=0.01))
    clean = portfolio(200, seed=3)
    assert clean.misreads.num_rows != made.misreads.num_rows
    within(made.misreads.num_rows, made.readings.num_rows, 0.01)
    right = portfolio(200, seed=3, recipe=Recipe()).readings
    assert right["reading_id"].equals(made.readings["reading_id"])
    wrong = np.asarray(made.readings["deflection_mm"]) - np.asarray(right["deflection_mm"])
    told = dict(zip(made.misreads["reading_id"].to_pylist(), made.misreads["error_mm"].to_pylist(), strict=True))
    assert {i for i, w in zip(made.readings["reading_id"].to_pylist(), wrong, strict=True) if abs(w) > 1} == set(told)
    assert set(np.round(np.abs(list(told.values())), 3)) == {6.35, 12.7, 15.875, 25.4}


def test_a_cell_of_a_study_has_the_visits_marks_and_rate_it_asks_for() -> None:
    recipe = Recipe(
        sorts=(Sort("at 6", 1.0, rate=(6.0, 6.0)),),
        layouts=(Layout(Method.PLUMB, rows="TMB", columns=(0.5,)),),
        months=(0, 3, 6),
        setups=2,
        local_mm_per_year=0.0,
        local_share=0.0,
    )
    made = portfolio(20, seed=1, recipe=recipe)
    assert made.readings.num_rows == 20 * 3 * 3 * 2
    assert set(made.readings["setup"].to_pylist()) == {1, 2}
    for row in made.truth.to_pylist():
        assert row["rate_mm_per_year"] - row["seen_rate_mm_per_year"] == pytest.approx(row["slide_mm_per_year"])
        if row["mark"].startswith("M") and row["bow_mm_per_year"]:
            assert row["rate_mm_per_year"] == pytest.approx(6.0)
        if row["mark"].startswith("B") and row["bow_mm_per_year"]:
            assert row["rate_mm_per_year"] == pytest.approx(6.0 * 200 / 1220)


def test_a_method_change_with_a_day_of_both_has_both_that_day() -> None:
    recipe = Recipe(layouts=(Layout(Method.STRING),), change_share=1.0, overlap_share=1.0)
    made = portfolio(5, seed=1, recipe=recipe)
    for event in made.events.to_pylist():
        rows = [r for r in made.readings.to_pylist() if r["house"] == event["house"]]
        by_day = {day: {r["method"] for r in rows if r["visit_date"] == day} for day in {r["visit_date"] for r in rows}}
        assert by_day[event["event_date"]] == {"string", "laser"}
        assert {m for day, methods in by_day.items() if day < event["event_date"] for m in methods} == {"string"}
        assert {m for day, methods in by_day.items() if day > event["event_date"] for m in methods} == {"laser"}


def within(count: int, of: int, share: float) -> None:
    low, high = stats.binom.ppf([0.0005, 0.9995], of, share)
    assert low <= count <= high
