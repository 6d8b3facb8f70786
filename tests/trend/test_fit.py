"""The batched engine against one dense generalised least squares (statsmodels) of the same covariance."""

from collections.abc import Sequence
from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import build, table_of
from msgspec import structs

from monitor.config import MethodSds, Settings, Variances
from monitor.terms import Method, Movement
from monitor.trend import blocks
from monitor.trend.cases import Cases
from monitor.trend.fit import Season, fit, unknown_season
from monitor.trend.information import Sums
from monitor.trend.portfolio import Fitted, fitted
from monitor.trend.reference import dense
from monitor.trend.shapes import COMPONENTS

DEFAULTS = Settings()
NINE = [
    (f"{r}{c}", x, z)
    for r, z in (("B", 300.0), ("M", 1250.0), ("T", 2100.0))
    for c, x in enumerate((1500.0, 4400, 7000))
]
ROW = [(f"M{n}", x, 1220.0) for n, x in enumerate((1500.0, 3000, 4500, 6000, 7500))]
MONTHS = (0, 3, 6, 9, 13, 15, 18, 21, 25, 30)


def random_walls(
    methods: Sequence[Method], *, seed: int = 3, keep: float = 0.7, right_end: str = "return", periods: int = 2
) -> Cases:
    """Four walls of nine marks, read at ten visits by each of the methods, with readings missing at random."""
    rng = np.random.default_rng(seed)
    names = [f"H{n}" for n in range(4)]
    when = invented.dates(date(2020, 1, 1), MONTHS)
    parts = []
    for method in methods:
        table, _ = invented.grid(rng, names, NINE, when, method, rate=(3, 1, 1), step_mm=invented.SIXTEENTH_MM)
        parts.append(table[rng.random(len(table)) < keep])
    work = [{"house": name, "event_date": "2021-02-10", "kind": "reinforcement"} for name in names]
    return build(
        invented.readings(pd.concat(parts, ignore_index=True)),
        invented.walls(names, right_end=right_end),
        invented.marks(names, NINE),
        invented.events(work[: 4 * (periods - 1)]),
        DEFAULTS.rules,
        date(2023, 6, 1),
    )


def each(cases: Cases, variances: Variances) -> list[tuple[int, Fitted, int]]:
    """(case, fitted block, place in the block) of every case, oldest periods first."""
    return [(int(case), done, b) for done in fitted(cases, variances) for b, case in enumerate(done.block.cases)]


def counted(done: Fitted, b: int) -> list[Movement]:
    """Components whose sum the marks' rates are."""
    return [
        c for c, measured in zip(COMPONENTS, done.fit.measured[b], strict=True) if measured or not done.fit.to_base[b]
    ]


STRING, PLUMB, LASER, METER = Method


@pytest.mark.parametrize("right_end", ["return", "free"])
@pytest.mark.parametrize(
    ("methods", "keep"),
    [
        ((STRING,), 0.7),
        ((PLUMB,), 0.9),
        ((LASER,), 0.9),
        ((STRING, PLUMB), 0.6),
        ((LASER, STRING), 0.6),
        ((METER, PLUMB), 0.7),
    ],
)
def test_rates_errors_and_quadratic_form_equal_a_dense_fit(
    methods: tuple[Method, ...], keep: float, right_end: str
) -> None:
    cases = random_walls(methods, keep=keep, right_end=right_end)
    local: dict[int, float] = {}
    before = {"q": 0.0, "d": 0}
    compared = 0
    for case, done, b in each(cases, DEFAULTS.variances):
        local[case] = float(done.fit.local_variance[b])
        period = table_of(cases)["period"].to_numpy()[case]
        earlier = [case - 1] if period else []
        want = dense(cases, [*earlier, case], DEFAULTS.variances, local, counted(done, b))
        before = vars(dense(cases, earlier, DEFAULTS.variances, local)) if earlier else {"q": 0.0, "d": 0}
        assert done.fit.estimate.d[b] == want.d - before["d"]
        assert done.fit.estimate.q[b] == pytest.approx(want.q - before["q"], rel=1e-8)
        marks = len(want.mark_names)
        if done.fit.mark_measured[b].any():
            assert done.fit.mark_rate[b, :marks] == pytest.approx(want.mark_rate, rel=1e-8)
            assert done.fit.mark_se[b, :marks] == pytest.approx(want.mark_se, rel=1e-8)
            compared += 1
        for number, component in enumerate(COMPONENTS):
            if done.fit.measured[b, number]:
                column = want.names.index(("rate", case, str(component)))
                assert done.fit.rate[b, number] == pytest.approx(want.results.params[column], rel=1e-8)
                assert done.fit.rate_se[b, number] == pytest.approx(want.results.bse[column], rel=1e-8)
    assert compared >= 6


