"""The engine against published numbers.

The straight lines, the mixed model and the interrupted series run through the engine's own sums and solution
(information.accumulate, information.solve), those that are walls in disguise through the whole engine. Two things
printed with these data are not computed by the engine and so not tested: degrees of freedom after Kenward-Roger or
Satterthwaite (the engine's are d0 + d), and Newey-West standard errors (it has no autocorrelated errors).
"""

from datetime import date
from pathlib import Path

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import build

from monitor.config import MethodSds, Rules, Variances
from monitor.terms import Method
from monitor.trend.information import Sums, accumulate, solve
from monitor.trend.portfolio import Fitted, fitted

DATA = Path(__file__).parent / "data"
BARE = Variances(
    methods={method: MethodSds(reading_mm=1.0) for method in Method},
    season_mm=0,
    local_mm_per_year=0,
    local_share=0,
    wobble_mm=0,
)
"""One reading error and nothing else: the model is ordinary least squares."""


def regression(
    design: np.ndarray, y: np.ndarray, columns: np.ndarray | None = None, free: bool = False, variance: float = 1.0
) -> tuple[np.ndarray, np.ndarray, float, Sums]:
    """Estimates, covariance and quadratic form of a regression (..., N, P) through the engine's sums."""
    columns = np.zeros((*y.shape, 1)) if columns is None else columns
    weight = np.full(y.shape, 1 / variance)
    sums = accumulate(
        np.concatenate([design, y[..., None]], axis=-1),
        weight,
        columns,
        np.full((*y.shape[:-1], columns.shape[-1]), free),
    )
    total = sums.total() if y.ndim > 1 else sums
    size = design.shape[-1]
    inverse = solve(total.cross[:size, :size]).inverse
    estimate = inverse @ total.cross[:size, size]
    return estimate, inverse, float(total.cross[size, size] - estimate @ total.cross[:size, size]), total


def test_norris_line_to_its_certified_digits() -> None:
    """NIST StRD, Linear Least Squares, Norris: certified estimates, standard errors and residual sd."""
    data = pd.read_csv(DATA / "nist_norris.csv")
    x, y = data["x"].to_numpy(), data["y"].to_numpy()
    estimate, inverse, q, _ = regression(np.stack([np.ones_like(x), x], axis=1), y)
    sd = np.sqrt(q / (len(y) - 2))
    assert estimate == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
    assert sd * np.sqrt(np.diag(inverse)) == pytest.approx([0.232818234301152, 0.000429796848199937], rel=1e-9)
    assert sd == pytest.approx(0.884796396144373, rel=1e-9)


def thermometer() -> tuple[np.ndarray, np.ndarray]:
    data = pd.read_csv(DATA / "gum_h3_thermometer.csv")
    return np.stack([np.ones(11), data["t_celsius"] - 20], axis=1), data["b_celsius"].to_numpy()


def test_thermometer_line_of_the_gum() -> None:
    """JCGM 100:2008, H.3: line, standard uncertainties, correlation and prediction, as printed and recomputed."""
    design, b = thermometer()
    estimate, inverse, q, _ = regression(design, b)
    covariance = inverse * q / 9
    assert estimate == pytest.approx([-0.171203790, 0.00218269774], rel=1e-7)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.0028775978, 0.00066793877], rel=1e-7)
    assert covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]) == pytest.approx(-0.9304296, abs=1e-7)
    at_30 = np.array([1, 10])
    assert estimate @ at_30 == pytest.approx(-0.1493768127, abs=1e-9)
    assert np.sqrt(at_30 @ covariance @ at_30) == pytest.approx(0.0041385958, abs=1e-9)


