"""Technicians' set-ups beside the others': against one dense regression, by hand, by law and on simulated truth."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from by_frames import rows_of, tables
from scipy import stats
from statsmodels.regression.linear_model import GLS

from monitor.config import Rules, Variances
from monitor.terms import Method
from monitor.trend import technicians
from monitor.trend.cases import Cases, build
from monitor.trend.portfolio import fitted
from monitor.trend.reference import covariance, fixed_columns
from monitor.trend.technicians import Told

ROW = [("M1", 90.0, 1220.0), ("M2", 2250.0, 1220.0), ("M3", 4500.0, 1220.0), ("M4", 6750.0, 1220.0)]
MONTHS = (0, 5, 11, 18, 23, 30, 35)
TURNS = ("A", "B", "A", "B", "B", "A", "B")
DAY = date(2100, 1, 1)


def made(
    names: list[str], method: Method, turns: tuple[str, ...] = TURNS, off_mm: float = 0.0, seed: int = 1
) -> tuple[Cases, pa.Table]:
    """Walls read by turns; what B reads stands off_mm further in."""
    when = invented.dates(date(2020, 1, 7), MONTHS)
    readings, _ = invented.grid(np.random.default_rng(seed), names, ROW, when, method, rate=(1.0, 0.0, 0.0))
    person = readings["visit_date"].map(dict(zip(when, turns, strict=True)))
    moved = readings["deflection_mm"] + np.where(person == "B", off_mm, 0.0)
    readings = readings.assign(technician=person, deflection_mm=moved)
    return cases_of(names, readings)


def cases_of(names: list[str], readings: pd.DataFrame) -> tuple[Cases, pa.Table]:
    facts = tables(readings, invented.walls(names), invented.marks(names, ROW), invented.events())
    return build(*facts, Rules(), DAY), facts[0]


def told(cases: Cases, readings: pa.Table, variances: Variances | None = None) -> Told:
    variances = variances or Variances()
    person = technicians.technicians_of(cases, readings)
    return technicians.joined([technicians.sums(cases, done, person) for done in fitted(cases, variances)])


def people(cases: Cases, readings: pa.Table) -> pd.DataFrame:
    """What is told of each technician, by name."""
    found, names = told(cases, readings), technicians.names(readings).to_pylist()
    rows = pd.DataFrame(vars(found) | vars(technicians.apart(found)))
    return rows.assign(technician=[names[number] for number in found.technician])


def notes(cases: Cases, found: Told) -> list[str]:
    return [note for note in technicians.notes(cases, found).to_pylist() if note]


@pytest.mark.parametrize("method", [Method.STRING, Method.METER])
def test_the_offset_and_its_error_are_those_of_one_dense_regression_with_a_column_for_the_technician(
    method: Method,
) -> None:
    """Independent library: statsmodels GLS over the whole covariance of the wall's readings."""
    variances = Variances()
    cases, readings = made(["W"], method, off_mm=2.0)
    found = people(cases, readings).set_index("technician").loc["B"]
    local = next(iter(fitted(cases, variances))).fit.local_variance[0]
    sigma = covariance(rows_of(cases), cases.seen, variances, np.full(len(rows_of(cases)), local))
    fixed, _ = fixed_columns(rows_of(cases), cases.seen, variances)
    column = (technicians.technicians_of(cases, readings) == technicians.names(readings).index("B").as_py()).astype(
        float
    )
    y = rows_of(cases)["deflection_mm"].to_numpy(float)
    dense = GLS(y, np.column_stack([fixed, column]), sigma=sigma).fit(cov_type="fixed_scale")
    assert found["told"] / found["information"] == pytest.approx(dense.params[-1], rel=1e-8)
    assert found["information"] ** -0.5 == pytest.approx(dense.bse[-1], rel=1e-8)


def test_two_who_read_by_turns_differ_by_opposite_numbers() -> None:
    cases, readings = made(["W"], Method.METER, off_mm=2.0)
    found = people(cases, readings).set_index("technician")
    assert found.loc["A", "offset_mm"] == pytest.approx(-found.loc["B", "offset_mm"])
    assert found.loc["A", "p"] == pytest.approx(found.loc["B", "p"])
    assert found.loc["B", ["setups", "others"]].tolist() == [4, 3]


def test_of_the_only_reader_of_a_wall_nothing_is_told() -> None:
    cases, readings = made(["W"], Method.METER, turns=("B",) * 7, off_mm=5.0)
    assert len(told(cases, readings)) == 0
    assert notes(cases, told(cases, readings)) == []
    assert len(technicians.table(cases, told(cases, readings), technicians.names(readings))) == 0


@pytest.mark.parametrize("method", [Method.PLUMB, Method.LASER])
def test_where_a_set_up_has_an_offset_of_unknown_size_nothing_is_told(method: Method) -> None:
    cases, readings = made(["W"], method, off_mm=5.0)
    assert len(told(cases, readings)) == 0


