"""The fit told as one generalised least squares: it agrees with the engine, and its residuals are what they say."""

import re
from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import assess, build, rows_of, summaries, table_of

from monitor import schema
from monitor.config import Settings
from monitor.terms import Method
from monitor.trend.portfolio import fitted
from monitor.trend.reference import covariance, fixed_columns, rate_rows
from monitor.trend.summary import Told

SETTINGS = Settings()
TODAY = date(2023, 6, 1)
NAMES = ["H0", "H1"]
NINE = [
    (f"{r}{c}", x, z)
    for r, z in (("B", 300.0), ("M", 1250.0), ("T", 2100.0))
    for c, x in enumerate((1500.0, 4400, 7000))
]


@pytest.fixture(scope="module")
def facts() -> tuple[pd.DataFrame, ...]:
    """Two walls read by string and plumb line, reinforced on the way, readings missing at random."""
    rng = np.random.default_rng(11)
    when = invented.dates(date(2020, 1, 1), (0, 4, 8, 13, 17, 20, 24, 30))
    parts = []
    for method in (Method.STRING, Method.PLUMB):
        table, _ = invented.grid(rng, NAMES, NINE, when, method, rate=(3, 1, 1), step_mm=invented.SIXTEENTH_MM)
        parts.append(table[rng.random(len(table)) < 0.7])
    work = [{"house": name, "event_date": "2021-02-10", "kind": "reinforcement"} for name in NAMES]
    return (
        invented.readings(pd.concat(parts, ignore_index=True)),
        invented.walls(NAMES),
        invented.marks(NAMES, NINE),
        invented.events(work),
    )


@pytest.fixture(scope="module")
def told(facts: tuple[pd.DataFrame, ...]) -> Told:
    return summaries(*facts, SETTINGS, TODAY)


def test_rates_and_errors_of_both_ways_agree_to_a_millionth(told: Told) -> None:
    rows = told.agreement
    assert set(rows["what"]) >= {"bow", "tip", *(mark for mark, _, _ in NINE)}
    assert set(rows["period"]) == {0, 1}
    assert rows["own_mm_per_year"].to_numpy() == pytest.approx(rows["gls_mm_per_year"].to_numpy(), rel=1e-6, abs=1e-9)
    assert rows["own_se"].to_numpy() == pytest.approx(rows["gls_se"].to_numpy(), rel=1e-6)


def test_scale_and_bounds_are_those_that_the_assessment_shows(told: Told, facts: tuple[pd.DataFrame, ...]) -> None:
    """The printed interval [0.05, 0.95] of the newest period's rates is the pair of bounds of the wall results."""
    results = assess(*facts, SETTINGS, TODAY, ahead=False)
    assert not len(results["suspects"])
    both = told.fits.merge(results["wall_results"], on=["house", "wall", "period"], suffixes=("", "_assessed"))
    assert len(both) == len(told.fits) == 4
    for row in both.itertuples():
        assert row.scale == pytest.approx(row.scale_assessed, rel=1e-8)
        assert row.dof == pytest.approx(row.dof_assessed, rel=1e-12)
        where = f", period {row.period}" if row.period else ""
        printed = re.search(rf"^rate bow{where} +(.+)$", row.summary, re.MULTILINE)
        assert printed
        numbers = [float(text) for text in printed[1].split()]
        want = (row.bow_mm_per_year, row.bow_lower, row.bow_upper)
        assert (numbers[0], numbers[4], numbers[5]) == pytest.approx(want, abs=6e-4)


def test_every_reading_is_the_sum_of_its_parts(told: Told, facts: tuple[pd.DataFrame, ...]) -> None:
    """deflection = trend + cycle + wobble + set-up + residual, for each reading that counts, once."""
    rows = told.residuals
    parts = rows[["trend_mm", "season_mm", "wobble_mm", "setup_mm", "residual_mm"]].sum(axis=1)
    assert parts.to_numpy() == pytest.approx(rows["deflection_mm"].to_numpy(), abs=1e-9)
    cases = build(*facts, SETTINGS.rules, TODAY)
    assert sorted(rows["reading_id"]) == sorted(rows_of(cases).loc[rows_of(cases)["counts"], "reading_id"])
    for name in ("season_mm", "wobble_mm", "setup_mm", "residual_mm"):
        assert rows[name].abs().max() > 0.05