def test_three_periods_hand_the_cycle_on_with_growing_distance() -> None:
    names = ["H0"]
    rng = np.random.default_rng(5)
    when = invented.dates(date(2018, 1, 1), range(0, 60, 4))
    table, _ = invented.grid(rng, names, ROW, when)
    work = [
        {"house": "H0", "event_date": day, "kind": "reinforcement"}
        for day in ("2019-06-01", "2019-06-20", "2021-03-01")
    ]
    cases = build(
        table,
        invented.walls(names),
        invented.marks(names, ROW),
        invented.events(work),
        DEFAULTS.rules,
        date(2024, 1, 1),
    )
    found = {case: (done, b) for case, done, b in each(cases, DEFAULTS.variances)}
    assert table_of(cases)["period"].tolist() == [0, 2, 3], "nothing was read between the first two jobs"
    local = {case: float(done.fit.local_variance[b]) for case, (done, b) in found.items()}
    want = dense(cases, [0, 1, 2], DEFAULTS.variances, local)
    done, b = found[2]
    assert done.fit.mark_rate[b] == pytest.approx(want.mark_rate, rel=1e-8)
    assert done.fit.mark_se[b] == pytest.approx(want.mark_se, rel=1e-8)
    total = sum(done.fit.estimate.q[b] for done, b in found.values())
    assert total == pytest.approx(want.q, rel=1e-8)


def test_the_restricted_likelihood_is_that_of_the_dense_model_up_to_a_constant_of_the_design() -> None:
    cases = random_walls((STRING, LASER), periods=1)
    gaps = []
    for scale in (1.0, 1.7):
        sds = {m: MethodSds(reading_mm=scale * sd.reading_mm, offset_mm=sd.offset_mm and scale * sd.offset_mm,
                            yaw_mm_per_m=sd.yaw_mm_per_m) for m, sd in DEFAULTS.variances.methods.items()}  # fmt: skip
        variances = structs.replace(DEFAULTS.variances, methods=sds, season_mm=0.8 * scale, local_share=0.0)
        gaps.append([])
        for case, done, b in each(cases, variances):
            model = dense(cases, [case], variances, {case: variances.local_mm_per_year**2}).results.model
            sign = -0.5 * (
                np.linalg.slogdet(model.sigma)[1]
                + np.linalg.slogdet(model.wexog.T @ model.wexog)[1]
                + done.fit.estimate.q[b]
            )
            gaps[-1].append(done.fit.estimate.log_likelihood[b] - sign)
    assert gaps[0] == pytest.approx(gaps[1], rel=1e-9)


