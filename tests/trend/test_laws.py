"""Laws that hold whatever the numbers: what must not change a result, does not."""

from collections.abc import Sequence
from datetime import date, timedelta

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import assess, build

from monitor.config import MethodSds, Settings, Variances
from monitor.terms import Method
from monitor.trend.portfolio import fitted

NINE = [
    (f"{r}{c}", x, z)
    for r, z in (("B", 300.0), ("M", 1250.0), ("T", 2100.0))
    for c, x in enumerate((1500.0, 4400, 7000))
]
SETTINGS = Settings()
LENGTH = 9000.0
DAY = date(2023, 6, 1)
Facts = dict[str, pd.DataFrame]


def facts(names: Sequence[str] = ("H1", "H2"), seed: int = 11, right_end: str = "return") -> Facts:
    """Walls read by string and by plumb line, reinforced and painted on the way, some readings missing."""
    rng = np.random.default_rng(seed)
    when = invented.dates(date(2020, 1, 1), (0, 3, 6, 9, 13, 16, 20, 24, 29, 35))
    parts = [invented.grid(rng, names, NINE, when, m, rate=(3, 1, 1))[0] for m in (Method.STRING, Method.PLUMB)]
    table = pd.concat([part[rng.random(len(part)) < 0.7] for part in parts], ignore_index=True)
    work = [{"house": name, "event_date": "2021-02-10", "kind": "reinforcement"} for name in names]
    paint = [{"house": name, "event_date": "2022-03-01", "kind": "surface work", "marks": "M1 M2"} for name in names]
    return {
        "readings": invented.readings(table),
        "walls": invented.walls(names, right_end=right_end),
        "marks": invented.marks(names, NINE),
        "events": invented.events(work + paint),
    }


def judged(given: Facts, day: date = DAY, settings: Settings = SETTINGS) -> Facts:
    return assess(**given, settings=settings, judged_on=day)


def numbers(results: Facts, house: str = "H1") -> pd.DataFrame:
    """Every number of the walls' and marks' results of one house."""
    key = ["house", "wall", "period"]
    walls, marks = (results[name][results[name]["house"] == house] for name in ("wall_results", "mark_results"))
    both = marks.drop(columns=["x_mm"]).merge(walls, on=key, suffixes=("_of_mark", ""))
    return both.select_dtypes("number").set_index(both["mark"]).sort_index()


def assert_same(one: Facts, other: Facts, rtol: float = 1e-9) -> None:
    pd.testing.assert_frame_equal(numbers(one), numbers(other), rtol=rtol, atol=1e-9)


def test_a_mirrored_wall_has_the_same_rates() -> None:
    given = facts(right_end="free")
    mirrored = dict(given)
    mirrored["marks"] = given["marks"].assign(x_mm=LENGTH - given["marks"]["x_mm"])
    mirrored["walls"] = given["walls"].assign(left_end="free", right_end="return")
    assert_same(judged(given), judged(mirrored))


@pytest.mark.parametrize("shift", [1461, -5 * 1461, 100])
def test_shifted_dates_change_nothing(shift: int) -> None:
    """Whole years, and any days: the phase of the yearly cycle is unknown to the model."""
    given, moved = facts(), facts()
    moved["readings"]["visit_date"] += pd.Timedelta(days=shift)
    moved["events"]["event_date"] += pd.Timedelta(days=shift)
    assert_same(judged(given), judged(moved, DAY + timedelta(days=shift)), rtol=1e-7)


def test_the_order_of_rows_changes_nothing() -> None:
    given = facts()
    shuffled = {name: table.sample(frac=1, random_state=1) for name, table in given.items()}
    one, other = judged(given), judged(shuffled)
    for name in one:
        pd.testing.assert_frame_equal(one[name].reset_index(drop=True), other[name].reset_index(drop=True), rtol=1e-12)


def test_another_walls_readings_change_nothing() -> None:
    both = facts()
    alone = {name: table[table["house"] == "H1"] for name, table in both.items()}
    wild = both | {"readings": both["readings"].copy()}
    others = wild["readings"]["house"] == "H2"
    wild["readings"].loc[others, "deflection_mm"] *= 7
    assert_same(judged(both), judged(alone))
    assert_same(judged(both), judged(wild))


