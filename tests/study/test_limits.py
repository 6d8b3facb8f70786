"""Trying one's own limits: the company is the store's, and the answers move as they must."""

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from monitor import schema
from monitor.config import Settings, Variances
from monitor.errors import LengthError, NotFoundError, SettingsError
from monitor.pipeline.frames import frame
from monitor.simulate.portfolio import Portfolio, portfolio
from monitor.simulate.recipe import FLEET, Layout
from monitor.store import create
from monitor.study import company as companies
from monitor.study import limits, limits_table
from monitor.study.company import Company, OwnWall
from monitor.study.limits import Tried
from monitor.terms import End, Method
from monitor.units import MM_PER_INCH

DAY = date(2026, 4, 30)


def before_straps(own: Company, *, walls: int = 5, seed: int = 1) -> Tried:
    return next(limits.try_limits(own, walls=walls, years=3, seed=seed))


@pytest.fixture(scope="module")
def string_company() -> Company:
    return companies.ordinary(Method.STRING, 40, 4, Settings())


def test_the_same_seed_gives_the_same_answer(string_company: Company) -> None:
    assert before_straps(string_company) == before_straps(string_company)
    assert before_straps(string_company) != before_straps(string_company, seed=2)


def test_still_walls_are_not_flagged_and_one_at_twice_the_threshold_is_found(string_company: Company) -> None:
    before, after = limits.try_limits(string_company, walls=15, years=3, seed=1)
    assert (before.strapped, after.strapped) == (False, True)
    assert before.false_still.seen == after.false_still.seen == 0
    # by hand: none in 15 walls x 3 years, times 40 walls; the upper end is -ln 0.025 of the same
    assert before.false_still.high == pytest.approx(-np.log(0.025) * 40 / 45)
    assert before.median.value < 30
    assert before.holding[2].value > 0.9


def test_a_lower_threshold_holds_fewer_walls_and_a_higher_one_is_passed_sooner(string_company: Company) -> None:
    low, usual, high = (
        before_straps(companies.with_thresholds(string_company, text, ""), walls=12)
        for text in ("1/32 in", "", "1/2 in")
    )
    assert low.holding[2].value < usual.holding[2].value
    assert high.median.value < usual.median.value < low.median.value


def test_a_string_between_two_free_ends_finds_nothing_and_holds_nothing(string_company: Company) -> None:
    wall = string_company.walls[0]
    free = replace(wall, geometry=replace(wall.geometry, left=End.FREE, right=End.FREE))
    before = before_straps(replace(string_company, walls=[free]))
    assert before.median.value == np.inf
    assert before.holding[2].value == 0


def test_walls_follow_their_own_intervals_then_the_company_s() -> None:
    wall = companies.ordinary(Method.PLUMB, 1, 2, Settings()).walls[0]
    own = OwnWall(wall.geometry, wall.spots, wall.method, gaps_months=(1.0, 5.0))
    company = Company([own], [12.0], Settings())
    days = limits._days(company, own, 3, np.random.default_rng(1))
    assert [round((day - days[0]).days / 30.4375, 1) for day in days] == [0, 1, 6, 18, 30]


def test_a_recipe_of_the_default_variances_reads_as_the_model_thinks() -> None:
    recipe = limits.recipe_of(Variances())
    assert recipe.sds[Method.STRING].offset_mm == 1.0
    assert recipe.season_mm == 1.1
    truth = frame(portfolio(300, seed=1, recipe=replace(recipe, months=(0, 6))).truth).drop_duplicates("house")
    # sd of log chi-square(15) / 2 = sqrt(trigamma(7.5)) / 2 = 0.189
    assert np.log(truth["scale"]).std() == pytest.approx(0.189, rel=0.15)


def test_thresholds_are_written_as_lengths_a_year(string_company: Company) -> None:
    rules = companies.with_thresholds(string_company, "3/16 in", "2.5 mm").settings.rules
    assert (rules.before_mm_per_year, rules.after_mm_per_year) == pytest.approx((3 * MM_PER_INCH / 16, 2.5))
    assert companies.with_thresholds(string_company, "", " ").settings == string_company.settings
    with pytest.raises(SettingsError, match="above 0"):
        companies.with_thresholds(string_company, "0 in", "")
    with pytest.raises(LengthError, match="unit"):
        companies.with_thresholds(string_company, "1/8", "")


