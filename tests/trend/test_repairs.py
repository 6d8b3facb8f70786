"""What a reinforcement did: exact covariances, variances by hand, published steps, and the sentences."""

from dataclasses import replace
from datetime import date
from typing import Any

import invented
import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from by_frames import rows_of, tables
from statsmodels.datasets import nile

from monitor.config import MethodSds, Settings, Variances
from monitor.terms import Method, Part
from monitor.trend import periods, repair_words, repairs
from monitor.trend.aftermath import read_after, waiting
from monitor.trend.cases import Cases, build
from monitor.trend.periods import Period
from monitor.trend.portfolio import fitted
from monitor.trend.reference import covariance

SETTINGS = Settings(variances=Variances(local_share=0))
M1, M2, M3, M4, M5 = range(5)
"""Numbers of the wall's marks."""
ROW = [(f"M{n}", x, 1220.0) for n, x in enumerate((90.0, 2250.0, 4500.0, 6750.0, 8910.0), start=1)]
WORK = "2021-01-01"
EVENT = {"house": "H1", "event_date": WORK, "kind": "reinforcement"}
VISITS = (
    ("2020-01-10", Part.NONE),
    ("2020-07-01", Part.NONE),
    (WORK, Part.BEFORE),
    (WORK, Part.AFTER),
    ("2021-02-01", Part.NONE),
    ("2021-06-10", Part.NONE),
    ("2021-12-01", Part.NONE),
    ("2022-07-01", Part.NONE),
)


def rows(visits: tuple[tuple[str, Part], ...] = VISITS, method: Method = Method.STRING) -> pd.DataFrame:
    table = pd.DataFrame(
        [{"house": "H1", "visit_date": day, "part": str(part), "mark": m} for day, part in visits for m, *_ in ROW]
    )
    values = np.random.default_rng(3).normal(20, 1, len(table))
    return invented.readings(table.assign(deflection_mm=values, method=str(method)))


def facts(readings: pd.DataFrame, events: pd.DataFrame | None = None) -> list[pa.Table]:
    events = invented.events([EVENT]) if events is None else events
    return tables(readings, invented.walls(["H1"]), invented.marks(["H1"], ROW), events)


def kept(
    readings: pd.DataFrame, events: pd.DataFrame | None = None, variances: Variances = SETTINGS.variances
) -> tuple[Cases, dict[int, Period]]:
    cases = build(*facts(readings, events), SETTINGS.rules, date(2400, 1, 1))
    every = np.ones(len(cases.table), dtype=bool)
    return cases, dict(item for done in fitted(cases, variances) for item in periods.kept(cases, done, every))


def one(readings: pd.DataFrame, untouched: str = "") -> dict[str, Any]:
    cases, found = kept(readings)
    table, walls, _, events = facts(readings, invented.events([EVENT]).assign(marks_untouched=untouched))
    (row,) = repairs.table(cases, found, table, events, walls, SETTINGS).to_pylist()
    return row


def test_the_covariance_of_two_periods_is_that_of_the_whole_model() -> None:
    """Both fits are linear in the readings: their errors' covariance follows from the model's one covariance matrix.

    The linear maps are found reading by reading; the season's two coefficients of each period are unknowns of both the
    readings and the estimates, so that the map of the older season's error is known in closed form.
    """
    table = rows()
    cases, found = kept(table)
    older, newer = found[0], found[1]
    of_older, of_newer = (p.rate[p.marks[M3]] for p in (older, newer))
    base = np.array([older.value(of_older), newer.value(of_newer)])
    maps = np.zeros((2, len(rows_of(cases))))
    for number, reading in enumerate(rows_of(cases)["reading_id"]):
        moved = table.assign(deflection_mm=table["deflection_mm"] + (table["reading_id"] == reading))
        _, again = kept(moved)
        maps[:, number] = np.array([again[0].value(of_older), again[1].value(of_newer)]) - base
    counts = rows_of(cases)["counts"].to_numpy(bool)
    counted, seen = rows_of(cases)[counts].reset_index(drop=True), cases.seen[counts]
    omega = np.full(len(counted), SETTINGS.variances.local_mm_per_year**2)
    sigma = covariance(counted, seen, SETTINGS.variances, omega)
    maps = maps[:, counts]
    years = counted["day"].to_numpy() / 365.25
    # The estimate's error is G y - local, for the rates of the shapes are unbiased; cov(y, local) of M3 in its period.
    local = np.stack(
        [
            np.where((counted["case"] == case) & (counted["mark"] == "M3"), omega * years, 0.0)
            for case in (0, 1)
        ]
    )  # fmt: skip
    errors = maps @ sigma @ maps.T - maps @ local.T - (maps @ local.T).T + np.diag([omega[0]] * 2)
    assert older.variance(of_older) / older.scale.variance == pytest.approx(errors[0, 0], rel=1e-8)
    assert newer.variance(of_newer) / newer.scale.variance == pytest.approx(errors[1, 1], rel=1e-8)
    together = of_newer @ periods.cross(newer, older, periods.carry(SETTINGS.variances, 1)) @ of_older
    assert together == pytest.approx(errors[0, 1], rel=1e-7)
    assert abs(together) > 1e-3


