"""Variances from the walls: the likelihood against the dense model, its gradient, known truth, and the priors."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from by_frames import build, rows_of, table_of

from monitor.config import Rules, Variances
from monitor.pipeline.frames import frame
from monitor.simulate import Sds
from monitor.simulate.portfolio import portfolio
from monitor.simulate.recipe import Layout, Recipe, Sort
from monitor.terms import Method
from monitor.trend import parameters, reml
from monitor.trend.cases import Cases
from monitor.trend.likelihood import Likelihood
from monitor.trend.reference import dense

DEFAULTS = Variances()
START = parameters.to_vector(DEFAULTS)
FREE = parameters.free(DEFAULTS)
ROW = Layout(Method.STRING)
ALL_METHODS = (
    Layout(Method.STRING, share=0.4),
    Layout(Method.PLUMB, rows="TMB", columns=(0.25, 0.5, 0.75), share=0.2),
    Layout(Method.LASER, share=0.2),
    Layout(Method.METER, share=0.2),
)
TRUE_SDS = {
    Method.STRING: Sds(reading_mm=0.6, offset_mm=1.5, yaw_mm_per_m=0.3),
    Method.PLUMB: Sds(reading_mm=1.2, offset_mm=3.0),
    Method.LASER: Sds(reading_mm=0.7, offset_mm=3.0, yaw_mm_per_m=1.5, tilt_mm_per_m=0.3),
    Method.METER: Sds(reading_mm=1.3, offset_mm=1.0),
}
MOVING = (Sort("moving", 1.0, rate=(0.5, 4.0)),)
OTHER = Recipe(
    sds=TRUE_SDS, layouts=ALL_METHODS, season_mm=1.6, wobble_mm=0.6, local_mm_per_year=0.4, sorts=MOVING,
    strapped_share=0.5,
)  # fmt: skip
"""A company whose sds are none of the defaults."""
TRUTH: Mapping[str, float] = {
    **{f"{m} {sort}": getattr(sds, sort) for m, sds in TRUE_SDS.items() for sort in parameters.SORTS},
    "season_mm": 1.6, "wobble_mm": 0.6, "local_mm_per_year": 0.4, "local_share": 0.1,
}  # fmt: skip


def walls(count: int, recipe: Recipe, seed: int) -> Cases:
    made = portfolio(count, seed=seed, recipe=recipe)
    tables = (frame(getattr(made, name)) for name in ("readings", "walls", "marks", "events"))
    return build(*tables, Rules(), date(2100, 1, 1))


def other_sds(seed: int) -> np.ndarray:
    return START * np.where(FREE, np.exp(np.random.default_rng(seed).normal(0, 0.4, len(START))), 1.0)


@pytest.fixture(scope="module")
def few() -> Cases:
    cases = walls(10, replace(OTHER, change_share=0.4, months=(0, 4, 9, 13, 18, 24)), 3)
    assert set(table_of(cases)["period"]) == {0, 1}
    assert len(set(rows_of(cases)["method_code"])) == 4
    return cases


def test_differences_of_the_likelihood_are_those_of_the_dense_model_periods_chained(few: Cases) -> None:
    likelihood = Likelihood(few, DEFAULTS)
    likelihood.speed = np.random.default_rng(1).uniform(0, 9, len(few.table))
    found, want = [], []
    for seed in (1, 2, 3):
        sds = other_sds(seed)
        variances = parameters.from_vector(DEFAULTS, sds)
        local = sds[parameters.LOCAL] ** 2 + sds[parameters.SHARE] ** 2 * likelihood.speed
        found.append(likelihood.at(sds).log_likelihood)
        want.append([_dense(few, wall, variances, local) for wall in range(likelihood.walls)])
    assert np.diff(found, axis=0) == pytest.approx(np.diff(want, axis=0), rel=1e-7, abs=1e-6)
    assert np.abs(np.diff(want, axis=0)).min() > 0.01


def _dense(cases: Cases, wall: int, variances: Variances, local: np.ndarray) -> float:
    of = table_of(cases)[table_of(cases).groupby(["house", "wall"]).ngroup() == wall]["case"]
    read = [case for case in of if (rows_of(cases)["counts"] & (rows_of(cases)["case"] == case)).any()]
    whole = dense(cases, read, variances, dict(enumerate(local)))
    model = whole.results.model
    information = model.wexog.T @ model.wexog
    return float(-0.5 * (np.linalg.slogdet(model.sigma)[1] + np.linalg.slogdet(information)[1] + whole.q))


def test_the_gradient_is_that_of_the_likelihood_for_every_wall_and_every_sd(few: Cases) -> None:
    likelihood = Likelihood(few, DEFAULTS)
    likelihood.refresh_speed(START)
    sds, step = other_sds(4), 1e-4
    score = likelihood.at(sds).score
    for number in np.flatnonzero(FREE):
        up, down = (np.where(np.arange(len(sds)) == number, sds * np.exp(sign * step), sds) for sign in (1, -1))
        slope = (likelihood.at(up).log_likelihood - likelihood.at(down).log_likelihood) / (2 * step)
        assert score[:, number] == pytest.approx(slope, rel=1e-5, abs=1e-5), parameters.name(int(number))
    assert not score[:, ~FREE].any()


def test_sds_of_a_row_by_string_are_found_within_the_stated_error() -> None:
    """200 walls of six visits: reading sd to 2 %, set-up offset to 10 %, cycle and local deviation to 30 %."""
    recipe = replace(OTHER, layouts=(ROW,), months=(0, 6, 12, 18, 24, 36), strapped_share=0.0)
    found = reml.estimate(walls(200, recipe, 5), DEFAULTS, seed=1)
    string = found.variances.methods[Method.STRING]
    assert (found.walls, found.readings) == (200, 200 * 6 * 5)
    assert string.reading_mm == pytest.approx(0.6, rel=0.02)
    assert string.offset_mm == pytest.approx(1.5, rel=0.1)
    assert string.yaw_mm_per_m == pytest.approx(0.3, rel=0.1)
    assert found.variances.season_mm == pytest.approx(1.6, rel=0.3)
    assert found.variances.local_mm_per_year == pytest.approx(0.4, rel=0.3)


def test_sds_of_all_methods_are_found_within_three_of_the_standard_errors_told() -> None:
    found = reml.estimate(walls(200, OTHER, 6), DEFAULTS, seed=1)
    sds = dict(zip(map(parameters.name, range(parameters.SIZE)), parameters.to_vector(found.variances), strict=True))
    off = {name: np.log(sds[name] / TRUTH[name]) / se for name, se in found.log_se.items()}
    assert max(map(abs, off.values())) < 3, off
    assert len(off) == 13
    moved = abs(np.log(sds["string offset_mm"] / 1.0)) / found.log_se["string offset_mm"]
    assert moved > 5, "the truth is far enough from the default for the data to have moved it"


def test_what_no_reading_tells_about_stays_at_its_default() -> None:
    found = reml.estimate(walls(20, replace(OTHER, layouts=(ROW,)), 7), DEFAULTS, seed=1)
    for method in (Method.PLUMB, Method.LASER, Method.METER):
        for sort in parameters.SORTS:
            own, default = (getattr(v.methods[method], sort) for v in (found.variances, DEFAULTS))
            assert own == (default if default is None else pytest.approx(default, rel=1e-9))
    assert found.log_se["laser yaw_mm_per_m"] == pytest.approx(reml.PRIOR_LOG_SD)
    assert found.by_method.keys() == {"string"}


def test_the_first_wall_gets_sensible_sds() -> None:
    found = reml.estimate(walls(1, replace(OTHER, layouts=(ROW,), months=(0, 6)), 8), DEFAULTS)
    ratio = parameters.to_vector(found.variances)[FREE] / START[FREE]
    assert found.walls == 1
    assert (np.abs(np.log(ratio)) < 2 * reml.PRIOR_LOG_SD).all()
    assert (found.variances.scale_dof, found.variances.scale) == (15.0, 1.0)


def further_in(cases: Cases, mm: np.ndarray) -> Cases:
    """The cases with each reading so much further in."""
    return replace(cases, rows=replace(cases.rows, deflection_mm=cases.rows.deflection_mm + mm))


def test_no_reading_at_all_gives_the_defaults() -> None:
    cases = walls(2, replace(OTHER, layouts=(ROW,)), 9)
    none = replace(cases, rows=cases.rows.take(np.zeros(0, dtype=np.intp)))
    found = reml.estimate(none, DEFAULTS)
    assert (found.variances, found.walls, found.readings) == (DEFAULTS, 0, 0)


def test_misreads_are_set_aside_first() -> None:
    """One reading in a hundred misread by 12 mm or more, left in, would give a far larger sd and smaller d0."""
    recipe = replace(OTHER, layouts=(ROW,), strapped_share=0.0)
    cases = walls(150, recipe, 10)
    wrong = np.random.default_rng(1).random(len(cases.rows)) < 0.01
    misread = further_in(cases, np.where(wrong, 12.7, 0.0))
    found = reml.estimate(misread, DEFAULTS)
    assert found.variances.methods[Method.STRING].reading_mm == pytest.approx(0.6, rel=0.06)
    every = np.ones(len(cases.rows), dtype=bool)
    left = reml.estimate(misread, DEFAULTS, ruled=every)
    assert left.variances.methods[Method.STRING].reading_mm > 0.9


def test_a_step_of_one_wall_at_its_newest_visit_is_no_noise() -> None:
    cases = walls(30, replace(OTHER, layouts=(ROW,), strapped_share=0.0), 11)
    newest = cases.rows.visit == cases.rows.visit[cases.rows.case == 0].max()
    found = reml.estimate(further_in(cases, np.where(newest, 25.0 * cases.seen[:, 0], 0.0)), DEFAULTS)
    still = reml.estimate(cases, DEFAULTS)
    assert found.variances.wobble_mm == pytest.approx(still.variances.wobble_mm, rel=0.05)
    assert found.readings == still.readings - int(newest.sum())


def test_a_technicians_shown_habit_is_no_set_up_error() -> None:
    cases = walls(12, replace(OTHER, layouts=(Layout(Method.METER),), strapped_share=0.0), 12)
    person = cases.rows.visit % 2
    moved = further_in(cases, np.where(person == 1, 6.0, 0.0))
    offset = {
        name: reml.estimate(which, DEFAULTS, technician=who).variances.methods[Method.METER].offset_mm
        for name, which, who in (("still", cases, person), ("told", moved, person), ("untold", moved, None))
    }
    assert offset["untold"] > 2 * offset["still"]
    assert offset["told"] == pytest.approx(offset["still"], rel=0.2)


def test_the_sample_is_drawn_by_the_seed_from_walls_that_were_read() -> None:
    cases = walls(40, replace(OTHER, layouts=(ROW,)), 13)
    drawn = [reml.sampled(cases, 10, seed) for seed in (1, 1, 2)]
    assert (drawn[0] == drawn[1]).all()
    assert not np.array_equal(drawn[0], drawn[2])
    assert len(rows_of(reml.of_rows(cases, drawn[0]))[["house", "wall"]].drop_duplicates()) == 10
    assert reml.estimate(cases, DEFAULTS, sample=5, seed=3) == reml.estimate(cases, DEFAULTS, sample=5, seed=3)
    assert reml.estimate(cases, DEFAULTS, sample=5, seed=3).walls == 5


def test_the_vector_of_sds_goes_there_and_back() -> None:
    assert parameters.from_vector(DEFAULTS, START) == DEFAULTS
    twice = parameters.from_vector(DEFAULTS, 2 * START)
    assert parameters.to_vector(twice) == pytest.approx(2 * START)
    assert twice.methods[Method.PLUMB].offset_mm is None
    assert twice.methods[Method.PLUMB].tilt_mm_per_m == 0
    assert len({parameters.name(number) for number in range(parameters.SIZE)}) == parameters.SIZE