def test_a_constant_error_of_a_free_set_up_changes_no_rate_and_one_of_a_string_does() -> None:
    given = facts()
    readings = given["readings"]
    last = readings["visit_date"] == readings["visit_date"].max()
    for method, same in ((Method.PLUMB, True), (Method.STRING, False)):
        touched = last & (readings["method"] == method) & readings["mark"].isin(["B1", "M1", "T1"])
        assert touched.sum() >= 2
        shifted = given | {"readings": readings.assign(deflection_mm=readings["deflection_mm"] + 7.0 * touched)}
        rates = [numbers(judged(g))["rate_mm_per_year_of_mark"].to_numpy() for g in (given, shifted)]
        assert np.allclose(*rates, rtol=1e-8) is same


def test_a_constant_on_all_readings_of_a_stretch_changes_nothing_but_the_total() -> None:
    given = facts()
    readings = given["readings"]
    raised = given | {"readings": readings.assign(deflection_mm=readings["deflection_mm"] + 100.0)}
    one, other = numbers(judged(given)), numbers(judged(raised))
    totals = ["total_mm"]
    pd.testing.assert_frame_equal(one.drop(columns=totals), other.drop(columns=totals), rtol=1e-8)


def test_the_unit_of_length_only_scales_the_rates() -> None:
    """Readings, steps and sds in inches give the rates in inches."""
    given = facts()
    inch = 25.4
    readings = given["readings"].assign(step_mm=1.5875)
    defaults = SETTINGS.variances
    sds = {
        m: MethodSds(
            reading_mm=sd.reading_mm / inch,
            offset_mm=sd.offset_mm and sd.offset_mm / inch,
            yaw_mm_per_m=sd.yaw_mm_per_m / inch,
            tilt_mm_per_m=sd.tilt_mm_per_m / inch,
        )
        for m, sd in defaults.methods.items()
    }
    names = ("season_mm", "local_mm_per_year", "wobble_mm", "jump_rate_mm_per_year")
    small = Variances(
        methods=sds, **{name: getattr(defaults, name) / inch for name in names}, local_share=defaults.local_share
    )
    in_inches = readings.assign(deflection_mm=readings["deflection_mm"] / inch, step_mm=1.5875 / inch)
    tables = (given["walls"], given["marks"], given["events"], SETTINGS.rules, DAY)
    millimetres = list(fitted(build(readings, *tables), defaults))
    inches = list(fitted(build(in_inches, *tables), small))
    for one, other in zip(millimetres, inches, strict=True):
        assert other.fit.mark_rate * inch == pytest.approx(one.fit.mark_rate, rel=1e-9, nan_ok=True)
        assert other.fit.mark_se * inch == pytest.approx(one.fit.mark_se, rel=1e-9, nan_ok=True)
        assert other.fit.estimate.q == pytest.approx(one.fit.estimate.q, rel=1e-9)


def test_readings_after_the_day_and_rejected_ones_change_nothing() -> None:
    given = facts()
    day = date(2022, 1, 1)
    cut = given | {"readings": given["readings"][given["readings"]["visit_date"] <= pd.Timestamp(day)]}
    assert_same(judged(given, day), judged(cut, day))
    wrong = given["readings"].head(5).assign(state="rejected", deflection_mm=1e4)
    more = given | {"readings": pd.concat([given["readings"], wrong], ignore_index=True)}
    assert_same(judged(given), judged(more))


def test_an_earlier_period_uses_no_reading_from_after_it() -> None:
    given = facts()
    readings = given["readings"]
    later = readings["visit_date"] > pd.Timestamp("2021-02-10")
    changed = given | {"readings": readings.assign(deflection_mm=readings["deflection_mm"] + 50 * later)}
    cut = given | {"readings": readings[~later]}
    first = [judged(g)["wall_results"].query("period == 0 and house == 'H1'") for g in (given, changed, cut)]
    for other in first[1:]:
        columns = ["rate_mm_per_year", "rate_lower", "rate_upper", "scale", "dof", "season_mm", "bow_mm_per_year"]
        assert other[columns].to_numpy() == pytest.approx(first[0][columns].to_numpy(), rel=1e-10)
