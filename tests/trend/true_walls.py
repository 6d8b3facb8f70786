"""Many simulated walls of one story, with their truth, as tables of facts: the simulator knows nothing of the model.

Noise is that of the settings' defaults; each wall has a yearly cycle, a wobble of each visit and local deviations of
its own. Readings are typed to 1/16 in or 1 mm and read back, as a technician's are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from fractions import Fraction

import invented
import numpy as np
import pandas as pd
from by_frames import build, rows_of, table_of

from monitor.config import Settings
from monitor.simulate import Amount, Geometry, Motion, Sds, Setup, Shift, Spot, Stage, Surface, Visit, simulate
from monitor.terms import End, LengthUnit, Method, NotRead, Part
from monitor.trend import bounds
from monitor.trend.cases import Cases
from monitor.trend.portfolio import fitted

SDS = {
    Method.STRING: Sds(reading_mm=0.8, offset_mm=1.0, yaw_mm_per_m=0.2),
    Method.PLUMB: Sds(reading_mm=0.9, offset_mm=3.0),
    Method.LASER: Sds(reading_mm=0.9, offset_mm=3.0, yaw_mm_per_m=1.0, tilt_mm_per_m=0.3),
    Method.METER: Sds(reading_mm=1.0, offset_mm=0.7),
}
UNIT = {Method.STRING: LengthUnit.INCH, Method.PLUMB: LengthUnit.INCH}
REFERENCE_MM = 90.0
LENGTH_MM = 9000.0
ZERO = date(2019, 3, 11)
ROW = [Spot(f"M{n}", x, 1220.0, "M", str(n)) for n, x in enumerate((90.0, 2250.0, 4500.0, 6750.0, 8910.0), start=1)]
NINE = [
    Spot(f"{row}{n}", x, z, row, str(n))
    for row, z in (("B", 200.0), ("M", 1220.0), ("T", 2130.0))
    for n, x in enumerate((2250.0, 4500.0, 6750.0), start=1)
]


def day(months: float) -> date:
    """The day a number of months after zero."""
    return ZERO + timedelta(days=round(months * 365.25 / 12))


@dataclass(frozen=True)
class Plan:
    """One visit of the story: months after zero, methods, marks that are read (all where none is named)."""

    months: float
    methods: Sequence[Method] = (Method.STRING,)
    part: Part = Part.NONE
    only: Sequence[str] = ()


@dataclass(frozen=True)
class Story:
    """What all walls of a story share. rates: of bow, tip and slide by stage; starts: months of the later stages.

    seasons: how much of the wall's own yearly cycle each stage has. shifts: true movements at the work. reset: marks
    whose surface steps, with the month and the step in mm.
    """

    plans: Sequence[Plan]
    rates: Sequence[Amount] = (Amount(bow=2.0),)
    starts: Sequence[float] = ()
    seasons: Sequence[float] = ()
    spots: Sequence[Spot] = field(default_factory=lambda: list(ROW))
    events: Sequence[Mapping[str, object]] = ()
    right: End = End.RETURN
    shifts: Sequence[Shift] = ()
    reset: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True)
class Told:
    """Tables of the walls, and the true rate of each mark by house, period and mark, as each method sees it."""

    readings: pd.DataFrame
    walls: pd.DataFrame
    marks: pd.DataFrame
    events: pd.DataFrame
    truth: pd.DataFrame


def tell(story: Story, count: int, seed: int) -> Told:
    """That many walls of a story."""
    names = [f"H{n:04d}" for n in range(count)]
    rows, truths = [], []
    for number, name in enumerate(names):
        rng = np.random.default_rng([seed, number])
        geometry, motion = Geometry(LENGTH_MM, right=story.right), _motion(story, rng)
        visits = [_visit(story, plan) for plan in story.plans]
        found = simulate(name, "N", geometry, motion, story.spots, visits, rng, wobble_mm=0.3)
        rows += [_read(row) for row in found.rows if not row.not_read]
        for method, by_period in found.truth.seen_rates_mm_per_year.items():
            for period, rates in enumerate(by_period):
                truths += [
                    {"house": name, "period": period, "mark": mark, "method": str(method), "rate": rate}
                    for mark, rate in zip(found.truth.marks, rates, strict=True)
                ]
    marks = invented.marks(names, [(spot.mark, spot.x_mm, spot.z_mm) for spot in story.spots])
    events = [dict(event) | {"house": name} for name in names for event in story.events]
    walls = invented.walls(names, length_mm=LENGTH_MM, right_end=story.right)
    return Told(invented.readings(pd.DataFrame(rows)), walls, marks, invented.events(events), pd.DataFrame(truths))


def true_rates(told: Told, cases: Cases, number: int, marks: Sequence[str], method: Method) -> list[float]:
    """True rates of marks in one case."""
    row = table_of(cases).iloc[number]
    one = told.truth[(told.truth["house"] == row["house"]) & (told.truth["period"] == row["period"])]
    by_mark = one[one["method"] == method].set_index("mark")["rate"]
    return [float(by_mark[mark]) for mark in marks]


def _motion(story: Story, rng: np.random.Generator) -> Motion:
    """A wall's own motion: cosine and sine of the cycle N(0, 1.1^2 / 2), local deviations N(0, 0.2^2 + (0.1 r)^2)."""
    swing = 1.1 * rng.exponential() ** 0.5
    stages = []
    for number, rate in enumerate(story.rates):
        spread = np.hypot(0.2, 0.1 * max(map(abs, rate)))
        local = {spot.mark: float(spread * rng.standard_normal()) for spot in story.spots}
        start = ZERO if not number else day(story.starts[number - 1])
        share = story.seasons[number] if story.seasons else 1.0
        stages.append(Stage(start, rate, share * swing, local))
    surfaces = [Surface(day(month), {mark: step}) for mark, (month, step) in story.reset.items()]
    initial, peak = Amount(bow=20.0), float(rng.random())
    return Motion(stages, initial, shifts=story.shifts, surfaces=surfaces, season_peak=peak)