def test_a_shared_offset_widens_the_intercept_and_leaves_the_slope() -> None:
    """JCGM 100:2008, H.3.6: a systematic offset of 0.005 makes u(y1) 0.0057689 and leaves u(y2) alone."""
    design, b = thermometer()
    sd = 0.003497563964
    alone, inverse_alone, _, _ = regression(design, b, variance=sd**2)
    shared, inverse, _, _ = regression(design, b, np.full((11, 1), 0.005), variance=sd**2)
    assert np.sqrt(inverse[0, 0]) == pytest.approx(0.0057689, abs=1e-7)
    assert inverse[1, 1] == pytest.approx(inverse_alone[1, 1], rel=1e-10)
    assert shared == pytest.approx(alone, rel=1e-10)


def test_a_free_offset_takes_the_intercept_and_leaves_the_slope() -> None:
    """The same with an offset of unknown size: the slope and its uncertainty stay, the intercept is not determined."""
    design, b = thermometer()
    alone, inverse_alone, _, _ = regression(design, b)
    free, inverse, _, total = regression(design, b, np.ones((11, 1)), free=True)
    assert free[1] == pytest.approx(alone[1], rel=1e-10)
    assert inverse[1, 1] == pytest.approx(inverse_alone[1, 1], rel=1e-10)
    assert total.cross[0].tolist() == [0, 0, 0]
    assert total.count == 10


def one_mark(days: np.ndarray, values: np.ndarray, events: pd.DataFrame) -> list[Fitted]:
    """A wall with one mark at its middle, where the bow shape is 1, read by string without any shared error."""
    when = np.datetime64("1970-01-01") + days.astype("timedelta64[D]")
    rows = pd.DataFrame({"house": "H1", "mark": "M1", "visit_date": when, "deflection_mm": values})
    walls, marks = invented.walls(["H1"]), invented.marks(["H1"], [("M1", 4500.0, 1220.0)])
    rules = Rules(take_up_days=0)
    return list(fitted(build(invented.readings(rows), walls, marks, events, rules, date(2200, 1, 1)), BARE))


def test_calendar_dates_give_the_slope_per_year_of_365_and_a_quarter_days() -> None:
    """Twelve dated readings; slope and standard error computed alike by scipy linregress, numpy polyfit and R."""
    dates = [
        "2021-03-15",
        "2021-06-14",
        "2021-09-20",
        "2021-12-13",
        "2022-03-21",
        "2022-06-13",
        "2022-09-19",
        "2022-12-12",
        "2023-03-20",
        "2023-06-19",
        "2023-09-18",
        "2023-12-11",
    ]
    y = np.array([10.2, 10.5, 10.9, 10.7, 11.3, 11.4, 11.9, 11.8, 12.2, 12.5, 12.9, 12.7])
    days = np.array(dates, dtype="datetime64[D]").astype(int)
    (done,) = one_mark(days, y, invented.events())
    assert done.fit.mark_rate[0, 0] == pytest.approx(0.977892407888, abs=1e-9)
    assert done.fit.estimate.d[0] == 10
    assert done.fit.mark_se[0, 0] * np.sqrt(done.fit.estimate.q[0] / 10) == pytest.approx(0.053162858305, abs=1e-9)


def test_rates_before_and_after_a_known_break() -> None:
    """California cigarette sales around 1989: level, slope, change of both, ordinary least squares standard errors.

    Abadie, Diamond & Hainmueller (2010) for the data, Linden (2015), Stata Journal 15(2), for the model. A year of the
    data stands 1461 days (four years) after the one before, so that its days are whole; slopes are four times as large.
    """
    data = pd.read_csv(DATA / "california_cigarettes.csv")
    year, y = data.iloc[:, 0].to_numpy(), data.iloc[:, 1].to_numpy()
    work = str(np.datetime64("1970-01-01") + np.timedelta64(1461 * (1989 - 1970) - 700, "D"))
    event = invented.events([{"house": "H1", "event_date": work, "kind": "reinforcement"}])
    before, after = one_mark((year - 1970) * 1461, y, event)
    rates = 4 * np.array([done.fit.mark_rate[0, 0] for done in (before, after)])
    assert rates == pytest.approx([-1.7794737, -3.2741259], abs=5e-8)
    sd = np.sqrt(sum(d.fit.estimate.q[0] for d in (before, after)) / sum(d.fit.estimate.d[0] for d in (before, after)))
    ses = 4 * sd * np.array([done.fit.mark_se[0, 0] for done in (before, after)])
    assert ses == pytest.approx([0.2170363, 0.4333130], abs=5e-8)
    assert np.hypot(*ses) == pytest.approx(0.4846286, abs=5e-8)
    at_break = []
    for done, rate in zip((before, after), rates, strict=True):
        years_to_break = 1989 - (done.block.time0[0] / 1461 + 1970)
        at_break.append(done.fit.estimate.theta[0, 0] + done.block.center[0, 0] + rate * years_to_break)
    assert at_break[1] - at_break[0] == pytest.approx(-20.0580972, abs=5e-7)
    assert at_break[0] - rates[0] * 20 == pytest.approx(134.0052632, abs=5e-7)


