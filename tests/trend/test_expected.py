"""What the next readings should be, against the whole covariance written out, and by simulation."""

from datetime import date, timedelta

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import build, foretold, rows_of

from monitor.config import Settings, Variances
from monitor.terms import Method
from monitor.trend import expected, reference

ON = date(2023, 5, 9)
PLACES = [
    (f"{r}{c}", x, z) for r, z in (("B", 300.0), ("M", 1250.0), ("T", 2100.0)) for c, x in enumerate((2000.0, 4500))
]
SAME = Settings(variances=Variances(local_share=0.0, scale_dof=1e9))


def register(names: tuple[str, ...] = ("H1",), events: tuple[dict[str, object], ...] = ()):
    return invented.walls(names), invented.marks(names, PLACES), invented.events(events)


def visits(
    methods: tuple[Method, ...] = (Method.STRING,),
    months: tuple[float, ...] = (0, 4, 9, 13, 18),
    names: tuple[str, ...] = ("H1",),
    seed: int = 4,
) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    when = invented.dates(date(2021, 1, 1), months)
    parts = [
        invented.grid(rng, names, PLACES, when, method, rate=(3.0, 1.0, 0.5), step_mm=1.5875)[0] for method in methods
    ]
    rows = pd.concat(parts, ignore_index=True)
    return invented.readings(rows.drop(index=[7, 20]) if len(names) == 1 else rows)


def dense_forecast(readings: pd.DataFrame, facts: tuple[pd.DataFrame, ...], method: Method, marks: list[str]):
    """Mean, sd and sd within the set-up of readings of these marks on the day, as best linear unbiased predictions."""
    variances = SAME.variances
    new = pd.DataFrame({"house": "H1", "mark": marks, "visit_date": pd.Timestamp(ON), "method": str(method)})
    new = new.assign(deflection_mm=0.0, step_mm=1.5875)
    cases = build(invented.readings(pd.concat([readings, new], ignore_index=True)), *facts, SAME.rules, ON)
    rows, seen = rows_of(cases), cases.seen
    is_new = (rows["visit"] == rows["visit"].max()).to_numpy()
    years = rows["day"].to_numpy() / 365.25
    years = years - years.mean()
    local = np.full(len(rows), variances.local_mm_per_year**2)
    v = reference.covariance(rows, seen, variances, local) + 9 * np.outer(years, years) * (seen @ seen.T)
    old, names = reference.fixed_columns(rows[~is_new].reset_index(drop=True), seen[~is_new] * 0, variances)
    levels = [("level", *key) for key in rows.loc[is_new, ["case", "mark", "stretch"]].itertuples(index=False)]
    ahead = np.array([[float(name == level) for name in names] for level in levels])
    y = rows["deflection_mm"].to_numpy()
    inverse = np.linalg.inv(v[np.ix_(~is_new, ~is_new)])
    information = np.linalg.inv(old.T @ inverse @ old)
    b = information @ old.T @ inverse @ y[~is_new]
    link = v[np.ix_(is_new, ~is_new)] @ inverse
    mean = ahead @ b + link @ (y[~is_new] - old @ b)
    rest = ahead - link @ old
    error = v[np.ix_(is_new, is_new)] - link @ v[np.ix_(~is_new, is_new)] + rest @ information @ rest.T
    return rows.loc[is_new, "mark"].tolist(), mean, error


@pytest.mark.parametrize("method", [Method.STRING, Method.METER])
def test_the_forecast_of_single_readings_is_the_best_linear_unbiased_prediction(method: Method) -> None:
    readings, facts = visits((method,)), register()
    marks, mean, error = dense_forecast(readings, facts, method, [place[0] for place in PLACES])
    found = foretold(readings, *facts, SAME, ON).set_index("mark").loc[marks]
    assert found["expected_deflection_mm"].to_numpy() == pytest.approx(mean, rel=1e-8)
    assert found["sd_mm"].to_numpy() == pytest.approx(np.sqrt(np.diag(error)), rel=1e-7)


@pytest.mark.parametrize("method", list(Method))
def test_the_forecast_within_a_set_up_is_the_prediction_of_its_contrasts(method: Method) -> None:
    readings, facts = visits((method,)), register()
    mates = {Method.STRING: ["M0", "M1"], Method.PLUMB: ["B1", "M1", "T1"]}
    marks, mean, error = dense_forecast(readings, facts, method, mates.get(method, [place[0] for place in PLACES]))
    found = foretold(readings, *facts, SAME, ON).set_index("mark").loc[marks]
    each = np.eye(len(marks))
    contrast = each - (1 - each) / (len(marks) - 1)
    assert contrast @ found["expected_deflection_mm"].to_numpy() == pytest.approx(contrast @ mean, rel=1e-7)
    want = np.sqrt(np.diag(contrast @ error @ contrast.T))
    assert found["sd_within_mm"].to_numpy() == pytest.approx(want, rel=1e-7)


