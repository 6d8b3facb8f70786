"""What a simulated portfolio is made of, and the drawing of one wall of it."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import TypeVar

import numpy as np

from monitor.records import dataclass, field, replace
from monitor.simulate.observe import Sds
from monitor.simulate.wall import Amount, Array, Geometry, Motion, Profile, Spot, Stage
from monitor.terms import Method, Part
from monitor.units import DAYS_PER_YEAR

T = TypeVar("T")
DAYS_PER_MONTH = DAYS_PER_YEAR / 12
HEIGHTS_MM: Mapping[str, float] = {"T": 2130.0, "M": 1220.0, "B": 200.0}
ENDS_AND_QUARTERS = (0.01, 0.25, 0.5, 0.75, 0.99)


@dataclass(frozen=True)
class Sort:
    """A sort of wall: its share of the portfolio, the range of its rate (mm/yr) and of its season (mm).

    season None: the ordinary season of the recipe.
    """

    name: str
    share: float
    rate: tuple[float, float] = (0.0, 0.0)
    season: tuple[float, float] | None = None


@dataclass(frozen=True)
class Layout:
    """A way of reading a wall: method, rows read, columns as shares of the length, and its share of the portfolio."""

    method: Method
    rows: str = "M"
    columns: Sequence[float] = ENDS_AND_QUARTERS
    share: float = 1.0


SORTS: Sequence[Sort] = (
    Sort("still", 0.70),
    Sort("seasonal", 0.15, season=(1.0, 4.0)),
    Sort("slow", 0.10, rate=(0.3, 1.5)),
    Sort("moving", 0.04, rate=(2.0, 6.0)),
    Sort("fast", 0.01, rate=(6.0, 15.0)),
)
LAYOUTS: Sequence[Layout] = (
    Layout(Method.STRING, share=0.5),
    Layout(Method.STRING, columns=(0.5,), share=0.1),
    Layout(Method.STRING, rows="TMB", columns=(0.25, 0.5, 0.75), share=0.1),
    Layout(Method.PLUMB, rows="TMB", columns=(0.25, 0.5, 0.75), share=0.15),
    Layout(Method.LASER, share=0.1),
    Layout(Method.METER, share=0.05),
)


def _ordinary_sds() -> Mapping[Method, Sds]:
    """Practice from memory, no source."""
    return {
        Method.STRING: Sds(reading_mm=0.8, offset_mm=1.0, yaw_mm_per_m=0.2),
        Method.PLUMB: Sds(reading_mm=0.9, offset_mm=3.0),
        Method.LASER: Sds(reading_mm=0.9, offset_mm=3.0, yaw_mm_per_m=1.0, tilt_mm_per_m=0.3),
        Method.METER: Sds(reading_mm=1.0, offset_mm=0.7),
    }


_MOVEMENT = Amount(bow=0.85, tip=0.10, slide=0.05)


@dataclass(frozen=True)
class Recipe:
    """A portfolio. Shares are chances: of a wall, of a visit or of a reading, as said.

    sorts: what walls do before straps (or at all); after: what strapped walls do afterwards (None: as before).
    months: the schedule from each wall's zero, jitter_days early or late (sd). straps_months: straps come between.
    movement: chances that the rate is one of bow, tip or slide. season_mm: A, each of the yearly cycle's two
    coefficients ~ N(0, A^2 / 2). local_mm_per_year, local_share: sd of a mark's own rate, sqrt(a^2 + (b r)^2), r the
    wall's rate. wobble_mm: sd of a visit. scale_spread: sd of the logarithm of a wall's noise.
    change_share of walls change the method half-way, overlap_share of those with a day of both; lost_share lose a mark.
    missed_share of visits are missed; misread_share of readings are misread by a slip; fault_share of visits have one
    such reading.
    """

    sorts: Sequence[Sort] = SORTS
    after: Sequence[Sort] | None = None
    layouts: Sequence[Layout] = LAYOUTS
    profiles: Mapping[Profile, float] = field(default_factory=lambda: {Profile.SINE: 1.0})
    months: Sequence[float] = (0, 6, 12, 18, 24, 30, 36)
    jitter_days: float = 7.0
    strapped_share: float = 0.0
    straps_months: tuple[float, float] = (6.0, 18.0)
    movement: Amount = _MOVEMENT
    sds: Mapping[Method, Sds] = field(default_factory=_ordinary_sds)
    scale_spread: float = 0.0
    season_mm: float = 1.1
    wobble_mm: float = 0.3
    local_mm_per_year: float = 0.2
    local_share: float = 0.1
    change_share: float = 0.0
    overlap_share: float = 0.5
    lost_share: float = 0.0
    missed_share: float = 0.0
    misread_share: float = 0.0
    fault_share: float = 0.0
    setups: int = 1


FLEET = replace(
    Recipe(),
    profiles={Profile.SINE: 0.7, Profile.FLAT: 0.2, Profile.LEFT: 0.1},
    after=(Sort("held", 0.9), Sort("slow", 0.06, rate=(0.3, 1.5)), Sort("failing", 0.04, rate=(2.0, 8.0))),
    strapped_share=0.4,
    scale_spread=0.2,
    change_share=0.05,
    lost_share=0.05,
    missed_share=0.08,
    fault_share=0.02,
)
"""A mixed company: still, seasonal, slow and moving walls, 40 % strapped, 8 % of visits missed, faults at 2 %."""


@dataclass(frozen=True)
class Drawn:
    """One wall as drawn: what it is, what it does, and how it is read. change, lost: visit of it, or None."""

    index: int
    sorts: Sequence[str]
    geometry: Geometry
    motion: Motion
    spots: Sequence[Spot]
    layout: Layout
    days: Sequence[date]
    parts: Sequence[Part]
    missed: Sequence[bool]
    wobbles_mm: Array
    scale: float
    change: int | None
    overlap: bool
    lost: int | None


def draw_wall(recipe: Recipe, index: int, rng: np.random.Generator) -> Drawn:
    """Wall number `index` of a portfolio."""
    geometry = Geometry(
        length_mm=float(rng.integers(24, 41)) * 304.8,
        profile=_pick(rng, list(recipe.profiles), list(recipe.profiles.values())),
    )
    layout = _pick(rng, recipe.layouts, [layout.share for layout in recipe.layouts])
    spots = _spots(layout, geometry, rng)
    zero = date(2019, 1, 1) + timedelta(days=int(rng.integers(0, 1461)))
    straps = zero + _months(rng.uniform(*recipe.straps_months)) if rng.random() < recipe.strapped_share else None
    sorts, motion = _motion(recipe, zero, straps, spots, rng)
    days, parts = _plan(recipe, zero, straps, rng)
    missed = rng.random(len(days)) < recipe.missed_share
    missed[0] = False
    return Drawn(
        index=index,
        sorts=sorts,
        geometry=geometry,
        motion=motion,
        spots=spots,
        layout=layout,
        days=days,
        parts=parts,
        missed=missed.tolist(),
        wobbles_mm=recipe.wobble_mm * rng.standard_normal(len(days)),
        scale=float(np.exp(recipe.scale_spread * rng.standard_normal())),
        change=len(days) // 2 if rng.random() < recipe.change_share else None,
        overlap=bool(rng.random() < recipe.overlap_share),
        lost=int(rng.integers(1, max(2, len(days)))) if rng.random() < recipe.lost_share and len(days) > 1 else None,
    )


def _pick(rng: np.random.Generator, things: Sequence[T], shares: Sequence[float]) -> T:
    return things[int(np.searchsorted(np.cumsum(shares), rng.random() * sum(shares), side="right"))]


def _months(months: float) -> timedelta:
    return timedelta(days=round(months * DAYS_PER_MONTH))


def _spots(layout: Layout, geometry: Geometry, rng: np.random.Generator) -> list[Spot]:
    proud = 1.5 * rng.standard_normal(len(layout.rows) * len(layout.columns))
    return [
        Spot(f"{row}{j + 1}", share * geometry.length_mm, HEIGHTS_MM[row], row, str(j + 1), float(proud[i]))
        for i, (row, j, share) in enumerate(
            (row, j, share) for row in layout.rows for j, share in enumerate(layout.columns)
        )
    ]


def _motion(
    recipe: Recipe, zero: date, straps: date | None, spots: Sequence[Spot], rng: np.random.Generator
) -> tuple[list[str], Motion]:
    """Sorts by period, and the motion: rates, season, local movement, the bow there was at zero."""
    chosen = [(zero, _sort(recipe.sorts, rng))]
    if straps is not None:
        chosen.append((straps, chosen[0][1] if recipe.after is None else _sort(recipe.after, rng)))
    names, stages = [], []
    wave = recipe.season_mm / 2**0.5 * rng.standard_normal(2)
    swing, peak = float(np.hypot(*wave)), float(np.arctan2(wave[1], wave[0]) / (2 * np.pi))
    which = int(_pick(rng, (0, 1, 2), recipe.movement))
    for start, (sort, rate) in chosen:
        if sort.season is not None:
            swing, peak = float(rng.uniform(*sort.season)), 0.24
        sd = float(np.hypot(recipe.local_mm_per_year, recipe.local_share * rate))
        local = dict(zip([spot.mark for spot in spots], (sd * rng.standard_normal(len(spots))).tolist(), strict=True))
        names.append(sort.name)
        stages.append(Stage(start, Amount(*(rate if i == which else 0.0 for i in range(3))), swing, local))
    return names, Motion(stages, initial=Amount(bow=float(rng.uniform(8.0, 40.0))), season_peak=peak)


def _sort(sorts: Sequence[Sort], rng: np.random.Generator) -> tuple[Sort, float]:
    """A sort, and a rate of it."""
    sort = _pick(rng, sorts, [sort.share for sort in sorts])
    return sort, float(rng.uniform(*sort.rate))


def _plan(recipe: Recipe, zero: date, straps: date | None, rng: np.random.Generator) -> tuple[list[date], list[Part]]:
    """Days and parts of all planned visits in order; around straps before, after and a month later."""
    jitter = recipe.jitter_days * rng.standard_normal(len(recipe.months))
    jitter[0] = 0.0
    days = [
        zero + _months(month) + timedelta(days=round(late)) for month, late in zip(recipe.months, jitter, strict=True)
    ]
    plan = {(max(day, zero), Part.NONE) for day in days}
    if straps is not None:
        plan = {(day, part) for day, part in plan if day != straps}
        plan |= {(straps, Part.BEFORE), (straps, Part.AFTER), (straps + _months(1), Part.NONE)}
    order = sorted(plan, key=lambda visit: (visit[0], visit[1] is Part.AFTER))
    return [day for day, _ in order], [part for _, part in order]
