"""Screening of misreads: against the dense inverse, published outliers, and by simulation with known misreads."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import build, rows_of
from scipy import stats

from monitor.config import MethodSds, Settings, Variances
from monitor.terms import Method
from monitor.trend import reference
from monitor.trend.cases import Cases
from monitor.trend.portfolio import fitted
from monitor.trend.screening import Residuals, residuals, screen
from monitor.trend.shapes import BOW

DATA = Path(__file__).parent / "data"
SETTINGS = Settings()
PLAIN = Variances(local_share=0.0)
LATE = date(2035, 1, 1)
ROW = [(f"M{n}", x, 1220.0) for n, x in enumerate((1500.0, 3000, 4500, 6000, 7500))]
NINE = [
    (f"{r}{c}", x, z)
    for r, z in (("B", 300.0), ("M", 1250.0), ("T", 2100.0))
    for c, x in enumerate((1500.0, 4400, 7000))
]
Places = Sequence[tuple[str, float, float]]


def built(rows: pd.DataFrame, places: Places, right_end: str = "return") -> Cases:
    names = sorted(set(rows["house"]))
    walls = invented.walls(names, right_end=right_end)
    return build(rows, walls, invented.marks(names, places), invented.events(), SETTINGS.rules, LATE)


def none_ruled(cases: Cases) -> np.ndarray:
    return np.zeros(len(rows_of(cases)), dtype=bool)


def dense_residuals(cases: Cases, variances: Variances) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """off, z and z with its visit free of every row, from the whole covariance written out."""
    rows, seen = rows_of(cases), cases.seen
    local = np.full(len(rows), variances.local_mm_per_year**2)
    inverse = np.linalg.inv(reference.covariance(rows, seen, variances, local))
    x, _ = reference.fixed_columns(rows, seen, variances)
    p = inverse - inverse @ x @ np.linalg.solve(x.T @ inverse @ x, x.T @ inverse)
    y = rows["deflection_mm"].to_numpy()
    a = p @ (y - y.mean())
    total, dof = variances.scale_dof * variances.scale + a @ y, variances.scale_dof + len(y) - x.shape[1]
    own = np.where(np.diag(p) > 1e-9, np.diag(p), np.nan)
    z = a / np.sqrt(own)
    scale = np.sqrt((total - z**2) / (dof - 1))
    alone = np.full(len(rows), np.nan)
    for n, visit in enumerate(rows["visit"]):
        same = (rows["visit"] == visit).to_numpy()
        b = np.stack([same * 1.0, same * seen[:, BOW]], axis=1)
        gram = np.linalg.pinv(b.T @ p @ b, rcond=1e-9, hermitian=True)
        kept = p[n, n] - p[n] @ b @ gram @ b.T @ p[n]
        if kept >= 0.05 * own[n]:
            alone[n] = (a[n] - p[n] @ b @ gram @ b.T @ a) / np.sqrt(kept)
    return a / own, z / scale, alone / scale


def only(cases: Cases, variances: Variances) -> tuple[Residuals, np.ndarray]:
    (done,) = fitted(cases, variances)
    return residuals(done, variances), done.rows


@pytest.mark.parametrize(
    ("methods", "places"),
    [
        ((Method.STRING,), ROW),
        ((Method.PLUMB,), NINE),
        ((Method.STRING, Method.LASER), NINE),
        ((Method.METER,), NINE[:4]),
    ],
)
def test_residuals_equal_those_of_the_dense_inverse(methods: tuple[Method, ...], places: Places) -> None:
    rng = np.random.default_rng(3)
    when = invented.dates(date(2021, 1, 1), (0, 4, 9, 13, 18))
    rows = pd.concat([invented.grid(rng, ("H1",), places, when, m, rate=(3, 1, 1))[0] for m in methods])
    cases = built(invented.readings(rows[rng.random(len(rows)) < 0.9].reset_index(drop=True)), places)
    found, number = only(cases, PLAIN)
    off, z, alone = dense_residuals(cases, PLAIN)
    assert found.off_mm == pytest.approx(off[number], rel=1e-6, abs=1e-8, nan_ok=True)
    assert found.z == pytest.approx(z[number], rel=1e-6, abs=1e-8, nan_ok=True)
    assert found.alone == pytest.approx(alone[number], rel=1e-6, abs=1e-7, nan_ok=True)
    assert np.isfinite(alone).any()


def test_the_outliers_of_rosner_stand_as_far_off_as_he_printed() -> None:
    """Rosner (1983), 54 values: R_1..R_4 3.118906 2.942973 3.179424 2.810181, critical 3.158794 3.151430 3.143890
    3.136165, so three outliers (6.01, 5.42, 5.34) (NIST/SEMATECH e-Handbook 1.3.5.17.3).

    One mark that the method cannot see moving, and no prior weight: each residual over the scale without it is the
    deleted residual t of Rosner's R, R^2 = (n - 1)^2 t^2 / (n (n - 2 + t^2)), largest first.
    """
    x = pd.read_csv(DATA / "rosner_1983.csv")["x"].to_numpy()
    bare = Variances(
        methods={method: MethodSds(reading_mm=1.0) for method in Method},
        season_mm=0,
        local_mm_per_year=0,
        local_share=0,
        wobble_mm=0,
        scale_dof=1e-9,
    )
    end = [("M", 9000.0, 1220.0)]
    when = [pd.Timestamp("2020-01-01") + pd.Timedelta(days=3 * n) for n in range(len(x))]
    rows = pd.DataFrame({"house": "H1", "mark": "M", "visit_date": when, "deflection_mm": x})
    left, statistics, values = invented.readings(rows), [], []
    for _ in range(4):
        found, number = only(built(left, end), bare)
        t = np.abs(found.z)
        n, largest = len(left), t.argmax()
        statistics.append(np.sqrt((n - 1) ** 2 * t[largest] ** 2 / (n * (n - 2 + t[largest] ** 2))))
        values.append(rows_of(built(left, end))["deflection_mm"].iloc[number[largest]])
        chance = stats.t.sf(t[largest], n - 2) * 2 * n
        assert (chance < 0.05) == (statistics[-1] > [3.158794, 3.151430, 3.143890, 3.136165][len(values) - 1])
        left = left[left["deflection_mm"] != values[-1]]
    assert statistics == pytest.approx([3.118906, 2.942973, 3.179424, 2.810181], abs=2e-6)
    assert values[:3] == [6.01, 5.42, 5.34]


def with_misreads(
    places: Places, method: Method, visits: int, size_mm: float, walls: int, seed: int, share: float = 0.01
) -> tuple[pd.DataFrame, set[str]]:
    """Half-yearly visits of moving walls, a share of the readings misread by that much either way."""
    rng = np.random.default_rng(seed)
    names = [f"H{n:04d}" for n in range(walls)]
    when = invented.dates(date(2020, 1, 1), range(0, 6 * visits, 6))
    rows, _ = invented.grid(rng, names, places, when, method, rate=(2, 0, 0), step_mm=invented.SIXTEENTH_MM)
    bad = rng.random(len(rows)) < share
    rows["deflection_mm"] += np.where(bad, size_mm * rng.choice([-1, 1], len(rows)), 0)
    return rows, set(rows["reading_id"][bad])


def found_in(rows: pd.DataFrame, places: Places) -> set[str]:
    cases = built(rows, places)
    return set(rows_of(cases)["reading_id"].iloc[screen(cases, SETTINGS.variances, none_ruled(cases)).outliers.row])


@pytest.mark.parametrize(
    ("places", "method", "visits", "size_mm", "low", "high"),
    [
        (NINE, Method.STRING, 8, 12.0, 0.98, 1.0),
        (NINE, Method.PLUMB, 8, 12.0, 0.98, 1.0),
        (NINE, Method.METER, 8, 15.9, 0.98, 1.0),
        (ROW, Method.STRING, 4, 12.0, 0.85, 1.0),
        (NINE, Method.STRING, 8, 6.0, 0.5, 0.9),
        (NINE, Method.STRING, 8, 3.0, 0.0, 0.1),
    ],
)
def test_the_share_of_misreads_found_is_the_promised_one(
    places: Places, method: Method, visits: int, size_mm: float, low: float, high: float
) -> None:
    rows, bad = with_misreads(places, method, visits, size_mm, 300, seed=12)
    found = found_in(rows, places)
    hits, good = len(found & bad), len(rows) - len(bad)
    assert stats.binomtest(hits, len(bad), low, alternative="less").pvalue > 0.01
    assert stats.binomtest(hits, len(bad), high, alternative="greater").pvalue > 0.01
    assert len(found - bad) / good < 0.001


def test_good_readings_are_hardly_ever_set_aside() -> None:
    """0.01-0.03 % by design, plus what binomial chance allows."""
    rows, _ = with_misreads(NINE, Method.STRING, 8, 0.0, 600, seed=4)
    assert stats.binomtest(len(found_in(rows, NINE)), len(rows), 0.0003, alternative="greater").pvalue > 0.01


@pytest.mark.parametrize(("places", "method"), [(ROW, Method.STRING), (NINE, Method.STRING), (NINE, Method.PLUMB)])
def test_a_true_bow_shaped_step_is_not_taken_for_misreads(places: Places, method: Method) -> None:
    """16 mm at the middle of the wall between two visits: under 0.3 % of those visits are touched."""
    rows, _ = with_misreads(places, method, 6, 0.0, 300, seed=9)
    newest = rows["visit_date"] == rows["visit_date"].max()
    along = {mark: np.sin(np.pi * x / 9000) * (1 - abs(2 * z / 2440 - 1)) for mark, x, z in places}
    rows["deflection_mm"] += np.where(newest, 16.0, 0.0) * rows["mark"].map(along)
    found = found_in(rows, places)
    touched = rows.loc[newest & rows["reading_id"].isin(found), "house"].nunique()
    assert stats.binomtest(touched, 300, 0.003, alternative="greater").pvalue > 0.01
    (done,) = fitted(built(rows, places), SETTINGS.variances)
    assert (np.abs(residuals(done, SETTINGS.variances).z) > 4).any()


def one_wall(places: Places, method: Method = Method.STRING, visits: int = 7, seed: int = 1) -> pd.DataFrame:
    when = invented.dates(date(2020, 1, 1), range(0, 6 * visits, 6))
    return invented.grid(np.random.default_rng(seed), ("H1",), places, when, method)[0]


def off_by(rows: pd.DataFrame, mm: float, mark: str | None = None, visit: int = -1) -> pd.DataFrame:
    day = sorted(set(rows["visit_date"]))[visit]
    hit = (rows["visit_date"] == day) & ((rows["mark"] == mark) if mark else True)
    return rows.assign(deflection_mm=rows["deflection_mm"] + np.where(hit, mm, 0.0))


def test_the_misread_of_one_mark_is_set_aside_with_its_size_and_nothing_else() -> None:
    cases = built(off_by(one_wall(ROW), 15.9, "M2", visit=3), ROW)
    found = screen(cases, SETTINGS.variances, none_ruled(cases))
    (row,) = found.outliers.row
    assert rows_of(cases)["mark"].iloc[row] == "M2"
    assert found.outliers.off_mm[0] == pytest.approx(15.9, abs=4)
    assert not len(found.doubts)


def test_two_misreads_of_one_wall_are_set_aside_one_after_the_other() -> None:
    rows = off_by(off_by(one_wall(NINE), 25.4, "M1", visit=2), -12.7, "T0", visit=5)
    cases = built(rows, NINE)
    found = rows_of(cases).iloc[screen(cases, SETTINGS.variances, none_ruled(cases)).outliers.row]
    assert found["mark"].tolist() == ["M1", "T0"]


def test_of_two_visits_the_later_reading_is_set_aside_for_it_can_be_read_again() -> None:
    for size in (20.0, -20.0):
        cases = built(off_by(one_wall(ROW, visits=2), size, "M2", visit=0), ROW)
        found = rows_of(cases).iloc[screen(cases, SETTINGS.variances, none_ruled(cases)).outliers.row]
        assert found["mark"].tolist() == ["M2"]
        assert found["visit"].tolist() == [1]


def test_a_released_reading_is_never_set_aside() -> None:
    cases = built(off_by(one_wall(ROW), 15.9, "M2", visit=3), ROW)
    ruled = none_ruled(cases)
    ruled[screen(cases, SETTINGS.variances, ruled).outliers.row] = True
    again = screen(cases, SETTINGS.variances, ruled)
    assert not ruled[again.outliers.row].any()
    assert not ruled[again.doubts.row].any()


@pytest.mark.parametrize("marks", [1, 2])
def test_with_one_or_two_marks_an_outlier_stays_and_is_doubted(marks: int) -> None:
    places = ROW[1 : 1 + marks]
    cases = built(off_by(one_wall(places), 20.0, "M1", visit=4), places)
    found = screen(cases, SETTINGS.variances, none_ruled(cases))
    assert not len(found.outliers)
    assert len(found.doubts)
    assert not found.doubts.together.any()


@pytest.mark.parametrize("size", [14.0, -14.0])
def test_a_newest_visit_that_stands_apart_as_a_whole_is_doubted_and_nothing_of_it_is_dropped(size: float) -> None:
    cases = built(off_by(one_wall(ROW), size), ROW)
    found = screen(cases, SETTINGS.variances, none_ruled(cases))
    assert not len(found.outliers)
    assert found.doubts.together.all()
    assert set(rows_of(cases)["visit"].iloc[found.doubts.row]) == {rows_of(cases)["visit"].max()}


def test_a_plumb_line_hung_elsewhere_is_no_doubt() -> None:
    cases = built(off_by(one_wall(NINE, Method.PLUMB), 30.0), NINE)
    found = screen(cases, SETTINGS.variances, none_ruled(cases))
    assert not len(found.outliers)
    assert not len(found.doubts)


def test_other_walls_and_the_order_of_rows_change_nothing() -> None:
    rows, _ = with_misreads(NINE, Method.STRING, 6, 14.0, 8, seed=3, share=0.03)
    together = found_in(rows, NINE)
    apart = set().union(*(found_in(rows[rows["house"] == house], NINE) for house in set(rows["house"])))
    assert len(together) > 3
    assert together == apart == found_in(rows.sample(frac=1, random_state=2), NINE)


@pytest.mark.parametrize("visits", [0, 1])
def test_nothing_to_screen_finds_nothing(visits: int) -> None:
    rows = one_wall(ROW, visits=1)
    cases = built(rows if visits else rows.assign(state="rejected"), ROW)
    found = screen(cases, SETTINGS.variances, none_ruled(cases))
    assert not len(found.outliers)
    assert not len(found.doubts)