def test_a_normalised_residual_is_how_far_a_reading_stands_off_what_all_others_foretell(
    told: Told, facts: tuple[pd.DataFrame, ...]
) -> None:
    """By brute force: the reading left out, foretold by a fit of the others, over the sd of the difference."""
    cases = build(*facts, SETTINGS.rules, TODAY)
    case = int(table_of(cases).query("house == 'H0' and period == 0")["case"].iloc[0])
    done, b = next(
        (done, b)
        for done in fitted(cases, SETTINGS.variances)
        for b, number in enumerate(done.block.cases)
        if number == case
    )
    rows, seen = rate_rows(cases, [case])
    sigma = covariance(rows, seen, SETTINGS.variances, np.full(len(rows), done.fit.local_variance[b]))
    fixed, _ = fixed_columns(rows, seen, SETTINGS.variances)
    y = rows["deflection_mm"].to_numpy(float)
    scale = told.fits.query("house == 'H0' and period == 0")["scale"].iloc[0]
    found = told.residuals.set_index("reading_id")["normalised"]
    compared = 0
    for out in range(0, len(rows), 5):
        kept = np.arange(len(rows)) != out
        basis = fixed[kept]
        if np.linalg.matrix_rank(basis) < fixed.shape[1]:
            assert np.isnan(found[rows["reading_id"][out]])
            continue
        inverse = np.linalg.inv(sigma[np.ix_(kept, kept)])
        information = basis.T @ inverse @ basis
        theta = np.linalg.solve(information, basis.T @ inverse @ y[kept])
        gain = inverse @ sigma[kept, out]
        rest = fixed[out] - basis.T @ gain
        foretold = fixed[out] @ theta + gain @ (y[kept] - basis @ theta)
        variance = sigma[out, out] - sigma[kept, out] @ gain + rest @ np.linalg.solve(information, rest)
        assert found[rows["reading_id"][out]] == pytest.approx(
            (y[out] - foretold) / np.sqrt(variance * scale), rel=1e-6
        )
        compared += 1
    assert compared > 5


def test_a_summary_has_no_clock_and_names_what_one_row_by_string_cannot_tell() -> None:
    row = [(f"M{n}", x, 1220.0) for n, x in enumerate((1500.0, 3000, 4500, 6000, 7500))]
    when = invented.dates(date(2020, 1, 1), (0, 6, 12, 18))
    table, _ = invented.grid(np.random.default_rng(4), ["H0"], row, when, rate=(3, 0, 0))
    facts = (table, invented.walls(["H0"]), invented.marks(["H0"], row), invented.events())
    told = summaries(*facts, SETTINGS, TODAY)
    (text,) = told.fits["summary"]
    assert "Date:" not in text
    assert "Time:" not in text
    assert re.search(r"^rate bow\* ", text, re.MULTILINE)
    assert "rate tip" not in text
    assert "* These marks and methods cannot tell this component from the others" in text
    assert set(told.agreement["what"]) == {mark for mark, _, _ in row}


def test_walls_without_a_reading_have_no_fit_and_all_tables_keep_their_columns() -> None:
    none = invented.readings(pd.DataFrame({"house": [], "visit_date": [], "mark": [], "deflection_mm": []}))
    told = summaries(none, invented.walls(["H0"]), invented.marks(["H0"], NINE), invented.events(), SETTINGS, TODAY)
    for name in ("fits", "residuals", "agreement"):
        table = getattr(told, name)
        assert len(table) == 0
        assert list(table.columns) == schema.find(name).names