def test_padding_and_batching_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    cases = random_walls((STRING, PLUMB))
    together = {case: (done, b) for case, done, b in each(cases, DEFAULTS.variances)}
    monkeypatch.setattr(blocks, "_SIZES", np.array([16]))
    monkeypatch.setattr(blocks, "BLOCK_CASES", 1)
    alone = each(cases, DEFAULTS.variances)
    assert {len(done.block.cases) for _, done, _ in alone} == {1}
    assert {done.block.layout.marks for _, done, _ in alone} == {16}
    for case, done, b in alone:
        other, place = together[case]
        assert other.block.layout.marks < 16
        marks = int(other.fit.mark_seen[place].sum())
        assert done.fit.mark_rate[b, :marks] == pytest.approx(other.fit.mark_rate[place, :marks], rel=1e-9)
        assert done.fit.rate[b] == pytest.approx(other.fit.rate[place], rel=1e-9)
        assert done.fit.estimate.q[b] == pytest.approx(other.fit.estimate.q[place], rel=1e-9)
        assert done.fit.estimate.d[b] == other.fit.estimate.d[place]
        assert not done.fit.mark_measured[b, marks:].any()


def only(
    places: list[tuple[str, float, float]], method: Method, months: Sequence[float] = MONTHS, right_end: str = "return"
) -> Fitted:
    """One wall read completely by one method."""
    table, _ = invented.grid(np.random.default_rng(7), ["H0"], places, invented.dates(date(2020, 1, 1), months), method)
    walls, marks = invented.walls(["H0"], right_end=right_end), invented.marks(["H0"], places)
    (done,) = fitted(
        build(table, walls, marks, invented.events(), DEFAULTS.rules, date(2024, 1, 1)), DEFAULTS.variances
    )
    return done


def test_one_row_by_string_measures_its_marks_and_no_component() -> None:
    done = only(ROW, STRING)
    assert not done.fit.measured.any()
    assert done.fit.mark_measured.all()
    assert not done.fit.to_base.any()


def test_three_rows_by_string_measure_all_components() -> None:
    assert only(NINE, STRING).fit.measured.all()


@pytest.mark.parametrize("lift", [(0, 90, -60, 40, -110), (0, 200, -300, 0, 300)])
def test_an_uneven_row_measures_no_component_though_all_three_stand_in_the_row_space(lift: tuple[int, ...]) -> None:
    """Such rows leave a component 0.06 to 3.5 % of its information once the others are unknown too."""
    done = only([(mark, x, z + up) for (mark, x, z), up in zip(ROW, lift, strict=True)], STRING)
    rates, information = done.fit.estimate.rates, done.fit.estimate.rates_information[0]
    share = 1 / (np.diag(information) * np.diag(rates.inverse[0]))
    assert rates.rank == 3
    assert ((share > 0.0005) & (share < 0.04)).all()
    assert not done.fit.measured.any()
    assert done.fit.mark_measured.all()


def test_a_plumb_line_measures_bow_and_tip_and_its_marks_relative_to_the_base() -> None:
    done = only(NINE, PLUMB)
    assert done.fit.measured.tolist() == [[True, True, False]]
    assert done.fit.to_base.all()
    assert done.fit.mark_measured.all()
    assert np.isnan(done.fit.rate[0, 2])


def test_a_plumb_line_with_two_marks_a_column_measures_nothing() -> None:
    done = only([place for place in NINE if not place[0].startswith("M")], PLUMB)
    assert not done.fit.measured.any()
    assert not done.fit.mark_measured.any()
    assert np.isnan(done.fit.mark_rate).all()


def test_a_string_between_two_free_ends_measures_nothing() -> None:
    table, _ = invented.grid(np.random.default_rng(7), ["H0"], ROW, invented.dates(date(2020, 1, 1), MONTHS))
    walls = invented.walls(["H0"], right_end="free").assign(left_end="free")
    cases = build(table, walls, invented.marks(["H0"], ROW), invented.events(), DEFAULTS.rules, date(2024, 1, 1))
    (done,) = fitted(cases, DEFAULTS.variances)
    assert not done.fit.mark_seen.any()
    assert not done.fit.mark_measured.any()


