"""The restricted likelihood against an independent mixed model's, on a published case that both can express."""

from pathlib import Path

import invented
import numpy as np
import pandas as pd
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

from monitor.config import MethodSds, Rules, Variances
from monitor.terms import Method
from monitor.trend import parameters
from monitor.trend.cases import build
from monitor.trend.likelihood import Likelihood
from monitor.trend.variances import METHODS

DATA = Path(__file__).parent / "data"
SHARED_ERROR = Variances(
    methods=dict.fromkeys(Method, MethodSds(reading_mm=1.0, offset_mm=1.0)),
    season_mm=0,
    local_mm_per_year=0,
    local_share=0,
    wobble_mm=0,
)


def test_plates_with_a_shared_error_have_its_likelihood_up_to_a_constant_of_the_design() -> None:
    """statsmodels MixedLM; penicillin of Davies & Goldsmith (1972), table 6.7: samples fixed levels, plates random.

    It takes the best reading variance for each ratio of plate to reading, which is q / d at a reading sd of 1.
    """
    data = pd.read_csv(DATA / "penicillin.csv")
    plate, y = pd.factorize(data["plate"])[0] + 1, data["diameter"].to_numpy(float)
    readings = invented.readings(
        pd.DataFrame({"house": "W", "visit_date": "2020-01-01", "mark": data["sample"], "setup": plate,
                      "deflection_mm": y, "method": "meter"})
    )  # fmt: skip
    places = [(mark, 4500.0, 1220.0) for mark in sorted(set(data["sample"]))]
    facts = (readings, invented.walls(["W"]), invented.marks(["W"], places), invented.events())
    cases = build(*facts, Rules(), pd.Timestamp("2020-02-01").date())
    likelihood, sds = Likelihood(cases, SHARED_ERROR), parameters.to_vector(SHARED_ERROR)
    independent = MixedLM(y, pd.get_dummies(data["sample"]).to_numpy(float), plate)
    independent.fit(reml=True, method="lbfgs")  # sets what its likelihood needs
    meter = METHODS.index(Method.METER)
    both = [parameters.READING + meter, parameters.OFFSET + meter]
    gaps = []
    for ratio in (0.01, 0.3, 2.0, 2.37, 30.0):
        sds[both] = 1.0, ratio**0.5
        unit = likelihood.at(sds)
        sds[both] *= (unit.q.sum() / unit.d.sum()) ** 0.5
        point = MixedLMParams.from_components(fe_params=np.zeros(len(places)), cov_re=np.array([[ratio]]))
        gaps.append(likelihood.at(sds).log_likelihood.sum() - independent.loglike(point))
    assert np.ptp(gaps) < 1e-6
