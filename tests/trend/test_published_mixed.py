"""Published mixed models through the engine's own sums and solution, at the variances that were published.

A subject, batch, plot or trial stands for a visit: its readings share an error. Only what the engine computes is
compared: estimates, standard errors and the restricted likelihood at given variances; no degrees of freedom after
Satterthwaite or Kenward-Roger (the engine's are d0 + d), and no other estimators of a variance between trials.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from monitor.trend.information import accumulate, solve

DATA = Path(__file__).parent / "data"


@dataclass(frozen=True)
class Fitted:
    """Estimates, standard errors and -2 log restricted likelihood."""

    estimate: np.ndarray
    se: np.ndarray
    criterion: float


def gls(design: np.ndarray, y: np.ndarray, columns: np.ndarray, variance: np.ndarray, prior: np.ndarray) -> Fitted:
    """Groups by readings by parameters; columns: shared errors times their sds; prior: information of parameters."""
    groups, slots, size = design.shape
    stacked = np.concatenate([design, y[..., None]], axis=-1)
    sums = accumulate(stacked, 1 / variance, columns, np.zeros((groups, columns.shape[-1]), bool)).total()
    solved = solve(sums.cross[:size, :size] + prior)
    estimate = solved.inverse @ sums.cross[:size, size]
    q = sums.cross[size, size] - estimate @ sums.cross[:size, size]
    criterion = sums.log_det + solved.log_det + q + (groups * slots - size) * np.log(2 * np.pi)
    return Fitted(estimate, np.sqrt(np.diag(solved.inverse)), float(criterion))


def shared(design: np.ndarray, y: np.ndarray, columns: np.ndarray, variance: float) -> Fitted:
    """One reading error and shared errors, no priors."""
    return gls(design, y, columns, np.full(y.shape, variance), np.zeros((design.shape[-1],) * 2))


def test_growth_of_27_children_with_random_level_and_rate() -> None:
    """Potthoff & Roy (1964), Biometrika 51, 313-326; Pinheiro & Bates (2000), ch. 1: REML, mm and mm per year.

    The printed variances have six or seven digits, and the standard errors as many.
    """
    data = pd.read_csv(DATA / "orthodont.csv").sort_values(["Subject", "age"])
    age, y = (data[name].to_numpy(float).reshape(27, 4) for name in ("age", "distance"))
    design = np.stack([np.ones_like(age), age], axis=-1)
    level, rate, correlation = np.sqrt(5.415087), np.sqrt(0.0512695), -0.60933
    effects = np.array([[level**2, correlation * level * rate], [correlation * level * rate, rate**2]])
    found = shared(design, y, design @ np.linalg.cholesky(effects), 1.716204)
    assert found.estimate == pytest.approx([16.7611111111, 0.6601851852], abs=1e-8)
    assert found.se == pytest.approx([0.77524603, 0.071253264], rel=1e-5)
    assert found.criterion == pytest.approx(2 * 221.3183429, abs=1e-6)


def test_in_balanced_data_the_shared_rate_is_the_mean_of_the_single_rates() -> None:
    """Identity on the same children: 0.6601851852 with sd / sqrt 27 = 0.0712532708; single rates as printed."""
    data = pd.read_csv(DATA / "orthodont.csv").sort_values(["Subject", "age"])
    names = data["Subject"].unique().tolist()
    age, y = (data[name].to_numpy(float).reshape(27, 4) for name in ("age", "distance"))
    none = np.zeros((1, 4, 1))
    design = np.stack([np.ones_like(age), age], axis=-1)
    rates = np.array([shared(design[[i]], y[[i]], none, 1.0).estimate[1] for i in range(27)])
    single = dict(zip(names, rates, strict=True))
    assert [single[name] for name in ("M13", "F01", "F04", "M01")] == pytest.approx([1.95, 0.375, 0.475, 0.95])
    assert rates.mean() == pytest.approx(0.6601851852, abs=1e-10)
    assert rates.std(ddof=1) / np.sqrt(27) == pytest.approx(0.0712532708, abs=1e-10)


@pytest.mark.parametrize(
    ("file", "between", "within", "mean", "se", "criterion"),
    [
        ("dyestuff", 1764.05, 2451.25, 1527.5, 19.383412, 319.654277),
        ("dyestuff2", 0.0, 13.80631, 5.6656, 0.678388, 161.828278),
    ],
)
def test_batches_of_dye_one_of_them_with_a_shared_error_of_nothing(
    file: str, between: float, within: float, mean: float, se: float, criterion: float
) -> None:
    """Davies & Goldsmith (1972) and Box & Tiao (1973), REML as computed with R's lme4."""
    y = pd.read_csv(DATA / f"{file}.csv")["Yield"].to_numpy(float).reshape(6, 5)
    found = shared(np.ones((6, 5, 1)), y, np.full((6, 5, 1), np.sqrt(between)), within)
    assert found.estimate[0] == pytest.approx(mean, abs=1e-9)
    assert found.se[0] == pytest.approx(se, rel=1e-6)
    assert found.criterion == pytest.approx(criterion, abs=1e-6)


