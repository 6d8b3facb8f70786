"""A wall with many visits against statsmodels MixedLM of the same structure: variances, estimates, standard errors."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import build
from statsmodels.regression.mixed_linear_model import MixedLM

from monitor.config import MethodSds, Rules, Variances
from monitor.terms import Method
from monitor.trend import parameters
from monitor.trend.likelihood import Likelihood
from monitor.trend.portfolio import fitted
from monitor.trend.variances import METHODS

ROW = [(f"M{n}", x, 1220.0) for n, x in enumerate((1500.0, 3000.0, 4500.0, 6000.0, 7500.0))]
VISITS, LENGTH_MM, RATE = 40, 9000.0, 2.0


def drawn(seed: int) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    """A row of five marks read at forty visits, each with one error of its set-up; the times and shapes of its rows."""
    rng = np.random.default_rng(seed)
    when = invented.dates(date(2015, 1, 1), [3.0 * n for n in range(VISITS)])
    years = np.array([(day - when[0]).days for day in when]) / 365.25
    along = np.sin(np.pi * np.array([x for _, x, _ in ROW]) / LENGTH_MM)
    value = 20.0 + RATE * years[:, None] * along + rng.normal(0, 1.3, (VISITS, 1)) + rng.normal(0, 0.8, (VISITS, 5))
    table = pd.DataFrame(
        {
            "house": "H0",
            "visit_date": np.repeat(when, 5),
            "mark": [name for name, *_ in ROW] * VISITS,
            "deflection_mm": value.ravel(),
            "method": "meter",
        }
    )
    return invented.readings(table), np.repeat(years, 5), np.tile(along, VISITS)


def model(reading_mm: float, set_up_mm: float) -> Variances:
    """Set-up and reading errors and nothing else."""
    sds = MethodSds(reading_mm=reading_mm, offset_mm=set_up_mm)
    return Variances(
        methods=dict.fromkeys(Method, sds), season_mm=0, local_mm_per_year=0, local_share=0, wobble_mm=0
    )  # fmt: skip


@pytest.mark.parametrize("seed", [1, 2])
def test_forty_visits_agree_with_a_mixed_model_fitted_by_restricted_likelihood(seed: int) -> None:
    """Rate, its error at the estimated variances, and where the likelihood of the variances is highest.

    MixedLM's own `bse` adds what the variances' being estimated costs, through the whole Hessian (here up to 2 %); its
    block of the fixed effects is the error at given variances, as ours is.
    """
    readings, years, along = drawn(seed)
    visit, mark = pd.factorize(readings["visit_date"])[0], pd.get_dummies(readings["mark"]).to_numpy(float)
    independent = MixedLM(readings["deflection_mm"].to_numpy(), np.column_stack([mark, years * along]), visit)
    found = independent.fit(reml=True, method="lbfgs")
    variances = model(float(found.scale) ** 0.5, float(found.cov_re.item()) ** 0.5)
    facts = (readings, invented.walls(["H0"]), invented.marks(["H0"], ROW), invented.events())
    cases = build(*facts, Rules(), date(2026, 1, 1))

    [done] = fitted(cases, variances)
    shape = np.sin(np.pi * np.array([x for _, x, _ in ROW]) / LENGTH_MM)
    hessian, _ = independent.hessian(found.params_object)
    error = np.linalg.inv(-hessian[:6, :6])[-1, -1] ** 0.5
    assert done.fit.mark_rate[0, :5] == pytest.approx(found.fe_params[-1] * shape, rel=1e-8)
    assert done.fit.mark_se[0, :5] == pytest.approx(error * shape, rel=1e-8)
    assert error < found.bse_fe[-1] < 1.03 * error

    meter = METHODS.index(Method.METER)
    likelihood, sds = Likelihood(cases, variances), parameters.to_vector(variances)
    best = likelihood.at(sds).log_likelihood.sum()
    for which in (parameters.READING + meter, parameters.OFFSET + meter):
        for factor in (0.98, 1.02):
            other = sds.copy()
            other[which] *= factor
            assert likelihood.at(other).log_likelihood.sum() < best
