"""Restarted evidence: against refits from every starting visit, and what it finds and does not, by simulation."""

from collections.abc import Sequence
from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import assess, build
from scipy import special

from monitor.config import Settings, Variances
from monitor.terms import Method
from monitor.trend import evidence
from monitor.trend.cases import Cases
from monitor.trend.portfolio import Fitted, fitted
from monitor.trend.restarts import restarted

ROW = [(f"M{n}", x, 1220.0) for n, x in enumerate((1500.0, 3000, 4500, 6000, 7500))]
NINE = [
    (f"{r}{c}", x, z)
    for r, z in (("B", 300.0), ("M", 1250.0), ("T", 2100.0))
    for c, x in enumerate((1500.0, 4400, 7000))
]
SETTINGS = Settings()
AFTER = SETTINGS.rules.after_mm_per_year
BEFORE = SETTINGS.rules.before_mm_per_year
PLAIN = Variances(local_share=0.0)
TOLD = date(2026, 1, 1)


def cases_of(readings: pd.DataFrame, places=ROW, events=()) -> Cases:
    names = sorted(set(readings["house"]))
    facts = (invented.walls(names), invented.marks(names, places), invented.events(events))
    return build(readings, *facts, SETTINGS.rules, TOLD)


def drawn(methods: Sequence[Method], places, seed: int, months: Sequence[float], bow: float = 4.0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    when = invented.dates(date(2020, 3, 1), months)
    parts = [invented.grid(rng, ("H1",), places, when, method, rate=(bow, 1, 1))[0] for method in methods]
    rows = pd.concat(parts, ignore_index=True)
    last_two = rows["visit_date"].isin(when[-2:])
    return invented.readings(rows[(rng.random(len(rows)) < 0.8) | last_two])


def naive(readings: pd.DataFrame, places, events, whole: Fitted, period: int) -> list[float]:
    """The wall's evidence from each starting visit, each by a fit of its own."""
    threshold = SETTINGS.rules.threshold(period)
    days = pd.DatetimeIndex(sorted(set(readings.loc[in_period(readings, events, period), "visit_date"])))
    out = []
    for start in days[:-1]:
        kept = readings[(readings["visit_date"] >= start) | ~in_period(readings, events, period)]
        *_, done = fitted(cases_of(kept, places, events), PLAIN)
        log_e = evidence.log_evidence(
            done.fit.mark_rate, done.fit.mark_se, threshold, whole.scale.sum, whole.scale.dof, PLAIN.scale
        )
        out.append(float(evidence.wall_log_evidence(log_e, done.fit.mark_seen)[0]))
    return out


def in_period(readings: pd.DataFrame, events, period: int) -> pd.Series:
    if not events:
        return pd.Series(True, index=readings.index)
    counting = pd.Timestamp(events[0]["event_date"]) + pd.Timedelta(days=SETTINGS.rules.take_up_days)
    return readings["visit_date"] >= counting if period else readings["visit_date"] < counting


@pytest.mark.parametrize(
    ("methods", "places", "reinforced", "bow", "adds_up"),
    [
        ((Method.STRING,), ROW, False, 12.0, True),
        ((Method.STRING, Method.PLUMB), NINE, False, 0.0, False),
        ((Method.STRING, Method.PLUMB), NINE, False, 9.0, True),
        ((Method.LASER,), NINE, True, 12.0, True),
    ],
)
def test_one_backward_sweep_equals_a_refit_from_every_starting_visit(
    methods, places, reinforced: bool, bow: float, adds_up: bool
) -> None:
    events = [{"house": "H1", "event_date": "2020-12-20", "kind": "reinforcement"}] if reinforced else []
    period = int(reinforced)
    readings = drawn(methods, places, 5, (0, 3, 6, 9, 13, 16, 20, 24, 29), bow)
    *_, done = fitted(cases_of(readings, places, events), PLAIN)
    found = restarted(done, np.array([SETTINGS.rules.threshold(period)]), PLAIN)
    terms = naive(readings, places, events, done, period)
    assert len(terms) >= 4
    assert found.terms[0][: len(terms)] == pytest.approx(terms, rel=1e-9, abs=1e-10)
    assert np.isneginf(found.terms[0][len(terms) :]).all()
    assert (max(terms) >= np.log(3)) == adds_up
    assert found.log_evidence[0] == pytest.approx(special.logsumexp(terms) if adds_up else max(terms), rel=1e-10)
    assert found.onset[0] == np.argmax(terms)


def test_the_first_starting_visit_is_the_whole_period_s_fit_moving_share_included() -> None:
    (done,) = fitted(cases_of(drawn((Method.STRING,), ROW, 5, (0, 6, 12, 18, 24))), SETTINGS.variances)
    first = done.from_each_start()
    assert first.mark_rate[0, 0] == pytest.approx(done.fit.mark_rate[0], rel=1e-10)
    assert first.mark_se[0, 0] == pytest.approx(done.fit.mark_se[0], rel=1e-10)


@pytest.mark.parametrize("months", [(0,), (0, 6)])
def test_short_records_have_one_starting_visit_less_than_visits(months: tuple[float, ...]) -> None:
    (done,) = fitted(cases_of(drawn((Method.STRING,), ROW, 5, months)), SETTINGS.variances)
    found = restarted(done, np.array([BEFORE]), SETTINGS.variances)
    assert np.isfinite(found.terms).sum() == len(months) - 1
    if len(months) == 1:
        assert (found.log_evidence[0], found.onset[0]) == (0.0, -1)


def test_a_wall_of_which_nothing_is_measured_has_no_evidence_however_often_it_is_read() -> None:
    """Twelve starting visits that tell nothing would add up to twelve."""
    base = [("A", 3000.0, 0.0), ("B", 6000.0, 0.0)]
    (done,) = fitted(cases_of(drawn((Method.PLUMB,), base, 5, range(0, 39, 3)), base), SETTINGS.variances)
    assert not done.fit.mark_measured.any()
    assert restarted(done, np.array([BEFORE]), SETTINGS.variances).log_evidence[0] == 0.0


@pytest.mark.parametrize("places", [ROW, ROW[2:3]])
def test_still_walls_read_each_fortnight_are_not_called_moving_by_starts_that_tell_nothing(places) -> None:
    """Thirty visits in fifteen months: their plain sum reaches 20 for half to nine tenths of the walls."""
    names = [f"H{n:03d}" for n in range(60)]
    when = invented.dates(date(2020, 1, 1), np.arange(0, 15, 0.5))
    rows, _ = invented.grid(np.random.default_rng(1), names, places, when, step_mm=invented.SIXTEENTH_MM)
    (done,) = fitted(cases_of(rows, places), SETTINGS.variances)
    found = restarted(done, np.full(len(names), AFTER), SETTINGS.variances)
    assert (special.logsumexp(found.terms, axis=-1) >= np.log(20)).mean() > 0.3
    assert (found.log_evidence < np.log(10)).all()


def failing_late(walls: int, every: int, seed: int, rate: float = 6.0) -> tuple[pd.DataFrame, list[pd.Timestamp]]:
    """Rows of five by string that hold for three years after reinforcement and then move at the middle, mm/yr."""
    names = [f"H{n:03d}" for n in range(walls)]
    when = invented.dates(date(2019, 10, 1), range(4, 4 + 73, every))
    rows, _ = invented.grid(
        np.random.default_rng(seed), names, ROW, when, local_mm_per_year=0.1, step_mm=invented.SIXTEENTH_MM
    )
    years = (rows["visit_date"] - when[0]).dt.days / 365.25
    shape = np.sin(np.pi * rows["mark"].map({mark: x for mark, x, _ in ROW}) / 9000)
    rows["deflection_mm"] += rate * np.maximum(years - 3, 0) * shape
    return rows, when


def shown_after(rows: pd.DataFrame, when: list[pd.Timestamp], from_start: bool) -> np.ndarray:
    """Years from the onset, three years after the first visit, until each wall is shown to move."""
    names = sorted(set(rows["house"]))
    shown = np.full(len(names), np.inf)
    events = [{"house": name, "event_date": "2019-10-01", "kind": "reinforcement"} for name in names]
    onset = when[0] + pd.Timedelta(days=3 * 365.25)
    for day in [day for day in when[2:] if day > onset]:
        for done in fitted(cases_of(rows[rows["visit_date"] <= day], ROW, events), SETTINGS.variances):
            found = restarted(done, np.full(len(done.block.cases), AFTER), SETTINGS.variances)
            evidence_ = found.terms[:, 0] if from_start else found.log_evidence
            moving = (evidence_ >= np.log(20)) & np.isinf(shown[: len(evidence_)])
            shown[: len(evidence_)][moving] = (day - onset).days / 365.25
    return shown


@pytest.mark.parametrize(("every", "most", "least_gain"), [(3, 1.5, 0.5), (6, 2.0, 0.5)])
def test_a_late_failure_is_found_about_a_year_earlier_than_from_one_line(
    every: int, most: float, least_gain: float
) -> None:
    """Three years of holding, then 6 mm/yr: one line through the period takes 2.0-2.5 years, restarts 1.1-1.5."""
    rows, when = failing_late(60, every, seed=every)
    with_restarts, without = (np.median(shown_after(rows, when, one_line)) for one_line in (False, True))
    assert 0.5 < with_restarts <= most
    assert without - with_restarts >= least_gain


def test_the_reason_dates_the_onset_near_the_truth() -> None:
    """Rather early than late: a start some visits before the onset has the longer line to tell."""
    rows, when = failing_late(40, 3, seed=2)
    names = sorted(set(rows["house"]))
    rows = rows[rows["visit_date"] <= when[0] + pd.Timedelta(days=5 * 365.25)]
    events = invented.events([{"house": name, "event_date": "2019-10-01", "kind": "reinforcement"} for name in names])
    facts = (invented.walls(names), invented.marks(names, ROW), events)
    found = assess(rows, *facts, SETTINGS, rows["visit_date"].max().date())["wall_results"]
    moving = found[found["is_current"] & (found["verdict"] == "moving")]
    truth = when[0] + pd.Timedelta(days=3 * 365.25)
    late = (moving["onset"] - truth).dt.days / 365.25
    assert len(moving) >= 36
    assert -1.0 < late.median() < 0.3
    assert (late.abs() < 1.3).mean() > 0.85
    one = moving.iloc[0]
    assert f"since about {one['onset']:%B %Y}" in one["reason"]


@pytest.mark.parametrize(("places", "share"), [(ROW[2:3], 0.03), (ROW, 0.01)])
def test_walls_exactly_at_the_threshold_are_seldom_called_moving(places, share: float) -> None:
    """Measured elsewhere per look: one mark 0.014, five 0.002; here 150 walls, 12 looks each."""
    names = [f"H{n:03d}" for n in range(150)]
    when = invented.dates(date(2020, 1, 1), range(0, 42, 3))
    lift = BEFORE / np.sin(np.pi * places[len(places) // 2][1] / 9000)
    rows, _ = invented.grid(
        np.random.default_rng(7), names, places, when, rate=(lift, 0, 0), local_mm_per_year=0.0, local_share=0.0
    )
    looks = flagged = 0
    for day in when[2:]:
        for done in fitted(cases_of(rows[rows["visit_date"] <= day], places), SETTINGS.variances):
            found = restarted(done, np.full(len(done.block.cases), BEFORE), SETTINGS.variances)
            looks += len(found.log_evidence)
            flagged += int((found.log_evidence >= np.log(20)).sum())
    assert looks == 150 * 12
    assert flagged / looks <= share


def from_each_start(done: Fitted) -> tuple[np.ndarray, np.ndarray]:
    fits = done.from_each_start()
    return fits.mark_rate[0], fits.mark_se[0]


@pytest.mark.parametrize("seed", range(8))
def test_at_a_given_prior_scale_a_higher_threshold_never_raises_the_evidence(seed: int) -> None:
    """So that it never adds a flag, from any starting visit."""
    (done,) = fitted(cases_of(drawn((Method.STRING,), ROW, seed, (0, 5, 11, 17))), SETTINGS.variances)
    rate, se = from_each_start(done)
    told = np.isfinite(se)
    assert told.sum() >= 15
    thresholds = np.linspace(0.5, 8, 40)[:, None]
    found = evidence.log_mixture((rate[told] - thresholds) / se[told], 1.5 / se[told], done.scale.sum, done.scale.dof)
    assert (np.diff(found, axis=0) <= 1e-9).all()


@pytest.mark.parametrize("seed", range(12))
def test_a_visit_that_repeats_the_forecast_of_a_mark_below_the_threshold_raises_no_evidence(seed: int) -> None:
    """The same reading again at the foretold values: less doubt about a rate below the threshold, from any start."""
    readings = drawn((Method.STRING,), ROW[2:3], seed, (0, 5, 11, 17, 24)).assign(setup=1)
    readings = readings.iloc[[0, 1, 2]] if len(readings) < 3 else readings
    threshold = 12.0
    later = readings["visit_date"].max() + pd.Timedelta(days=183)
    (done,) = fitted(cases_of(readings, ROW[2:3]), PLAIN)
    for start in range(len(readings) - 1):
        kept = readings.iloc[start:]
        (before,) = fitted(cases_of(kept, ROW[2:3]), PLAIN)
        again = foretold(before, kept, later)
        (after,) = fitted(cases_of(again, ROW[2:3]), PLAIN)
        assert before.fit.mark_rate[0, 0] < threshold
        assert after.fit.mark_rate[0, 0] == pytest.approx(before.fit.mark_rate[0, 0], rel=1e-9)
        one, other = (
            evidence.log_evidence(
                fit.mark_rate, fit.mark_se, threshold, done.scale.sum, done.scale.dof + extra, PLAIN.scale
            )[0, 0]
            for fit, extra in ((before.fit, 0), (after.fit, 1))
        )
        assert other <= one + 1e-9


def foretold(done: Fitted, readings: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """The readings and one more, at the value that the fit foretells for that day."""
    theta, layout = done.fit.estimate.theta[0], done.block.layout
    days = (day - pd.Timestamp("1970-01-01")).days
    cycle = 2 * np.pi * days / 365.25
    bow = done.block.phi[0, 0, 0]
    value = theta[0] + done.block.center[0, 0] + done.fit.mark_rate[0, 0] * (days - done.block.time0[0]) / 365.25
    value += bow * (theta[layout.season] @ [np.cos(cycle), np.sin(cycle)])
    one = readings.iloc[-1:].assign(visit_date=day, deflection_mm=value)
    return invented.readings(pd.concat([readings, one], ignore_index=True))