def test_penicillin_on_plates_crossed_with_samples() -> None:
    """Davies & Goldsmith (1972), table 6.7, REML as computed with R's lme4.

    A plate is a visit with its shared error, a sample a parameter with a prior at every visit, as a mark's own rate is.
    """
    data = pd.read_csv(DATA / "penicillin.csv").sort_values(["plate", "sample"])
    y = data["diameter"].to_numpy(float).reshape(24, 6)
    plate, sample, within = 0.716905, 3.731132, 0.302415
    design = np.concatenate([np.ones((24, 6, 1)), np.broadcast_to(np.eye(6), (24, 6, 6))], axis=-1)
    prior = np.diag([0.0, *[1 / sample] * 6])
    found = gls(design, y, np.full((24, 6, 1), np.sqrt(plate)), np.full(y.shape, within), prior)
    assert found.estimate[0] == pytest.approx(22.9722222, abs=1e-7)
    assert found.se[0] == pytest.approx(0.8085954, rel=1e-6)
    assert found.estimate[1:].sum() == pytest.approx(0.0, abs=1e-9)


def test_a_treatment_between_few_plots_is_judged_against_the_plots() -> None:
    """Halekoh & Hojsgaard (2014), J. Stat. Softw. 59(9): sugar beets, effect of the harvest and its error."""
    data = pd.read_csv(DATA / "beets.csv").sort_values(["block", "harvest", "sow"])
    late = (data["harvest"] == "harv2").to_numpy(float)
    blocks, sows = (pd.get_dummies(data[name]).to_numpy(float)[:, 1:] for name in ("block", "sow"))
    design = np.column_stack([np.ones(30), blocks, sows, late]).reshape(6, 5, -1)
    y = data["sugpct"].to_numpy(float).reshape(6, 5)
    found = shared(design, y, np.full((6, 5, 1), np.sqrt(0.00076667)), 0.0025)
    assert found.estimate[-1] == pytest.approx(-0.1133333, abs=5e-8)
    assert found.se[-1] == pytest.approx(0.0290593, abs=5e-7)
    without = shared(design, y, np.zeros((6, 5, 1)), 0.0025)
    assert without.se[-1] < 0.7 * found.se[-1]


def trials() -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    data = pd.read_csv(DATA / "bcg.csv")
    return data, data["yi"].to_numpy()[:, None], data["vi"].to_numpy()[:, None]


def test_thirteen_trials_of_known_variance_with_and_without_a_variance_between_them() -> None:
    """Colditz et al. (1994), JAMA 271, 698-702; Viechtbauer (2010), J. Stat. Softw. 36(3): REML -0.7145 (0.1798).

    Without a variance between trials the error is 1 / sqrt(sum 1/v) = 0.04049875: known variances are not rescaled.
    """
    _, y, v = trials()
    ones, none = np.ones((13, 1, 1)), np.zeros((1, 1))
    random = gls(ones, y, np.full((13, 1, 1), np.sqrt(0.3132433)), v, none)
    assert (random.estimate[0], random.se[0]) == pytest.approx((-0.7145323, 0.1797815), abs=5e-7)
    fixed = gls(ones, y, np.zeros((13, 1, 1)), v, none)
    assert (fixed.estimate[0], fixed.se[0]) == pytest.approx((-0.43028516, 0.04049875), abs=5e-9)


@pytest.mark.parametrize(
    ("names", "between", "estimates", "ses"),
    [
        (["ablat"], 0.0763547, [0.2514643, -0.0291017], [0.2491037, 0.0071956]),
        (
            ["ablat", "year"],
            0.1107874,
            [-3.5455051, -0.0280113, 0.0019076],
            [29.0958798, 0.0102340, 0.0146838],
        ),
    ],
)
def test_the_same_trials_with_moderators(
    names: list[str], between: float, estimates: list[float], ses: list[float]
) -> None:
    """Viechtbauer (2010): latitude, then latitude and year, REML."""
    data, y, v = trials()
    design = np.stack([np.ones(13), *(data[name].to_numpy(float) for name in names)], axis=-1)[:, None, :]
    found = gls(design, y, np.full((13, 1, 1), np.sqrt(between)), v, np.zeros((len(ses),) * 2))
    assert found.estimate == pytest.approx(estimates, rel=1e-4)
    assert found.se == pytest.approx(ses, rel=1e-5)