def test_a_laser_with_ends_measures_its_row_and_end_marks_halve_its_interval() -> None:
    ends = [("L", 0.0, 1220.0), *ROW, ("R", 9000.0, 1220.0)]
    with_ends, without = only(ends, LASER), only(ROW, LASER)
    assert with_ends.fit.mark_measured.tolist() == [[False, True, True, True, True, True, False]]
    ratio = np.nanmax(with_ends.fit.mark_se) / np.nanmax(without.fit.mark_se)
    assert 0.3 < ratio < 0.7


@pytest.mark.parametrize("method", list(Method))
def test_readings_of_one_day_alone_determine_nothing(method: Method) -> None:
    done = only(NINE, method, months=(0,))
    assert not done.fit.mark_measured.any()
    assert np.isnan(done.fit.mark_rate).all()
    assert np.isnan(done.fit.rate).all()


def test_two_levels_of_one_visit_each_determine_nothing() -> None:
    """A visit before and one after surface work: the step and the movement cannot be told apart."""
    table, _ = invented.grid(np.random.default_rng(7), ["H0"], ROW, invented.dates(date(2020, 1, 1), (0, 12)))
    work = invented.events([{"house": "H0", "event_date": "2020-06-01", "kind": "surface work"}])
    cases = build(table, invented.walls(["H0"]), invented.marks(["H0"], ROW), work, DEFAULTS.rules, date(2024, 1, 1))
    (done,) = fitted(cases, DEFAULTS.variances)
    assert not done.fit.mark_measured.any()


def test_local_deviations_are_as_wide_as_the_wall_moves() -> None:
    """variance = omega^2 + (kappa r)^2, r the largest mark rate of a first pass; omega 0.2 mm/yr, kappa 0.1."""
    table, _ = invented.grid(
        np.random.default_rng(7), ["H0"], ROW, invented.dates(date(2020, 1, 1), MONTHS), rate=(20, 0, 0)
    )
    walls, marks = invented.walls(["H0"]), invented.marks(["H0"], ROW)
    cases = build(table, walls, marks, invented.events(), DEFAULTS.rules, date(2024, 1, 1))
    plain = structs.replace(DEFAULTS.variances, local_share=0.0)
    (first,), (second,) = fitted(cases, plain), fitted(cases, DEFAULTS.variances)
    largest = first.fit.mark_rate[0].argmax()
    square = first.fit.mark_rate[0, largest] ** 2 - first.fit.mark_se[0, largest] ** 2
    assert first.fit.local_variance[0] == pytest.approx(0.2**2)
    assert second.fit.local_variance[0] == pytest.approx(0.2**2 + 0.1**2 * square, rel=1e-12)
    assert square == pytest.approx(400, rel=0.2)


def test_a_fit_from_every_starting_visit_is_the_fit_of_the_later_visits_alone() -> None:
    """The sums run backwards once; the same fit takes all starting visits as a further axis."""
    cases = random_walls((STRING, PLUMB), periods=1, keep=0.9)
    done = next(iter(fitted(cases, DEFAULTS.variances)))
    layout, count = done.block.layout, len(done.block.cases)
    starts = done.visits.from_each_start()
    visits = starts.count.shape[1]
    seasons = unknown_season(DEFAULTS.variances, count * visits)
    wide = Season(seasons.mean.reshape(count, visits, 2), seasons.covariance.reshape(count, visits, 2, 2))
    every = fit(starts, layout, done.block.phi[:, None], wide, DEFAULTS.variances)
    for start in (0, 3, visits - 2):
        later = Sums(*(part[:, start:] for part in vars(done.visits).values())).total()
        alone = fit(later, layout, done.block.phi, unknown_season(DEFAULTS.variances, count), DEFAULTS.variances)
        assert alone.mark_measured.any()
        assert every.mark_rate[:, start] == pytest.approx(alone.mark_rate, rel=1e-9, nan_ok=True)
        assert every.mark_se[:, start] == pytest.approx(alone.mark_se, rel=1e-9, nan_ok=True)
        assert every.estimate.d[:, start] == pytest.approx(alone.estimate.d)