def test_the_difference_is_after_less_before_with_welchs_degrees_of_freedom() -> None:
    row = one(rows())
    assert row["difference_mm_per_year"] == pytest.approx(row["after_mm_per_year"] - row["before_mm_per_year"])
    assert repairs.welch(np.array([4.0, 1.0]), np.array([10.0, 5.0])) == pytest.approx(25 / (16 / 10 + 1 / 5))
    assert repairs.welch(np.array([4.0, 4.0]), np.array([10.0, 10.0])) == pytest.approx(20)
    assert row["difference_upper"] - row["difference_lower"] > row["after_upper"] - row["after_lower"]


def test_a_reading_after_the_work_errs_by_its_set_up_its_reading_and_the_days_wobble() -> None:
    """By hand: string 0.8, offset 1.0, yaw 0.2 mm/m at 2.25 m from the middle, wobble 0.3 times sin(pi/4)."""
    cases, _ = kept(rows())
    day = int(rows_of(cases)["day"][rows_of(cases)["part"] == "after"].iloc[0])
    [read] = read_after(waiting(cases, SETTINGS.variances)[1], M2, day, SETTINGS.variances)
    assert read.variance == pytest.approx(0.8**2 + 1.0**2 + (0.2 * 2.25) ** 2 + 0.3**2 / 2)
    turn = 2 * np.sin(np.pi * 31 / 365.25)
    assert read.later_variance == pytest.approx(read.variance + 1.1**2 / 2 * turn**2 / 2)


def test_a_laser_mark_after_the_work_is_told_against_its_two_end_marks() -> None:
    """By hand: what a mean of three marks' own errors is, the yaw gone; M3 stands half-way."""
    cases, _ = kept(rows(method=Method.LASER))
    day = int(rows_of(cases)["day"][rows_of(cases)["part"] == "after"].iloc[0])
    readings = waiting(cases, SETTINGS.variances)[1]
    [read] = read_after(readings, M3, day, SETTINGS.variances)
    assert read.contrast.weights == pytest.approx({M3: 1.0, M1: -0.5, M5: -0.5})
    bow = 1 - np.sin(np.pi * 90 / 9000)
    assert read.variance == pytest.approx(0.9**2 * 1.5 + (0.3 * bow) ** 2)
    assert read_after(readings, M1, day, SETTINGS.variances) == []


def test_the_step_is_what_was_read_after_less_what_was_foretold() -> None:
    table = rows()
    row = one(table)
    higher = table.assign(deflection_mm=table["deflection_mm"] + 7 * (table["part"] == "after"))
    moved = one(higher)
    assert moved["step_mm"] == pytest.approx(row["step_mm"] + 7)
    assert moved["take_up_mm"] == pytest.approx(row["take_up_mm"] - 7)
    assert moved["difference_mm_per_year"] == pytest.approx(row["difference_mm_per_year"])


def test_only_a_mark_declared_untouched_tells_a_pull_back() -> None:
    mark = one(rows())["mark"]
    others = " ".join(name for name, *_ in ROW if name != mark)
    assert one(rows(), mark)["step_kind"] == "pull-back"
    assert one(rows(), others)["step_kind"] == "surface step and pull-back together"
    assert mark in ("M2", "M3", "M4")


def test_take_up_before_any_visit_that_counts_is_told_by_the_windows_last_visit() -> None:
    table = rows(VISITS[:5])
    row = one(table)
    of_mark = table[table["mark"] == row["mark"]]["deflection_mm"].to_numpy()
    assert row["take_up_mm"] == pytest.approx(of_mark[4] - of_mark[3])
    assert row["after_mm_per_year"] is None
    assert row["difference_mm_per_year"] is None
    assert row["reason"].startswith("The rate after the work of 2021-01-01 is not known at mark")


def test_a_wall_with_nothing_read_before_the_work_says_so() -> None:
    row = one(rows(VISITS[3:]))
    assert row["before_mm_per_year"] is None
    assert row["step_mm"] is None
    assert row["step_kind"] == ""
    assert row["reason"].startswith("The rate before the work of 2021-01-01 is not known at mark")