def test_a_store_with_no_wall_to_simulate_says_what_it_lacks(tmp_path: Path) -> None:
    empty = create(tmp_path / "store", company={"name": "n"}, created_at=datetime(2026, 1, 1, tzinfo=UTC))
    with pytest.raises(NotFoundError, match="0 walls registered"):
        companies.from_store(empty, DAY)


def test_the_company_of_a_store_has_its_walls_marks_methods_and_intervals(tmp_path: Path) -> None:
    recipe = replace(FLEET, layouts=(Layout(Method.STRING),), strapped_share=1.0, months=(0, 6, 12, 24))
    recipe = replace(recipe, jitter_days=0.0, missed_share=0.0, lost_share=1.0, change_share=1.0, straps_months=(8, 8))
    made = portfolio(3, seed=1, recipe=recipe)
    walls = made.walls.to_pylist()
    walls[0] |= {"left_end": "free", "unit": "mm"}
    walls[1] |= {"length_mm": None}
    walls[2] |= {"crack_height_mm": None}
    kept = create(tmp_path / "store", company={"name": "n"}, created_at=datetime(2026, 1, 1, tzinfo=UTC))
    kept.add("walls", pa.Table.from_pylist(walls, schema=schema.WALLS))
    for name in ("marks", "events", "readings"):
        kept.add(name, getattr(made, name))
    own = companies.from_store(kept, DAY)
    assert (len(own.walls), own.left_out, own.unit) == (2, 1, "in")
    first, last = own.walls
    assert (first.geometry.left, first.geometry.right) == (End.FREE, End.RETURN)
    assert first.geometry.length_mm == walls[0]["length_mm"]
    assert last.geometry.crack_mm == walls[2]["clear_height_mm"] / 2
    # the lost mark is gone, its heir is there; half-way each wall changes from string to laser
    assert {spot.mark for spot in first.spots} == {"M1b", "M2", "M3", "M4", "M5"}
    assert first.method is Method.LASER
    # read at 0, 6, 8 (before and after the straps), 9, 12 and 24 months
    assert [round(gap) for gap in first.gaps_months] == [6, 2, 1, 3, 12]
    assert len(own.gaps_months) == 10
    earlier = companies.from_store(kept, days_of(made)[2])
    assert max(len(wall.gaps_months) for wall in earlier.walls) < 5


def days_of(made: Portfolio) -> list[date]:
    return sorted(set(made.readings["visit_date"].to_pylist()))


@pytest.mark.parametrize("gap_days", [14, 16])
def test_a_visit_within_half_a_month_of_the_last_is_no_habit(gap_days: int) -> None:
    days = {DAY: "string", DAY + timedelta(days=gap_days): "string"}
    wall = {"length_mm": 9000.0, "clear_height_mm": 2440.0, "thickness_mm": None, "crack_height_mm": None}
    wall |= {"left_end": "return", "right_end": "return", "method": "string"}
    mark = {"mark": "M1", "x_mm": 4500.0, "z_mm": 1220.0, "row": "", "column": "", "retired_on": None}
    own = companies._own(wall, [mark], days, DAY)
    assert own is not None
    assert len(own.gaps_months) == (gap_days > 15)


def test_the_table_says_each_number_with_its_error(string_company: Company) -> None:
    tried = list(limits.try_limits(string_company, walls=5, years=1, seed=1))
    found = limits_table.listing(string_company, tried, years=1, seed=1)
    out = io.StringIO()
    csv.writer(out).writerows([found.headers, *found.rows])
    assert "1/8 inch a year,1/16 inch a year" in out.getvalue()
    assert "false flags a year, if all 40 walls were still" in out.getvalue()
    assert "seed 1" in found.closing
    assert all(len(row) == len(found.headers) for row in found.rows)
