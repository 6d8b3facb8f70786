"""Published variance components through the whole engine: cases, their restricted likelihood and the climb on it.

A data set becomes one wall: what is crossed with the shared error is a mark with its free level, what shares an error
is a set-up, what grows is a mark moving over visits. In balanced data REML gives the same variances whether the levels
are free or random, so the published ones must come out; a variance of the levels themselves (subjects' intercepts,
samples, parts) and its correlation with the slopes the engine does not have. No priors here, and the climb goes to the
top.

The trials of a meta-analysis are readings whose rounding is their known variance: what is left is the reading sd.
"""

from pathlib import Path

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import build
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

from monitor.config import MethodSds, Rules, Variances
from monitor.terms import Method
from monitor.trend import parameters, reml
from monitor.trend.cases import Cases
from monitor.trend.likelihood import Likelihood

DATA = Path(__file__).parent / "data"
DAY = pd.Timestamp("2200-01-01").date()
FOUR_YEARS = 1461
"""Days: the shortest time that is a whole number of days and of years."""


def wall(rows: pd.DataFrame) -> Cases:
    """One wall read by distance meter, from mark, setup, day, deflection_mm and step_mm (0 where not given)."""
    day = pd.Timestamp("1970-01-01") + pd.to_timedelta(rows["day"] if "day" in rows else 0 * rows["setup"], unit="D")
    readings = invented.readings(
        rows.assign(house="W", method="meter", visit_date=day).drop(columns="day", errors="ignore")
    )
    places = [(mark, 4500.0, 1220.0) for mark in sorted(set(rows["mark"]))]
    return build(readings, invented.walls(["W"]), invented.marks(["W"], places), invented.events(), Rules(), DAY)


def model(reading: float, offset: float | None = 0.0, slope: float = 0.0) -> Variances:
    """Only these sds, to climb from."""
    sds = MethodSds(reading_mm=reading, offset_mm=offset)
    return Variances(
        methods=dict.fromkeys(Method, MethodSds(reading_mm=1.0)) | {Method.METER: sds},
        season_mm=0,
        local_mm_per_year=slope,
        local_share=0,
        wobble_mm=0,
    )


@pytest.fixture(autouse=True)
def to_the_top(monkeypatch: pytest.MonkeyPatch) -> None:
    """As published numbers have more digits than a company needs."""
    monkeypatch.setattr(reml, "CLIMBED", 1e-7)


def climbed(cases: Cases, start: Variances) -> tuple[Variances, reml.Found]:
    """Variances without priors."""
    found = reml.climb(
        Likelihood(cases, start), parameters.to_vector(start), parameters.free(start), prior_log_sd=np.inf
    )
    return parameters.from_vector(start, found.sds), found


def squares(variances: Variances) -> tuple[float, float]:
    """Variance of a set-up and of a reading."""
    sds = variances.methods[Method.METER]
    return float(sds.offset_mm or 0.0) ** 2, sds.reading_mm**2


def test_five_instruments_with_five_readings_each() -> None:
    """NIST Statistical Reference Datasets, analysis of variance, SiRstv: mean squares as certified.

    Between (0.0127865654 - 0.010831828) / 5 = 0.00039094748, within 0.010831828; balanced, so REML is the same.
    """
    data = pd.read_csv(DATA / "nist_sirstv.csv")
    rows = pd.DataFrame({"mark": "M", "setup": data["instrument"], "deflection_mm": data["resistance"]})
    found = squares(climbed(wall(rows), model(0.3, 0.3))[0])
    assert found == pytest.approx((0.00039094748, 0.010831828), rel=1e-4)


def test_three_operators_ten_parts_three_trials() -> None:
    """Example data of the AIAG Measurement Systems Analysis manual, 4th ed.: reproducibility and repeatability."""
    data = pd.read_csv(DATA / "gauge_rr_10x3x3.csv")
    rows = pd.DataFrame(
        {
            "mark": data["part"].map("P{:02d}".format),
            "setup": pd.factorize(data["operator"])[0] + 1,
            "deflection_mm": data["reading"],
        }
    )
    found = squares(climbed(wall(rows), model(1.0, 1.0))[0])
    assert found == pytest.approx((0.0514553, 0.0399733), rel=1e-4)


def test_penicillin_on_plates_crossed_with_samples() -> None:
    """Davies & Goldsmith (1972), table 6.7, REML as computed with R's lme4: plate and residual."""
    data = pd.read_csv(DATA / "penicillin.csv")
    rows = pd.DataFrame(
        {"mark": data["sample"], "setup": pd.factorize(data["plate"])[0] + 1, "deflection_mm": data["diameter"]}
    )
    found = squares(climbed(wall(rows), model(1.0, 1.0))[0])
    assert found == pytest.approx((0.716905, 0.302415), rel=1e-4)


def dyes(file: str) -> Cases:
    data = pd.read_csv(DATA / f"{file}.csv")
    return wall(
        pd.DataFrame({"mark": "M", "setup": pd.factorize(data["Batch"])[0] + 1, "deflection_mm": data["Yield"]})
    )