@pytest.mark.parametrize(("pair", "word"), [((-3.0, -0.1), "slower"), ((0.1, 3.0), "faster"), ((-3.0, 0.0), "")])
def test_slower_and_faster_are_said_only_where_the_bounds_say_so(pair: tuple[float, float], word: str) -> None:
    row = {f"difference_{end}": value for end, value in zip(("lower", "upper"), pair, strict=True)}
    row |= {"mark": "M3", "reinforced_on": date(2021, 1, 1), "difference_mm_per_year": sum(pair) / 2}
    row |= {"before_mm_per_year": 2.0, "after_mm_per_year": 0.5, "step_mm": None, "take_up_mm": None}
    assert repair_words.change(row) == word
    said = repair_words.reason(row | {"read_after": True}, "mm", 90)
    assert said.startswith(
        f"Mark M3 moves in 1.6 mm a year {word}" if word else "Mark M3 is not shown to move slower or"
    )
    assert ("do not show that its rate has changed" in repair_words.warning(row, False)) == (word == "")
    assert "wet or cold season" in repair_words.warning(row, True)


def warned(visits: tuple[tuple[str, Part], ...], last: str, sign: float) -> bool:
    """Whether the season is named; last: weather of the last visit before the work; sign: turns the readings over."""
    table = rows(visits).assign(weather="dry")
    table.loc[table["part"] == "before", "weather"] = last
    table["deflection_mm"] *= sign
    return "wet or cold season" in one(table)["warning"]


def test_the_first_dry_season_is_not_credited_to_the_work() -> None:
    """The last visit before the work was noted wet or stood in the inward half of the fitted cycle."""
    assert warned(VISITS[:7], "wet", 1.0)
    assert warned(VISITS[:7], "frost", -1.0)
    assert sorted(warned(VISITS[:7], "dry", sign) for sign in (1.0, -1.0)) == [False, True]
    assert not warned(VISITS, "wet", 1.0), "visits after the work span more than a year"


def test_a_cycle_that_two_visits_cannot_tell_stands_nowhere() -> None:
    """What is left of it are rounding errors, of one sign or the other as the readings are turned over."""
    assert not any(warned(VISITS[1:7], "dry", sign) for sign in (1.0, -1.0))


def test_of_marks_whose_rates_differ_by_rounding_errors_alone_the_first_is_told_of() -> None:
    readings = rows()
    cases, found = kept(readings)
    top = max((found[0].rate[number] for number in (M2, M3, M4)), key=lambda rate: abs(found[0].value(rate)))
    top = top * np.sign(found[0].value(top))
    alike = found[0].rate.copy()
    alike[[M2, M3, M4]] = top, top * (1 + 1e-13), top
    table, walls, _, events = facts(readings)
    found[0] = replace(found[0], rate=alike)
    assert found[0].value(alike[M3]) > found[0].value(alike[M2]) > 0
    assert repairs.table(cases, found, table, events, walls, SETTINGS)["mark"].to_pylist() == ["M2"]


BARE = Variances(
    methods={method: MethodSds(reading_mm=1.0) for method in Method},
    season_mm=0,
    local_mm_per_year=0,
    local_share=0,
    wobble_mm=0,
)


def test_a_step_in_a_common_trend_as_published_of_the_nile() -> None:
    """Annual flows 1871-1970 with a drop after 1898 (Cobb 1978, Biometrika 65; data of statsmodels).

    Shift -283.60238 (standard error 45.22707) beside a common trend of 0.716492 a year (0.703487), least squares. A
    year of the data stands 1461 days after the one before, so that its days are whole; rates are four times as large.
    """
    flows = nile.load_pandas().data
    when = np.datetime64("1871-01-01") + 1461 * (flows["year"].to_numpy() - 1871).astype(int) * np.timedelta64(1, "D")
    table = pd.DataFrame({"house": "H1", "mark": "M3", "visit_date": when, "deflection_mm": flows["volume"]})
    event = {"house": "H1", "event_date": str(when[28]), "kind": "straightening"}
    _, found = kept(invented.readings(table), invented.events([event]), BARE)
    (period,) = found.values()
    before, after = period.lines
    day = period.time0
    step = period.reading(after, day) - period.reading(before, day)
    sd = np.sqrt(period.estimate.q / period.estimate.d)
    assert period.value(step) + after.center_mm - before.center_mm == pytest.approx(-283.60238, abs=5e-6)
    assert np.sqrt(step @ period.estimate.covariance @ step) * sd == pytest.approx(45.22707, abs=5e-6)
    rate = period.rate[period.marks[M3]]
    assert period.value(rate) * 4 == pytest.approx(0.716492, abs=5e-7)
    assert np.sqrt(rate @ period.estimate.covariance @ rate) * sd * 4 == pytest.approx(0.703487, abs=5e-7)
