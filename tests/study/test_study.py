"""The study: its looks are the company's own assessments, its measures are right by hand, and it can fail.

Two kinds of published sequential check have no place here: tabular CUSUM sums and run lengths, as nothing in the
project sums deviations from a target (the evidence rule is held to its own published boundary in
tests/trend/test_evidence_boundary.py).
"""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pyarrow.compute as pc
import pytest
from scipy import stats

from monitor.config import MethodSds, Rules, Settings, Variances
from monitor.errors import NotFoundError
from monitor.pipeline.frames import frame
from monitor.simulate.portfolio import Portfolio, portfolio
from monitor.study import grid, measures, table
from monitor.study.grid import ROW, SCHEDULES, Cell, Sample, Size
from monitor.study.looks import looked
from monitor.study.run import chosen, run, study
from monitor.study.shares import share
from monitor.terms import Method, Verdict
from monitor.trend.assess import assess

CHEAP = Cell("row of five, string, 6 visits", ROW, 6)
FEW = Size("few", company=20, twice=6, near=6, cells=(CHEAP, replace(CHEAP, name="reinforced", strapped=True)))
FALSELY_SURE = Settings(
    variances=Variances(
        methods={method: MethodSds(reading_mm=0.1) for method in Method},
        season_mm=0.0,
        local_mm_per_year=0.0,
        local_share=0.0,
        wobble_mm=0.0,
        scale_dof=1e6,
    )
)
"""Readings ten times as good as they are, no set-up error, no season: what a wrong model would claim."""


@pytest.mark.parametrize("strapped", [False, True])
def test_a_look_is_the_assessment_of_that_day_with_the_readings_there_are_then(strapped: bool) -> None:
    cell = replace(CHEAP, strapped=strapped, lost_share=0.5)
    made = portfolio(2, seed=2, recipe=cell.recipe(Sample.COMPANY, Rules()))
    looks = looked(made, Rules(), Variances()).walls
    assert len(looks) == 2 * 4
    numbers = ["rate_mm_per_year", "rate_lower", "rate_upper", "log_evidence", "exceed_chance", "bow_upper"]
    for look in looks.to_dict("records"):
        alone = assessed(made, look["house"], look["day"].date())
        assert alone["verdict"] == look["verdict"]
        assert alone["visits"] == look["visits"]
        assert [alone[name] for name in numbers] == pytest.approx([look[name] for name in numbers], nan_ok=True)


def assessed(made: Portfolio, house: str, day: date) -> dict[str, object]:
    facts = [getattr(made, name) for name in ("readings", "walls", "marks", "events")]
    facts = [rows.filter(pc.equal(rows["house"], house)) for rows in facts]
    found = frame(assess(*facts, Settings(), day)["wall_results"])
    return found[found["is_current"]].to_dict("records")[0]


def test_the_same_seed_gives_the_same_rows_and_a_cell_is_the_same_among_others() -> None:
    both = [table.values(row) for row in study(FEW, Settings(), seed=3)]
    again = [table.values(row) for row in study(chosen(FEW, "reinforced"), Settings(), seed=3)]
    assert both[1] == again[0]
    assert both[0] != table.values(run(CHEAP, FEW, Settings(), seed=4))
    assert all(len(line) == len(table.columns()) for line in both)


def test_an_unknown_cell_is_told_with_those_there_are() -> None:
    with pytest.raises(NotFoundError, match="three rows, string, 10 visits"):
        chosen(grid.size("small"), "four rows")


def test_the_sizes_hold_every_layout_and_every_trouble_once() -> None:
    for name in ("small", "full"):
        cells = grid.size(name).cells
        assert len({cell.name for cell in cells}) == len(cells)
        assert {cell.marks for cell in cells} == {1, 3, 5, 9}
        assert {cell.layout.method for cell in cells} == {Method.STRING, Method.PLUMB, Method.LASER}
        assert {cell.season_mm for cell in cells} == {0.0, 1.1, 3.0}
        assert {cell.spread for cell in cells} == {0.0, 0.2, 0.4}
        assert any(cell.strapped for cell in cells)
        assert any(cell.misread_share for cell in cells)
        assert any(cell.lost_share for cell in cells)
        assert any(cell.change_share for cell in cells)
    assert {cell.visits for cell in grid.size("full").cells} == {3, 6, 10, 20}
    assert all(len(months) == count for count, months in SCHEDULES.items())


