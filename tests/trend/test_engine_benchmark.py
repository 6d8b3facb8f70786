"""The benchmark of the engine on a few walls: what it measures is the model, and statsmodels fits the same walls."""

import engine
import numpy as np
import statsmodels.formula.api as smf
from by_frames import assess

from monitor.config import Settings
from monitor.pipeline.frames import frame


def test_every_wall_of_the_benchmark_is_judged_and_its_rate_is_that_of_its_middle_mark() -> None:
    """Ordinary least squares knows no set-up error and no season, so the two agree within a standard error or two."""
    tables = engine.company(12, seed=3)
    facts = [frame(tables[name]) for name in ("readings", "walls", "marks", "events")]
    found = assess(*facts, Settings(), engine.LAST)
    results = found["wall_results"].set_index("house")
    assert len(results) == 12
    assert set(results["visits"]) == {engine.VISITS}
    readings = facts[0]
    middle = found["mark_results"][found["mark_results"]["mark"] == "M3"].set_index("house")
    for house, rows in readings[readings["mark"] == "M3"].groupby("house"):
        years = (rows["visit_date"] - rows["visit_date"].min()).dt.days / 365.25
        line = smf.ols("deflection_mm ~ years", rows.assign(years=years)).fit()
        own = middle.loc[house]
        assert abs(line.params["years"] - own["rate_mm_per_year"]) < 2 * max(own["rate_se"], line.bse["years"]), house
    assert np.isfinite(results["rate_upper"]).all()