def test_one_who_came_first_and_one_who_came_last_with_two_visits_cannot_be_told_from_the_rate() -> None:
    cases, readings = made(["W"], Method.METER, turns=("A",) + ("B",) * 6, off_mm=3.0)
    alternating, its = made(["W"], Method.METER, off_mm=3.0)
    assert told(cases, readings).information.max() < 0.5 * told(alternating, its).information.max()


def test_a_level_given_to_all_readings_and_the_readings_of_another_wall_change_no_note() -> None:
    cases, readings = made(["V", "W"], Method.METER, off_mm=4.0)
    _, of_w = technicians.notes(cases, told(cases, readings)).to_pylist()
    rows = readings.to_pandas(date_as_object=False)
    one, alone = cases_of(["W"], rows[rows["house"] == "W"].assign(deflection_mm=rows["deflection_mm"] + 7.0))
    assert of_w
    assert notes(one, told(one, alone)) == [of_w]


def test_a_note_says_which_way_by_how_much_and_names_nobody() -> None:
    cases, readings = made(["W"], Method.METER, off_mm=6.0)
    found = people(cases, readings).set_index("technician").loc["B"]
    (note,) = notes(cases, told(cases, readings))
    assert note.startswith(
        f"One technician's 4 set-ups by distance meter stand {found['offset_mm']:.1f} mm further in than the others' 3"
    )
    rows = readings.to_pandas(date_as_object=False)
    named, its = cases_of(["W"], rows.assign(technician=rows["technician"].replace({"A": "Quentin", "B": "Zoltan"})))
    assert notes(named, told(named, its)) == [note]


@pytest.mark.parametrize("off_mm", [6.0, -6.0, 80.0])
def test_of_two_who_differ_the_one_who_stands_further_in_is_named_on_every_wall(off_mm: float) -> None:
    """Their chances are one number but for its last digits, which must not choose."""
    cases, readings = made([f"W{n:02d}" for n in range(40)], Method.METER, off_mm=off_mm, seed=13)
    said = notes(cases, told(cases, readings))
    assert len(said) > 30
    assert all(" mm further in than " in note for note in said)


def test_a_single_set_up_is_no_habit() -> None:
    cases, readings = made(["W"], Method.METER, turns=("A", "A", "A", "B", "A", "A", "A"), off_mm=8.0)
    found = people(cases, readings)
    assert found["p"].max() < 1e-4
    assert notes(cases, told(cases, readings)) == []


def test_technicians_who_are_alike_get_a_note_on_one_wall_in_a_hundred_at_most() -> None:
    """Binomial limit at 1 in 10,000 around the stated chance; also the sizes of all p stand as they should."""
    cases, readings = made([f"W{n:03d}" for n in range(500)], Method.METER, seed=11)
    found = people(cases, readings)
    limit = stats.binom.ppf(0.9999, 500, 0.01)
    assert len(notes(cases, told(cases, readings))) <= limit
    one = found[found["technician"] == "B"]
    assert stats.kstest(one["p"], "uniform").pvalue > 1e-4


def test_a_habit_of_three_millimetres_is_found_on_most_walls_and_over_all_walls_to_its_stated_error() -> None:
    cases, readings = made([f"W{n:03d}" for n in range(100)], Method.METER, off_mm=3.0, seed=12)
    sums = told(cases, readings)
    assert len(notes(cases, sums)) > 80
    table = technicians.table(cases, sums, technicians.names(readings)).to_pandas().set_index("technician")
    assert abs(table.loc["B", "offset_mm"] - 3.0) < 4 * table.loc["B", "se_mm"]
    assert table.loc["B", ["walls", "setups", "others"]].tolist() == [100, 400, 300]
    assert table.loc["B", "method"] == "meter"


def test_walls_weigh_by_what_they_tell_over_their_scale() -> None:
    """By hand: 2 mm at information 4 and scale 1, 5 mm at information 4 and scale 2: mean 3, error 1 / sqrt 6."""
    cases, _ = made(["V", "W"], Method.METER)
    case, three = np.arange(2), np.full(2, 3)
    of_b, four, ten = np.full(2, 1), np.full(2, 4.0), np.full(2, 10.0)
    pull, scale_sum = np.array([8.0, 20.0]), np.array([10.0, 20.0])
    rows = Told(case, three, of_b, three, np.full(2, 2), four, pull, scale_sum, ten)
    (found,) = technicians.table(cases, rows, pa.array(["A", "B"])).to_pylist()
    assert (found["offset_mm"], found["se_mm"]) == pytest.approx((3.0, 6**-0.5))
    assert [found[name] for name in ("technician", "walls", "setups", "others")] == ["B", 2, 6, 4]
