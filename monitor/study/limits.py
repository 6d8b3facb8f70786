"""Trying one's own limits: what given thresholds would bring a company, by simulating walls like its own."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

import numpy as np
import pandas as pd

from monitor.config import MethodSds, Variances
from monitor.pipeline.frames import frame
from monitor.records import dataclass, replace
from monitor.simulate.observe import Sds
from monitor.simulate.portfolio import of_drawn
from monitor.simulate.recipe import DAYS_PER_MONTH, Drawn, Layout, Recipe
from monitor.simulate.wall import STILL, Amount, Motion, Stage
from monitor.study import measures
from monitor.study.company import Company, OwnWall
from monitor.study.looks import Looks, Progress, looked
from monitor.study.shares import Months, Share, noise_spread, poisson_interval
from monitor.terms import Part, Verdict

TWICE, NEAR = 2.0, 1.3
_FREE_OFFSET_MM = 3.0
"""Set-up offset of a method whose offset is free: its size is nothing to the fit."""
_ZERO = date(2020, 1, 1)
_YEAR_DAYS = 366

SAMPLES = {"still": (0.0, 0.0), "slow": (0.0, 1.0), "twice": (TWICE, TWICE), "near": (NEAR, NEAR)}
"""Rates of the walls simulated, as shares of the threshold, evenly from one to the other."""


@dataclass(frozen=True)
class Flags:
    """False flags a year among all walls of the company: expected number, its interval, and how many were seen."""

    a_year: float
    low: float
    high: float
    seen: int


@dataclass(frozen=True)
class Tried:
    """What one threshold brings. strapped: it is the one after reinforcement; walls: simulated for each number.

    false_still, false_slow: if all walls were truly still, and if they moved evenly up to the threshold; median, most:
    months until half and nine in ten of the walls at twice the threshold are found; holding: still walls by
    measures.HOLDING_MONTHS; wrongly_holding: walls at 1.3 x the threshold ever called holding.
    """

    strapped: bool
    threshold_mm_per_year: float
    walls: int
    false_still: Flags
    false_slow: Flags
    median: Months
    most: Months
    holding: Sequence[Share]
    wrongly_holding: Share


def try_limits(
    company: Company, *, walls: int, years: float, seed: int, progress: Progress | None = None
) -> Iterator[Tried]:
    """Try the company's thresholds before and after reinforcement on `walls` simulated walls a sample.

    Each is a wall of the company (in turn) with its own marks, method and habits, simulated and judged with the
    company's variances; bow is all that moves. After reinforcement: as if the straps came on the day of zero.
    """
    for strapped in (False, True):
        threshold = company.settings.rules.threshold(int(strapped))
        found, truth = _judged(company, strapped, walls=walls, years=years, seed=seed, progress=progress)
        above = measures.truly_above(truth, threshold)
        sort = truth.drop_duplicates("house", keep="last").set_index("house")["sort"]
        looks = {name: found.walls[found.walls["house"].map(sort) == name] for name in SAMPLES}
        near = looks["near"]
        yield Tried(
            strapped,
            threshold,
            walls,
            _false(looks["still"], above, len(company.walls), walls * years),
            _false(looks["slow"], above, len(company.walls), walls * years),
            measures.delay(looks["twice"]),
            measures.delay(looks["twice"], 0.9),
            [measures.holding_by(looks["still"], month) for month in measures.HOLDING_MONTHS],
            measures.ever_holding(near[near["house"].map(above)]),
        )


def looks_about(company: Company, walls: int, years: float) -> int:
    """About how many looks a trial takes."""
    gaps = np.asarray(company.gaps_months, dtype=np.float64)
    return round(2 * len(SAMPLES) * walls * max(1.0, years * 12 / float(gaps.mean()) - 1))


def recipe_of(variances: Variances) -> Recipe:
    """How walls are read and what they do beside their trend, by a company's variances."""
    return Recipe(
        sds={method: _sds(sds) for method, sds in variances.methods.items()},
        season_mm=variances.season_mm,
        wobble_mm=variances.wobble_mm,
        local_mm_per_year=variances.local_mm_per_year,
        local_share=variances.local_share,
        scale_spread=noise_spread(variances.scale_dof),
    )