def test_one_reading_says_nothing_where_a_set_up_stands_anywhere() -> None:
    found = foretold(visits((Method.PLUMB, Method.STRING)), *register(), SAME, ON)
    assert found.loc[found["method"] == "plumb", "sd_mm"].isna().all()
    assert found.loc[found["method"] == "string", "sd_mm"].notna().all()
    assert found["sd_within_mm"].notna().all()
    assert len(found) == 12


def test_a_mark_has_no_forecast_after_its_surface_was_worked_on_until_it_was_read_again() -> None:
    work = {"house": "H1", "event_date": "2023-01-10", "kind": "surface work", "marks": "M0 M1"}
    found = foretold(visits(), *register(events=(work,)), SAME, ON)
    assert found["mark"].tolist() == ["B0", "B1", "T0", "T1"]


def test_a_retired_mark_has_no_forecast() -> None:
    walls, marks, events = register()
    marks["retired_on"] = marks["retired_on"].where(marks["mark"] != "T1", pd.Timestamp(ON) - timedelta(days=1))
    assert "T1" not in foretold(visits(), walls, marks, events, SAME, ON)["mark"].tolist()


def test_a_wall_just_reinforced_has_no_forecast_and_keeps_the_old_one_on_the_day_of_the_work() -> None:
    work = {"house": "H1", "event_date": ON.isoformat(), "kind": "reinforcement"}
    facts = register(events=(work,))
    before = foretold(visits(), *register(), SAME, ON)
    pd.testing.assert_frame_equal(foretold(visits(), *facts, SAME, ON), before)
    assert foretold(visits(), *facts, SAME, ON + timedelta(days=1)).empty


def test_readings_of_the_day_itself_and_later_ones_change_no_forecast() -> None:
    rows = visits()
    later = rows.tail(6).assign(visit_date=pd.Timestamp(ON), deflection_mm=99.0)
    both = invented.readings(pd.concat([rows, later], ignore_index=True))
    pd.testing.assert_frame_equal(foretold(both, *register(), SAME, ON), foretold(rows, *register(), SAME, ON))


def test_a_likely_misread_of_the_last_visit_foretells_nothing() -> None:
    clean = visits()
    last = (clean["visit_date"] == clean["visit_date"].max()) & (clean["mark"] == "M1")
    wrong = clean.assign(deflection_mm=clean["deflection_mm"] + np.where(last, 25.4, 0.0))
    rejected = clean.assign(state=clean["state"].mask(last, "rejected"))
    found, without = (foretold(rows, *register(), SAME, ON) for rows in (wrong, rejected))
    assert last.sum() == 1
    pd.testing.assert_frame_equal(found, without)


def test_nothing_read_gives_an_empty_frame_with_its_columns() -> None:
    found = foretold(visits().iloc[:0], *register(), SAME, ON)
    assert found.empty
    assert list(found.columns) == expected.SCHEMA.names


def test_new_readings_scatter_about_the_forecast_as_it_says() -> None:
    """600 walls, the last visit foretold from the others: share of readings within 2 sd, by binomial limits."""
    names = tuple(f"H{n:03d}" for n in range(600))
    rows = visits(months=(0, 6, 12, 18, 26), names=names, seed=8)
    last = rows[rows["visit_date"] == rows["visit_date"].max()]
    walls, marks, events = invented.walls(names), invented.marks(names, PLACES), invented.events()
    found = foretold(rows, walls, marks, events, Settings(), last["visit_date"].iloc[0].date())
    both = last.merge(found, on=["house", "wall", "mark", "method"])
    assert len(both) == len(last)
    off = (both["deflection_mm"] - both["expected_deflection_mm"]).to_numpy()
    inside = np.abs(off / both["sd_mm"]) < 2
    assert inside.groupby(both["house"]).mean().mean() == pytest.approx(0.955, abs=0.02)
    row = both.assign(off=off).groupby([both["house"], both["mark"].str[0]])["off"]
    apart = 2 * (off - row.transform("mean"))
    assert (np.abs(apart / both["sd_within_mm"]) < 2).mean() == pytest.approx(0.955, abs=0.02)