def test_six_batches_of_dye() -> None:
    """Davies & Goldsmith (1972), REML as computed with R's lme4."""
    found = squares(climbed(dyes("dyestuff"), model(20.0, 20.0))[0])
    assert found == pytest.approx((1764.05, 2451.25), rel=1e-4)


def test_batches_without_an_error_of_their_own_give_an_sd_of_nothing() -> None:
    """Box & Tiao (1973), REML as computed with R's lme4: between exactly 0, within 13.80631.

    A logarithm never reaches 0: the sd ends where it adds nothing to what is seen, and every number stays finite.
    """
    variances, found = climbed(dyes("dyestuff2"), model(2.0, 2.0))
    between, within = squares(variances)
    assert between < 1e-3 * within
    assert within == pytest.approx(13.80631, rel=1e-3)
    assert np.isfinite(found.log_se).all()
    assert np.isfinite(found.at.log_likelihood).all()


@pytest.mark.parametrize(
    ("file", "columns", "unit_years", "slope_sd", "residual"),
    [
        ("orthodont", ("Subject", "age", "distance"), 2, 0.22642779, 1.716204),
        ("sleepstudy", ("Subject", "Days", "Reaction"), 4, 35.071714**0.5, 654.940008),
    ],
)
def test_subjects_that_grow_at_rates_of_their_own(
    file: str, columns: tuple[str, str, str], unit_years: int, slope_sd: float, residual: float
) -> None:
    """Pinheiro & Bates (2000), ch. 1 (27 children), and Bates et al. (2015), J. Stat. Softw. 67(1) (18 subjects).

    A subject is a mark, its slope the mark's local deviation. One unit of the printed time stands for 2 or 4 years.
    """
    data = pd.read_csv(DATA / f"{file}.csv")
    who, when, what = columns
    rows = pd.DataFrame(
        {
            "mark": data[who].astype(str),
            "setup": 1,
            "day": ((data[when] - data[when].min()) * unit_years * FOUR_YEARS / 4).astype(int),
            "deflection_mm": data[what],
        }
    )
    start = model(data[what].std(), slope=data[what].std() / 20)
    variances, _ = climbed(wall(rows), start)
    assert variances.local_mm_per_year * unit_years == pytest.approx(slope_sd, rel=1e-4)
    assert squares(variances)[1] == pytest.approx(residual, rel=1e-4)


def test_girls_that_grow_at_one_rate() -> None:
    """Pinheiro & Bates (2000), section 4.1, girls only: residual sd 0.7800331; their levels are free here."""
    data = pd.read_csv(DATA / "orthodont.csv").query("Sex == 'Female'")
    day = ((data["age"] - 8) * FOUR_YEARS / 2).astype(int)
    rows = pd.DataFrame({"mark": data["Subject"], "setup": 1, "day": day, "deflection_mm": data["distance"]})
    assert climbed(wall(rows), model(2.0))[0].methods[Method.METER].reading_mm == pytest.approx(0.7800331, rel=1e-5)


def test_what_trials_of_known_variance_differ_by_beyond_it() -> None:
    """Colditz et al. (1994), JAMA 271, 698-702; Viechtbauer (2010), J. Stat. Softw. 36(3): REML tau^2 0.3132433.

    A rounding step s adds s^2 / 12 to a reading's variance: s^2 = 12 v makes the known variance of a trial.
    """
    data = pd.read_csv(DATA / "bcg.csv")
    rows = pd.DataFrame({"mark": "M", "setup": 1, "deflection_mm": data["yi"], "step_mm": np.sqrt(12 * data["vi"])})
    assert squares(climbed(wall(rows), model(1.0))[0])[1] == pytest.approx(0.3132433, rel=2e-4)


def test_the_restricted_likelihood_is_that_of_an_independent_mixed_model_up_to_a_constant_of_the_design() -> None:
    """statsmodels MixedLM on the penicillin data, samples fixed, plates random, at five ratios of plate to reading.

    It takes the best reading variance for each ratio, which is q / d at a reading sd of 1.
    """
    data = pd.read_csv(DATA / "penicillin.csv")
    plate = pd.factorize(data["plate"])[0] + 1
    cases = wall(pd.DataFrame({"mark": data["sample"], "setup": plate, "deflection_mm": data["diameter"]}))
    fixed = pd.get_dummies(data["sample"]).to_numpy(float)
    independent = MixedLM(data["diameter"].to_numpy(), fixed, plate)
    independent.fit(reml=True, method="lbfgs")  # sets what its likelihood needs
    start = model(1.0, 1.0)
    likelihood, sds = Likelihood(cases, start), parameters.to_vector(start)
    meter = list(Method).index(Method.METER)
    both = [parameters.READING + meter, parameters.OFFSET + meter]
    gaps = []
    for ratio in (0.01, 0.3, 2.0, 2.37, 30.0):
        sds[both] = 1.0, ratio**0.5
        unit = likelihood.at(sds)
        sds[both] *= (unit.q.sum() / unit.d.sum()) ** 0.5
        point = MixedLMParams.from_components(fe_params=np.zeros(6), cov_re=np.array([[ratio]]))
        gaps.append(likelihood.at(sds).log_likelihood.sum() - independent.loglike(point))
    assert np.ptp(gaps) < 1e-6