def test_bounds_of_an_ordinary_cell_hold_within_their_error_and_still_walls_are_not_flagged() -> None:
    row = run(CHEAP, replace(FEW, company=150), Settings(), seed=1)
    assert table.misses(row) == []
    assert row.cover.mark_lower.low <= 0.95 <= row.cover.mark_lower.high
    assert row.cover.mark_upper.low <= 0.95 <= row.cover.mark_upper.high
    assert row.false_ever.value == 0
    assert row.walls == 150


def test_a_falsely_sure_model_is_found_out() -> None:
    row = run(CHEAP, FEW, FALSELY_SURE, seed=1)
    assert {miss.name for miss in table.misses(row)} >= {"mark lower", "mark upper", "false of ever listed"}
    assert row.false_ever.of > 5


def test_an_absurdly_low_threshold_lists_every_wall_that_moves_at_all() -> None:
    recipe = CHEAP.recipe(Sample.TWICE, Rules())
    made = portfolio(8, seed=1, recipe=replace(recipe, months=SCHEDULES[14]))
    low = looked(made, Rules(before_mm_per_year=0.5), Variances())
    high = looked(made, Rules(before_mm_per_year=50.0), Variances())
    assert np.isfinite(measures.found_after(low.walls)).all()
    assert not np.isfinite(measures.found_after(high.walls)).any()


def walls(*rows: tuple[str, int, float, float, Verdict]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["house", "look", "months", "next_months", "verdict"])


def test_list_months_delay_and_holding_by_hand() -> None:
    looks = walls(
        ("A", 3, 12.0, 6.0, Verdict.TOO_EARLY),
        ("A", 4, 18.0, 6.0, Verdict.MOVING),
        ("A", 5, 24.0, 1.0, Verdict.MOVING),
        ("B", 3, 12.5, 12.0, Verdict.MOVING),
        ("B", 4, 24.5, 1.0, Verdict.HOLDING),
        ("C", 3, 12.0, 12.0, Verdict.HOLDING),
        ("C", 4, 24.0, 1.0, Verdict.LOOK_AGAIN),
    )
    above = pd.Series({"A": True, "B": False, "C": False})
    by_month, ever = measures.false_share(looks, above)
    assert by_month.value == pytest.approx(12 / (7 + 12))
    assert (ever.value, ever.of) == (0.5, 2)
    assert measures.found_after(looks) == [18.0, 12.5, np.inf]
    assert measures.holding_by(looks, 12) == share([True, False, False])
    assert measures.holding_by(looks, 24) == share([True, False, False])
    assert np.isnan(measures.holding_by(looks, 36).value)
    assert measures.ever_holding(looks).value == pytest.approx(2 / 3)


def test_a_wall_is_above_by_its_fastest_mark_in_its_newest_period() -> None:
    truth = pd.DataFrame(
        {
            "house": ["A", "A", "A", "B", "B"],
            "period": [0, 1, 1, 0, 0],
            "seen_rate_mm_per_year": [9.0, 0.5, 2.0, 0.5, 9.0],
        }
    )
    assert measures.truly_above(truth, 3.0).to_dict() == {"A": False, "B": True}


def test_walls_are_moving_in_their_share() -> None:
    recipe = replace(CHEAP.recipe(Sample.COMPANY, Rules()), months=(0, 6))
    truth = frame(portfolio(600, seed=9, recipe=recipe).truth).drop_duplicates("house")
    low, high = stats.binom.ppf([0.0005, 0.9995], 600, 0.15)
    assert low <= (truth["sort"] == "moving").sum() <= high
