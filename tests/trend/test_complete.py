"""The short way for complete cases against the general engine: the same numbers, whatever is asked."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import build

from monitor.config import Settings, Variances
from monitor.terms import Method
from monitor.trend.cases import Cases
from monitor.trend.complete import Complete
from monitor.trend.portfolio import Fitted, fitted, parts
from monitor.trend.screening import residuals

RULES, DEFAULTS = Settings().rules, Settings().variances
ROW = [(f"M{n}", x, 1220.0) for n, x in enumerate((0.0, 2250.0, 4500.0, 6750.0, 9000.0), start=1)]
NINE = [
    (f"{row}{n}", x, z)
    for row, z in (("B", 300.0), ("M", 1250.0), ("T", 2100.0))
    for n, x in enumerate((1500.0, 4400.0, 7000.0))
]
TIGHT = {"rel": 1e-9, "abs": 1e-10, "nan_ok": True}


def cases_of(
    method: Method,
    places: list[tuple[str, float, float]],
    months: tuple[int, ...],
    *,
    end: str = "return",
    work: str = "",
) -> Cases:
    rng = np.random.default_rng(len(months) + len(places))
    names = [f"H{n}" for n in range(6)]
    when = invented.dates(date(2020, 1, 1), months)
    rows, _ = invented.grid(rng, names, places, when, method, rate=(3, 1, 1), step_mm=invented.SIXTEENTH_MM)
    events = [{"house": name, "event_date": work, "kind": "reinforcement"} for name in names] if work else []
    walls = invented.walls(names, right_end=end)
    readings = invented.readings(rows)
    return build(readings, walls, invented.marks(names, places), invented.events(events), RULES, date(2030, 1, 1))


STORIES = {
    "a row by string": (Method.STRING, ROW, (0, 6, 12, 18, 24, 30, 36, 42), {}),
    "three rows by string": (Method.STRING, NINE, (0, 3, 9, 13, 18, 25), {}),
    "one end free": (Method.STRING, NINE, (0, 3, 9, 13, 18, 25), {"end": "free"}),
    "a meter": (Method.METER, NINE, (0, 5, 11, 20), {}),
    "one mark": (Method.METER, NINE[4:5], (0, 5, 11, 20), {}),
    "one mark twice": (Method.STRING, ROW[2:3], (0, 6), {}),
    "two visits": (Method.STRING, ROW, (0, 6), {}),
    "one visit": (Method.STRING, ROW, (0,), {}),
    "a row that sees nothing": (Method.STRING, [("E1", 0.0, 1220.0), ("E2", 9000.0, 1220.0)], (0, 6, 12), {}),
    "before and after": (Method.STRING, ROW, (0, 6, 12, 26, 32, 38, 44), {"work": "2021-06-01"}),
}


@pytest.fixture(params=STORIES)
def both(request: pytest.FixtureRequest) -> tuple[list[Complete], dict[int, tuple[Fitted, int]]]:
    """The parts the short way, and each case's place in the general engine's blocks."""
    method, places, months, more = STORIES[request.param]
    cases = cases_of(method, places, months, **more)
    found = list(parts(cases, DEFAULTS))
    assert found
    assert all(isinstance(part, Complete) for part in found)
    general = {int(case): (done, b) for done in fitted(cases, DEFAULTS) for b, case in enumerate(done.cases)}
    return found, general


def test_rates_scales_and_cycles_are_those_of_the_general_engine(
    both: tuple[list[Complete], dict[int, tuple[Fitted, int]]],
) -> None:
    for part in both[0]:
        for b, case in enumerate(part.cases):
            want, at = both[1][int(case)]
            size = part.fit.mark_rate.shape[-1]
            for name in ("measured", "rate", "rate_se", "local_variance"):
                assert getattr(part.fit, name)[b] == pytest.approx(getattr(want.fit, name)[at], **TIGHT), name
            for name in ("mark_seen", "mark_measured", "mark_rate", "mark_se"):
                got = getattr(part.fit, name)[b]
                assert got == pytest.approx(getattr(want.fit, name)[at][:size], **TIGHT), name
            got = part.fit.mark_covariance[b]
            assert got == pytest.approx(want.fit.mark_covariance[at][:size, :size], **TIGHT)
            assert part.swing_mm[b] == pytest.approx(want.swing_mm[at], **TIGHT)
            assert part.scale.sum[b] == pytest.approx(want.scale.sum[at], **TIGHT)
            assert part.scale.dof[b] == want.scale.dof[at]


def test_every_starting_visit_tells_what_it_tells_the_general_engine(
    both: tuple[list[Complete], dict[int, tuple[Fitted, int]]],
) -> None:
    for part in both[0]:
        found = part.from_each_start()
        for b, case in enumerate(part.cases):
            done, at = both[1][int(case)]
            want, last, size = done.from_each_start(), part.last[b], part.fit.mark_rate.shape[-1]
            for name in ("mark_rate", "mark_se"):
                got = getattr(found, name)[b, :last]
                assert got == pytest.approx(getattr(want, name)[at, :last, :size], **TIGHT), name


def test_step_levels_and_residuals_are_those_of_the_general_engine(
    both: tuple[list[Complete], dict[int, tuple[Fitted, int]]],
) -> None:
    for part in both[0]:
        step, levels, left = part.step(), part.levels(), residuals(part, DEFAULTS)
        for b, case in enumerate(part.cases):
            done, at = both[1][int(case)]
            for name in ("shifted", "kept", "bow", "q", "d"):
                assert getattr(step, name)[b] == pytest.approx(getattr(done.step(), name)[at], **TIGHT), name
            mine, other = part.of == b, done.of == at
            assert (part.rows[mine] == done.rows[other]).all()
            for name in ("level", "time0", "offset"):
                got, want = getattr(levels, name)[mine], getattr(done.levels(), name)[other]
                assert got == pytest.approx(want, **TIGHT), name
            general = residuals(done, DEFAULTS)
            for name in ("off_mm", "sd_mm", "z", "alone", "apart"):
                got, want = getattr(left, name)[mine], getattr(general, name)[other]
                assert got == pytest.approx(want, rel=1e-7, abs=1e-8, nan_ok=True), name


def test_a_missing_mark_a_second_level_and_a_free_offset_go_the_general_way() -> None:
    whole = cases_of(Method.STRING, ROW, (0, 6, 12))
    assert [type(part) for part in parts(whole, DEFAULTS)] == [Complete]
    plumb = cases_of(Method.PLUMB, NINE, (0, 6, 12))
    assert {type(part) for part in parts(plumb, DEFAULTS)} == {Fitted}
    names = ["H0"]
    rows, _ = invented.grid(
        np.random.default_rng(1),
        names,
        ROW,
        invented.dates(date(2020, 1, 1), (0, 6, 12)),
        Method.STRING,
        rate=(1, 0, 0),
    )
    readings = invented.readings(pd.DataFrame(rows))
    register = (invented.walls(names), invented.marks(names, ROW))
    for events, kept in (
        ([], slice(1, None)),
        ([{"house": "H0", "event_date": "2020-03-01", "kind": "surface work", "marks": "M2"}], slice(None)),
    ):
        cases = build(readings.iloc[kept], *register, invented.events(events), RULES, date(2030, 1, 1))
        assert [type(part) for part in parts(cases, DEFAULTS)] == [Fitted]


def test_without_any_spread_between_marks_the_ways_agree() -> None:
    bare = Variances(local_share=0.0, local_mm_per_year=0.0)
    cases = cases_of(Method.STRING, ROW, (0, 6, 12, 20))
    (part,), (done,) = parts(cases, bare), fitted(cases, bare)
    assert part.fit.mark_rate == pytest.approx(done.fit.mark_rate, rel=1e-6, nan_ok=True)