def _visit(story: Story, plan: Plan) -> Visit:
    setups = []
    for method in plan.methods:
        name = {Method.STRING: "row", Method.PLUMB: "column"}.get(method)
        placings = sorted({getattr(spot, name) for spot in story.spots}) if name else [""]
        for placing in placings:
            marks = [spot.mark for spot in story.spots if not name or getattr(spot, name) == placing]
            unit = UNIT.get(method, LengthUnit.MM)
            setups.append(Setup(method, marks, SDS[method], str(method), REFERENCE_MM, unit=unit))
    unread = {spot.mark: NotRead.COVERED.value for spot in story.spots if plan.only and spot.mark not in plan.only}
    return Visit(day(plan.months), "T1", setups, plan.part, unread)


def _read(row: object) -> dict[str, object]:
    inch = row.unit == LengthUnit.INCH
    value = float(sum(Fraction(word) for word in row.value.split())) * (25.4 if inch else 1.0)
    return {
        "house": row.house,
        "visit_date": row.visit_date,
        "part": row.part,
        "method": row.method,
        "setup": int(row.setup),
        "mark": row.mark,
        "deflection_mm": REFERENCE_MM - value,
        "step_mm": 25.4 / 16 if inch else 1.0,
    }


def only(plan: Plan, spots: Sequence[str]) -> Plan:
    """The same visit with fewer marks read."""
    return replace(plan, only=tuple(spots))


def held(shares: Sequence[float], low: float = 0.93, high: float = 0.97) -> bool:
    """Whether one-sided 95 % bounds held in 93-97 %, beyond three standard errors by walls; shares: of each wall."""
    share = np.asarray(shares, dtype=float)
    error = 3 * share.std() / len(share) ** 0.5
    return bool(low - error < share.mean() < high + error)


def check(story: Story, method: Method, seed: int, periods: Sequence[int] = (0,), count: int = 200) -> float:
    """Assert that both bounds of the marks' rates hold at their level in each period; returns their mean se."""
    told = tell(story, count, seed)
    found = shares(told, method)
    for period in periods:
        of_period = found[found["period"] == period]
        assert len(of_period) == count
        for name in ("lower", "upper"):
            assert held(of_period[name]), (period, name, of_period[name].mean())
    return float(found["se"].mean())


def shares(told: Told, method: Method) -> pd.DataFrame:
    """One row per case: period, shares of its measured marks whose lower and upper bounds hold, their mean se."""
    settings = Settings()
    cases = build(told.readings, told.walls, told.marks, told.events, settings.rules, date(2026, 1, 1))
    names = rows_of(cases)["mark"].to_numpy(object)
    rows = []
    for done in fitted(cases, settings.variances):
        pair = bounds.pair(done.fit.mark_rate, done.fit.mark_se, done.scale)
        for b, case in enumerate(done.block.cases):
            own = done.block.place[0] == b
            mark = dict(zip(done.block.mark[own], names[done.block.rows[own]], strict=True))
            measured = [number for number in sorted(mark) if done.fit.mark_measured[b, number]]
            truth = np.array(true_rates(told, cases, int(case), [mark[number] for number in measured], method))
            rows.append(
                {
                    "period": table_of(cases)["period"].iloc[case],
                    "lower": (pair.lower[b, measured] <= truth).mean(),
                    "upper": (pair.upper[b, measured] >= truth).mean(),
                    "se": done.fit.mark_se[b, measured].mean(),
                }
            )
    return pd.DataFrame(rows)