SLEEP_VARIANCE = 654.940008
SLEEP_EFFECTS = np.array([[612.100158, 0.065551 * np.sqrt(612.100158 * 35.071714)], [0, 35.071714]])
SLEEP_EFFECTS[1, 0] = SLEEP_EFFECTS[0, 1]


def sleep() -> tuple[list[int], np.ndarray, np.ndarray]:
    data = pd.read_csv(DATA / "sleepstudy.csv").sort_values(["Subject", "Days"])
    subjects = sorted(set(data["Subject"]))
    days = data["Days"].to_numpy(float).reshape(len(subjects), 10)
    return subjects, np.stack([np.ones_like(days), days], axis=-1), data["Reaction"].to_numpy().reshape(-1, 10)


def test_sleep_study_with_the_published_variances_as_shared_errors() -> None:
    """Bates et al. (2015), REML: fixed effects, standard errors and criterion; each subject stands for a visit."""
    _, design, y = sleep()
    columns = design @ np.linalg.cholesky(SLEEP_EFFECTS)
    estimate, inverse, q, total = regression(design, y, columns, variance=SLEEP_VARIANCE)
    assert estimate == pytest.approx([251.4051048, 10.4672860], abs=1e-7)
    assert np.sqrt(np.diag(inverse)) == pytest.approx([6.8245967, 1.5457896], rel=1e-6)
    criterion = total.log_det + solve(total.cross[:2, :2]).log_det + q + 178 * np.log(2 * np.pi)
    assert criterion == pytest.approx(1743.628272, abs=1e-6)


def test_sleep_study_with_the_published_variances_as_random_parameters() -> None:
    """The same with each subject's deviations as parameters with a prior, as local deviations are: printed BLUPs."""
    subjects, design, y = sleep()
    whole = np.zeros((18, 10, 38))
    whole[..., :2] = design
    for number in range(18):
        whole[number, :, 2 + 2 * number : 4 + 2 * number] = design[number]
    columns = np.zeros((18, 10, 1))
    sums = accumulate(
        np.concatenate([whole, y[..., None]], axis=-1),
        np.full(y.shape, 1 / SLEEP_VARIANCE),
        columns,
        np.zeros((18, 1), bool),
    ).total()
    information = sums.cross[:38, :38]
    information[2:, 2:] += np.kron(np.eye(18), np.linalg.inv(SLEEP_EFFECTS))
    theta = solve(information).inverse @ sums.cross[:38, 38]
    effects = dict(zip(subjects, theta[2:].reshape(18, 2), strict=True))
    assert theta[:2] == pytest.approx([251.4051048, 10.4672860], abs=1e-7)
    assert effects[308] == pytest.approx([2.258551, 9.198976], abs=2e-4)
    assert effects[309] == pytest.approx([-40.398738, -8.619681], abs=2e-4)
    assert effects[310] == pytest.approx([-38.960409, -5.448856], abs=2e-4)
    assert effects[330] == pytest.approx([23.690620, -4.814350], abs=2e-4)