def _sds(sds: MethodSds) -> Sds:
    offset = _FREE_OFFSET_MM if sds.offset_mm is None else sds.offset_mm
    return Sds(sds.reading_mm, offset, sds.yaw_mm_per_m, sds.tilt_mm_per_m)


def _judged(
    company: Company, strapped: bool, *, walls: int, years: float, seed: int, progress: Progress | None
) -> tuple[Looks, pd.DataFrame]:
    """All samples together: small batches would cost the engine more than the walls."""
    settings = company.settings
    recipe = recipe_of(settings.variances)
    threshold = settings.rules.threshold(int(strapped))
    drawn = []
    for place, (sample, (low, high)) in enumerate(SAMPLES.items()):
        for number in range(walls):
            rng = np.random.default_rng([seed, place, int(strapped), number])
            own = company.walls[number % len(company.walls)]
            rate = threshold * float(rng.uniform(low, high))
            days = _days(company, own, years, rng)
            made = _draw(own, sample, rate, days, strapped, recipe, rng)
            scale = company.settings.variances.scale**0.5 * made.scale
            drawn.append((replace(made, index=place * walls + number, scale=scale), rng))
    portfolio = of_drawn(drawn, recipe)
    return looked(portfolio, settings.rules, settings.variances, progress), frame(portfolio.truth)


def _draw(
    own: OwnWall,
    sample: str,
    rate: float,
    days: Sequence[date],
    strapped: bool,
    recipe: Recipe,
    rng: np.random.Generator,
) -> Drawn:
    """A simulated wall like one of the company's, whose bow moves at that rate where it is largest."""
    wave = recipe.season_mm / 2**0.5 * rng.standard_normal(2)
    swing = float(np.hypot(*wave))
    local_sd = float(np.hypot(recipe.local_mm_per_year, recipe.local_share * rate))
    local = {spot.mark: float(local_sd * rng.standard_normal()) for spot in own.spots}
    stages = [Stage(days[0], Amount(bow=rate), swing, local)]
    parts = [Part.NONE] * len(days)
    if strapped:
        stages = [Stage(days[0], STILL, swing), *stages]
        days, parts = [days[0], *days], [Part.BEFORE, Part.AFTER, *parts[1:]]
    return Drawn(
        index=0,
        sorts=(sample,) * len(stages),
        geometry=own.geometry,
        motion=Motion(stages, season_peak=float(np.arctan2(wave[1], wave[0]) / (2 * np.pi))),
        spots=[replace(spot, proud_mm=float(1.5 * rng.standard_normal())) for spot in own.spots],
        layout=Layout(own.method),
        days=days,
        parts=parts,
        missed=[False] * len(days),
        wobbles_mm=recipe.wobble_mm * rng.standard_normal(len(days)),
        scale=float(np.exp(recipe.scale_spread * rng.standard_normal())),
        change=None,
        overlap=False,
        lost=None,
    )


def _days(company: Company, own: OwnWall, years: float, rng: np.random.Generator) -> list[date]:
    """Days of the visits: after the zero the wall's own intervals, then some of the company's, to the end."""
    zero = _ZERO + timedelta(days=int(rng.integers(0, _YEAR_DAYS)))
    gaps, pool = list(own.gaps_months), np.asarray(company.gaps_months, dtype=np.float64)
    days, month = [zero], 0.0
    while True:
        month += gaps.pop(0) if gaps else float(rng.choice(pool))
        if month > years * 12 + 1:
            return days
        days.append(zero + timedelta(days=round(month * DAYS_PER_MONTH)))


def _false(looks: pd.DataFrame, above: pd.Series, company_walls: int, wall_years: float) -> Flags:
    """False flags among walls not above the threshold, scaled to the company's number of walls and to a year."""
    listed = looks.loc[looks["verdict"] == Verdict.MOVING, "house"].unique()
    seen = int((~above.reindex(listed).to_numpy(dtype=bool)).sum())
    low, high = poisson_interval(seen)
    scale = company_walls / wall_years
    return Flags(seen * scale, low * scale, high * scale, seen)
