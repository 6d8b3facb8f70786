"""Simulated walls with known truth: the bounds hold as often as they say."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import build

from monitor.config import Settings
from monitor.terms import Method
from monitor.trend import bounds
from monitor.trend.portfolio import fitted

SETTINGS = Settings()
WALLS = 600
ROW = [(f"M{n}", x, 1220.0) for n, x in enumerate((1500.0, 3000, 4500, 6000, 7500))]
COLUMNS = [
    (f"{r}{c}", x, z)
    for r, z in (("B", 200.0), ("M", 1220.0), ("T", 2130.0))
    for c, x in enumerate((2000.0, 4500, 7000))
]


@pytest.mark.parametrize("rate", [(0.0, 0.0, 0.0), (4.0, 1.0, 0.0)])
@pytest.mark.parametrize(
    ("places", "method", "truth_name"), [(ROW, Method.STRING, "whole"), (COLUMNS, Method.PLUMB, "base")]
)
@pytest.mark.parametrize("months", [(0, 6, 12, 18), (0, 4, 9, 13, 18, 24, 29, 36)])
def test_one_sided_bounds_of_marks_hold_in_95_of_100(
    places: list[tuple[str, float, float]],
    method: Method,
    truth_name: str,
    rate: tuple[float, float, float],
    months: tuple[float, ...],
) -> None:
    """Each one-sided 95 % bound holds in 93-97 %, beyond three standard errors of the simulation by walls."""
    names = [f"H{n:04d}" for n in range(WALLS)]
    table, truth = invented.grid(
        np.random.default_rng(20260401), names, places, invented.dates(date(2020, 2, 10), months), method, rate=rate,
        step_mm=invented.SIXTEENTH_MM,
    )  # fmt: skip
    walls, marks = invented.walls(names), invented.marks(names, places)
    cases = build(table, walls, marks, invented.events(), SETTINGS.rules, date(2024, 1, 1))
    true = truth.pivot(index="house", columns="mark", values=truth_name).to_numpy()
    held = {"lower": [], "upper": []}
    for done in fitted(cases, SETTINGS.variances):
        assert done.fit.mark_measured.all()
        pair = bounds.pair(done.fit.mark_rate, done.fit.mark_se, done.scale)
        held["lower"].append((pair.lower <= true[done.block.cases]).mean(axis=1))
        held["upper"].append((pair.upper >= true[done.block.cases]).mean(axis=1))
    for share in map(np.concatenate, held.values()):
        error = share.std() / np.sqrt(WALLS)
        assert share.mean() > 0.93 - 3 * error
        assert share.mean() < 0.97 + 3 * error


@pytest.mark.parametrize("method", [Method.STRING, Method.PLUMB])
def test_the_walls_pair_holds_in_at_least_93_of_100(method: Method) -> None:
    names = [f"H{n:04d}" for n in range(WALLS)]
    when = invented.dates(date(2020, 2, 10), (0, 6, 12, 18, 24))
    table, truth = invented.grid(np.random.default_rng(77), names, COLUMNS, when, method, rate=(2.0, 0.0, 0.0))
    walls, marks = invented.walls(names), invented.marks(names, COLUMNS)
    cases = build(table, walls, marks, invented.events(), SETTINGS.rules, date(2024, 1, 1))
    largest = truth.groupby("house")["base"].max().to_numpy()
    error = np.sqrt(0.93 * 0.07 / WALLS)
    parts = []
    for done in fitted(cases, SETTINGS.variances):
        pair = bounds.wall_pair(done.fit, done.scale, np.full(len(done.block.cases), 3.175))
        true = largest[done.block.cases]
        parts.append(pd.DataFrame({"lower": pair.lower <= true, "upper": pair.upper >= true}))
    assert (pd.concat(parts).mean() > 0.93 - 3 * error).all()
