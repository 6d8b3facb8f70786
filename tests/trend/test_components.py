"""Bow, tip and slide of single visits: by hand, against statsmodels, and on walls read without any error."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from by_frames import assess

from monitor.config import MethodSds, Settings, Variances
from monitor.terms import Method
from monitor.trend.components import components

VARIANCES = Variances()
COLUMN = {"B3": (4500.0, 0.0), "M3": (4500.0, 1220.0), "T3": (4500.0, 2440.0)}
ROW = {f"M{n}": (1500.0 * n, 1220.0) for n in range(7)}
"""M0 and M6 stand at the corners."""
DAYS = ("2023-01-01", "2024-01-01", "2025-01-01")
NOTHING = {f"{part}_{end}": np.nan for part in ("bow", "tip", "slide") for end in ("mm_per_year", "lower", "upper")}


def movement(values: dict[tuple[str, str], float], **more: object) -> pd.DataFrame:
    """Rows of schema.MOVEMENT from (day, mark) to mm."""
    row = {"house": "H1", "wall": "N", "period": 0, "stretch": 0, "part": "", "counts": True, "readings": 1} | more
    return pd.DataFrame(
        [row | {"visit_date": day, "mark": mark, "deflection_mm": mm} for (day, mark), mm in values.items()]
    ).assign(visit_date=lambda rows: pd.to_datetime(rows["visit_date"]))


def rates(**rates: float) -> pd.DataFrame:
    """One row of schema.WALL_RESULTS; each rate given with bounds 1 mm/yr to either side."""
    found = NOTHING | {
        f"{part}_{end}": rate + off
        for part, rate in rates.items()
        for end, off in (("mm_per_year", 0.0), ("lower", -1.0), ("upper", 1.0))
    }
    row = {"house": "H1", "wall": "N", "period": 0, "tellable": True, "first_visit": DAYS[0]}
    return pd.DataFrame([row | found]).assign(first_visit=lambda rows: pd.to_datetime(rows["first_visit"]))


def split(moved: pd.DataFrame, results: pd.DataFrame, places: dict[str, tuple[float, float]]) -> pd.DataFrame:
    marks = invented.marks(["H1"], [(mark, x, z) for mark, (x, z) in places.items()])
    return components(moved, results, invented.walls(["H1"]), marks, VARIANCES)


def values(found: pd.DataFrame, part: str) -> list[float]:
    return found[found["component"] == part]["value_mm"].tolist()


@pytest.mark.parametrize("rate", [0.0, 3.0])
def test_a_plumb_line_shows_bow_and_tip_of_its_column_as_worked_out_by_hand(rate: float) -> None:
    # bow = middle less the mean of bottom and top: 7 - (1 + 3) / 2; tip = top less bottom: 3 - 1
    read = {("2024-01-01", "B3"): 1.0, ("2024-01-01", "M3"): 7.0, ("2024-01-01", "T3"): 3.0}
    read |= {("2023-01-01", mark): 0.0 for mark in COLUMN}
    found = split(movement(read, method="plumb"), rates(bow=rate, tip=-rate), COLUMN)
    assert values(found, "bow") == pytest.approx([0.0, 5.0], abs=1e-3)
    assert values(found, "tip") == pytest.approx([0.0, 2.0], abs=1e-3)
    assert values(found, "slide") == []


def test_a_distance_meter_shows_the_slide_too() -> None:
    read = {("2023-01-01", mark): 0.0 for mark in COLUMN}
    read |= {("2024-01-01", "B3"): 1.0, ("2024-01-01", "M3"): 7.0, ("2024-01-01", "T3"): 3.0}
    found = split(movement(read, method="meter"), rates(bow=1.0, tip=1.0, slide=1.0), COLUMN)
    assert [values(found, part)[1] for part in ("bow", "tip", "slide")] == pytest.approx([5.0, 2.0, 1.0])


def test_line_and_band_open_at_the_first_visit_with_the_rates_and_their_bounds() -> None:
    read = {(day, mark): 0.0 for day in DAYS for mark in COLUMN}
    found = split(movement(read, method="plumb"), rates(bow=2.0), COLUMN)
    years = [0.0, 365 / 365.25, 731 / 365.25]
    for name, rate in (("trend_mm", 2.0), ("band_lower_mm", 1.0), ("band_upper_mm", 3.0)):
        assert found[name].tolist() == pytest.approx([rate * year for year in years])


def test_a_visit_that_does_not_tell_a_component_apart_has_no_point_of_it() -> None:
    read = {(day, mark): 0.0 for day in DAYS for mark in COLUMN if (day, mark) != (DAYS[1], "T3")}
    found = split(movement(read, method="plumb"), rates(bow=0.0, tip=0.0), COLUMN)
    assert found["visit_date"].dt.strftime("%Y-%m-%d").tolist() == [DAYS[0], DAYS[2]] * 2
    one = {(day, "M3"): 0.0 for day in DAYS}
    assert len(split(movement(one, method="plumb"), rates(bow=0.0), COLUMN)) == 0  # its own reference is unknown


def test_a_visit_in_the_take_up_window_is_a_point_without_a_line() -> None:
    counting = movement({(day, mark): 0.0 for day in DAYS for mark in COLUMN}, method="plumb")
    early = {("2022-12-01", "B3"): 0.0, ("2022-12-01", "M3"): -2.0, ("2022-12-01", "T3"): 0.0}
    both = pd.concat([counting, movement(early, method="plumb", counts=False)])
    found = split(both, rates(bow=1.0), COLUMN)
    assert found["counts"].tolist() == [False, True, True, True]
    assert found["value_mm"].tolist() == pytest.approx([-2.0, 0.0, 0.0, 0.0], abs=1e-3)
    assert found[["trend_mm", "band_lower_mm", "band_upper_mm"]].isna().all(axis=1).tolist() == [True] + [False] * 3


def test_a_level_that_starts_later_goes_on_where_the_line_stands_by_then() -> None:
    before = movement({(day, mark): 2.0 * n for n, day in enumerate(DAYS[:2]) for mark in ["M3"]}, method="string")
    after = movement({(DAYS[2], "M3"): 0.5}, method="string", stretch=1)
    found = split(pd.concat([before, after]), rates(bow=2.0), ROW)
    # on a new zero half a millimetre off the line: the string sees it as bow, at the wall's middle in full
    assert found["value_mm"].iloc[-1] == pytest.approx(2.0 * 731 / 365.25 + 0.5)


def test_a_string_splits_a_visit_as_generalised_least_squares_do() -> None:
    sd = MethodSds(reading_mm=0.5, offset_mm=1.2, yaw_mm_per_m=0.4)
    read = dict(zip([(DAYS[1], mark) for mark in list(ROW)[:5]], [0.9, 1.1, 2.7, 3.6, 2.2], strict=True))
    moved = movement({(DAYS[0], mark): 0.0 for mark in ROW} | read, method="string")
    marks = invented.marks(["H1"], [(mark, x, z) for mark, (x, z) in ROW.items()])
    variances = Variances(methods=VARIANCES.methods | {Method.STRING: sd})
    found = components(moved, rates(bow=0.0), invented.walls(["H1"]), marks, variances)
    x = np.array([ROW[mark][0] for _, mark in read])  # the right end unread, so that a turned set-up looks like bow
    lever = (x - 4500) / 1000
    covariance = 0.5**2 * np.eye(5) + 1.2**2 + 0.4**2 * np.outer(lever, lever)
    want = sm.GLS(list(read.values()), np.sin(np.pi * x / 9000), sigma=covariance).fit().params[0]
    assert values(found, "bow") == pytest.approx([0.0, want])


def test_readings_without_error_lie_on_the_lines_of_the_fit() -> None:
    when = invented.dates(date(2021, 1, 1), (0, 6, 12, 19, 24))
    places = [
        (f"{r}{c}", x, z) for r, z in (("B", 200.0), ("M", 1220.0), ("T", 2240.0)) for c, x in ((1, 3e3), (2, 6e3))
    ]
    rows = [
        {"house": "H1", "mark": mark, "visit_date": day, "method": "meter", "deflection_mm": 9 + years * np.sin(
            np.pi * x / 9000) * (4 * (1 - abs(2 * z / 2440 - 1)) - 1.5 * z / 2440 + 2)}
        for day in when for years in [(day - when[0]).days / 365.25] for mark, x, z in places
    ]  # fmt: skip
    walls, marks = invented.walls(["H1"]), invented.marks(["H1"], places)
    done = assess(
        invented.readings(pd.DataFrame(rows)), walls, marks, invented.events([]), Settings(), date(2024, 1, 1)
    )
    found = components(done["movement"], done["wall_results"], walls, marks, VARIANCES)
    assert len(found) == 3 * 5
    years = (found["visit_date"] - pd.Timestamp(when[0])).dt.days / 365.25
    truth = found["component"].map({"bow": 4.0, "tip": -1.5, "slide": 2.0}) * years
    assert (found["value_mm"] - truth).abs().max() < 0.35  # the fit shrinks each mark's own part of the rate a little
    assert (found["value_mm"] - found["trend_mm"]).abs().max() < 0.35


def test_periods_that_tell_no_rate_have_no_points() -> None:
    read = {(day, mark): 0.0 for day in DAYS[:2] for mark in COLUMN}
    assert len(split(movement(read, method="plumb"), rates(bow=0.0).assign(tellable=False), COLUMN)) == 0
