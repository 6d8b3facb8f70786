"""The simulator against closed forms and published values; noise inside chi-square limits; same seed, same rows."""

from datetime import date, timedelta
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from monitor.lengths import parse
from monitor.simulate import (
    Amount,
    Bend,
    Geometry,
    Motion,
    Profile,
    Sds,
    Setup,
    Shift,
    Spot,
    Stage,
    Surface,
    Visit,
    moment,
    position_mm,
    seen_mm,
    seen_rates_mm_per_year,
    simulate,
    typed,
)
from monitor.simulate.observe import slip_fraction
from monitor.simulate.wall import soil_deflection
from monitor.terms import End, Kind, LengthUnit, Method, Part
from monitor.units import DAYS_PER_YEAR

ZERO = date(2023, 4, 10)
LATER = date(2025, 4, 10)
YEARS = (LATER - ZERO).days / DAYS_PER_YEAR
WALL = Geometry(length_mm=8000.0)
NONE = Sds(0.0)
ROW = [Spot(f"M{i + 1}", x, 1220.0, "M", str(i + 1)) for i, x in enumerate((0.0, 2000.0, 4000.0, 6000.0, 8000.0))]
COLUMN = [Spot(f"{row}3", 4000.0, z, row, "3") for row, z in (("T", 2130.0), ("M", 1220.0), ("B", 200.0))]


def at(*days: date) -> np.ndarray:
    return np.array([moment(day) for day in days])


def blocks(method: Method = Method.STRING, *, sds: Sds = NONE, unit: LengthUnit = LengthUnit.INCH, **more) -> Setup:
    marks = [spot.mark for spot in (*ROW, *COLUMN)]
    return Setup(method, marks, sds, instrument="BL-1", reference_mm=more.pop("reference_mm", 50.8), unit=unit, **more)


def values(setup: Setup, motion: Motion, spots: list[Spot], *visits: Visit, wall: Geometry = WALL, seed: int = 1):
    planned = visits or (Visit(ZERO, "T1", [setup]),)
    return simulate("X", "N", wall, motion, spots, planned, np.random.default_rng(seed)).rows


def test_a_string_on_two_inch_blocks_reads_the_published_gaps() -> None:
    """Blocks 2 in; inward 0, 5/16, 5/8, 1/4, 0 in give gaps 2, 1 11/16, 1 3/8, 1 3/4, 2 (identity: block - gap)."""
    inward = [Fraction(0), Fraction(5, 16), Fraction(5, 8), Fraction(1, 4), Fraction(0)]
    uneven = [
        Spot(s.mark, s.x_mm, s.z_mm, s.row, s.column, float(d * Fraction("25.4")))
        for s, d in zip(ROW, inward, strict=True)
    ]
    rows = values(blocks(), Motion([Stage(ZERO)]), uneven)
    assert [row.value for row in rows] == ["2", "1 11/16", "1 3/8", "1 3/4", "2"]


def test_three_heights_fix_bow_tip_and_slide_as_published() -> None:
    """Readings 10, 22, 14 mm at bottom, middle and top: lean 4, bow 10 (identity)."""
    amount = WALL.amount({0.0: 10.0, 1220.0: 22.0, 2440.0: 14.0})
    assert amount == pytest.approx(Amount(bow=10.0, tip=4.0, slide=10.0))


def test_an_uncracked_wall_bends_under_soil_as_beam_tables_say() -> None:
    """Triangular load, both ends held: largest 0.00652 w L^4/EI at 0.519 L from the unloaded end (beam tables:
    AISC Manual table 3-23, Roark; from memory, recomputed), 5/768 at mid-height."""
    share = np.linspace(0, 1, 200_001)
    bent = soil_deflection(share)
    assert bent.max() == pytest.approx(0.00652218, abs=1e-8)
    assert share[bent.argmax()] == pytest.approx(0.5193296, abs=1e-5)
    assert float(soil_deflection(0.5)) == pytest.approx(5 / 768, rel=1e-12)
    wall = Geometry(length_mm=8000.0, bend=Bend.SOIL)
    assert wall.over_height(2440 * (1 - 0.5193296))[0, 0] == pytest.approx(1.0, abs=1e-9)
    assert wall.over_height(1220.0)[0, 0] == pytest.approx(0.998, abs=2e-4)


def test_a_string_sees_the_wall_less_the_line_between_its_ends() -> None:
    motion = Motion([Stage(ZERO, Amount(bow=3.0))], left_end_mm_per_year=4.0, right_end_mm_per_year=-1.0)
    x = np.array([spot.x_mm for spot in ROW])
    ends = (4.0 * (1 - x / 8000) - 1.0 * x / 8000) / 2
    bow = 3.0 * np.sin(np.pi * x / 8000)
    assert position_mm(WALL, motion, ROW, at(LATER))[0] == pytest.approx((bow + ends) * YEARS)
    assert seen_mm(Method.STRING, WALL, motion, ROW, at(LATER))[0] == pytest.approx(bow * YEARS)
    assert seen_rates_mm_per_year(Method.STRING, WALL, motion, 0, ROW) == pytest.approx(bow)
    assert seen_rates_mm_per_year(Method.LASER, WALL, motion, 0, ROW) == pytest.approx(bow + ends)


def test_a_string_between_two_free_ends_sees_no_movement() -> None:
    wall = Geometry(length_mm=8000.0, left=End.FREE, right=End.FREE)
    motion = Motion([Stage(ZERO, Amount(bow=3.0, tip=2.0, slide=1.0))])
    assert seen_mm(Method.STRING, wall, motion, ROW, at(LATER))[0] == pytest.approx(np.zeros(5), abs=1e-12)
    assert position_mm(wall, motion, ROW, at(LATER))[0] == pytest.approx(np.full(5, (3 + 1 + 1) * YEARS))


def test_a_free_end_moves_most() -> None:
    wall = Geometry(length_mm=8000.0, right=End.FREE)
    assert wall.along([0.0, 4000.0, 8000.0]) == pytest.approx([0.0, 0.5**0.5, 1.0])
    mirrored = Geometry(length_mm=8000.0, left=End.FREE)
    assert mirrored.along([8000.0, 4000.0, 0.0]) == pytest.approx([0.0, 0.5**0.5, 1.0])


@pytest.mark.parametrize("profile", list(Profile))
def test_every_profile_is_held_at_both_ends_and_one_where_largest(profile: Profile) -> None:
    along = Geometry(length_mm=1.0, profile=profile).along(np.linspace(0, 1, 10_001))
    assert along[[0, -1]] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert along.max() == pytest.approx(1.0, abs=1e-6)
    assert along.min() >= -1e-12


def test_a_plumb_line_sees_differences_to_the_base_of_its_column_and_no_slide() -> None:
    motion = Motion([Stage(ZERO, WALL.amount({2130.0: 4.0, 1220.0: 3.0, 200.0: 1.0}))])
    seen = seen_mm(Method.PLUMB, WALL, motion, COLUMN, at(ZERO, LATER))
    moved = seen[1] - seen[0]
    assert moved - moved[2] == pytest.approx(np.array([3.0, 2.0, 0.0]) * YEARS)
    rates = seen_rates_mm_per_year(Method.PLUMB, WALL, motion, 0, COLUMN)
    assert rates - rates[2] == pytest.approx([3.0, 2.0, 0.0])
    assert rates == pytest.approx(np.array([4.0, 3.0, 1.0]) - motion.stages[0].rate.slide)
    sliding = Motion([Stage(ZERO, Amount(slide=5.0))])
    assert seen_mm(Method.PLUMB, WALL, sliding, COLUMN, at(LATER))[0] == pytest.approx(np.zeros(3), abs=1e-12)


def test_a_distance_meter_sees_the_slide_and_its_distance_shrinks() -> None:
    motion = Motion([Stage(ZERO, Amount(slide=5.0))])
    setup = blocks(Method.METER, unit=LengthUnit.MM, kind=Kind.DISTANCE, reference_mm=6096.0)
    rows = values(setup, motion, COLUMN, Visit(ZERO, "T1", [setup]), Visit(LATER, "T1", [setup]))
    assert [row.value for row in rows] == ["6096"] * 3 + ["6086"] * 3


def test_the_season_is_furthest_in_in_late_march_and_out_half_a_year_later() -> None:
    motion = Motion([Stage(ZERO, season_mm=2.0)])
    days = [date(2024, 1, 1) + timedelta(days=i) for i in range(366)]
    swing = position_mm(WALL, motion, ROW[2:3], at(*days))[:, 0]
    assert days[int(swing.argmax())].month == 3
    assert days[int(swing.argmin())].month == 9
    assert swing.max() == pytest.approx(2.0, abs=1e-3)
    assert swing.min() == pytest.approx(-2.0, abs=1e-3)


def test_work_changes_rate_surface_and_position_between_before_and_after_of_one_day() -> None:
    work = date(2024, 4, 10)
    motion = Motion(
        stages=[Stage(ZERO, Amount(bow=5.0), local_mm_per_year={"M3": 0.5}), Stage(work, Amount(bow=1.0))],
        initial=Amount(bow=20.0),
        shifts=[Shift(work, Amount(bow=-1.5)), Shift(work, Amount(bow=1.0), days=100)],
        surfaces=[Surface(work, {"M2": -1.0, "M3": 2.5})],
    )
    moments = np.array([moment(work, Part.BEFORE), moment(work, Part.AFTER), moment(work + timedelta(days=50))])
    found = position_mm(WALL, motion, ROW, moments)
    before = (work - ZERO).days / DAYS_PER_YEAR
    half_day = 0.25 / DAYS_PER_YEAR
    assert found[0, 2] == pytest.approx(20 + 5.5 * before)
    assert found[1, 2] == pytest.approx(20 + 5.5 * (before + half_day) - 1.5 + 0.0025 + 2.5 + half_day)
    assert found[2, 2] - found[1, 2] == pytest.approx(49.5 / DAYS_PER_YEAR + 0.495)
    assert found[1, 1] - found[0, 1] == pytest.approx(-1.0 - 1.5 * 0.5**0.5, abs=0.02)
    assert [motion.period(work, part) for part in (Part.BEFORE, Part.AFTER)] == [0, 1]


@pytest.mark.parametrize("method", list(Method))
def test_true_rates_are_the_slopes_of_what_is_seen_without_season(method: Method) -> None:
    local = {spot.mark: 0.1 * i for i, spot in enumerate((*ROW, *COLUMN))}
    rate = Amount(bow=3.0, tip=1.0, slide=0.5)
    motion = Motion([Stage(ZERO, rate, local_mm_per_year=local)], left_end_mm_per_year=1.0)
    for spots in (ROW, COLUMN):
        seen = seen_mm(method, WALL, motion, spots, at(ZERO, LATER))
        slopes = (seen[1] - seen[0]) / YEARS
        rates = seen_rates_mm_per_year(method, WALL, motion, 0, spots)
        if method is Method.PLUMB:  # a line at a time: only differences within its column are read
            slopes, rates = slopes - slopes[-1], rates - rates[-1]
            if spots is ROW:
                continue
        assert slopes == pytest.approx(rates)


def test_the_noise_of_set_ups_and_readings_has_the_sds_asked_for() -> None:
    """2,000 set-ups of five marks: each variance inside its 99.9 % chi-square limits."""
    sds = Sds(reading_mm=0.8, offset_mm=3.0, yaw_mm_per_m=1.0)
    setup = blocks(Method.LASER, sds=sds, unit=LengthUnit.MM, reference_mm=120.0)
    visits = [Visit(ZERO + timedelta(days=i), "T1", [setup]) for i in range(2000)]
    rows = values(setup, Motion([Stage(ZERO)]), ROW, *visits)
    errors = 120.0 - np.array([float(row.value) for row in rows]).reshape(2000, 5)
    arm = (np.array([spot.x_mm for spot in ROW]) - 4000.0) / 1000
    offsets, yaws = errors.mean(axis=1), errors @ arm / (arm @ arm)
    rest = errors - offsets[:, None] - np.outer(yaws, arm)
    noise = sds.reading_mm**2 + 1 / 12
    inside(float((rest**2).sum()) / noise, 2000 * 3)
    inside(float((offsets**2).sum()) / (sds.offset_mm**2 + noise / 5), 2000)
    inside(float((yaws**2).sum()) / (sds.yaw_mm_per_m**2 + noise / float(arm @ arm)), 2000)


def test_the_wobble_is_shared_by_all_set_ups_of_a_visit() -> None:
    setup = blocks(Method.METER, unit=LengthUnit.MM, kind=Kind.DISTANCE, reference_mm=6096.0)
    visits = [Visit(ZERO + timedelta(days=i), "T1", [setup, setup]) for i in range(1000)]
    rng = np.random.default_rng(3)
    rows = simulate("X", "N", WALL, Motion([Stage(ZERO)]), ROW[2:3], visits, rng, wobble_mm=4.0).rows
    pairs = np.array([float(row.value) for row in rows]).reshape(1000, 2)
    assert (pairs[:, 0] == pairs[:, 1]).all()
    inside(float(((pairs[:, 0] - 6096) ** 2).sum()) / (16 + 1 / 12), 1000)


def test_the_same_seed_types_the_same_rows_and_another_seed_does_not() -> None:
    setup, motion = blocks(sds=Sds(0.7, 1.0)), Motion([Stage(ZERO, Amount(bow=2.0))])
    assert values(setup, motion, ROW) == values(setup, motion, ROW)
    assert values(setup, motion, ROW) != values(setup, motion, ROW, seed=2)


def test_a_mark_that_could_not_be_read_is_typed_as_such_and_changes_no_other_number() -> None:
    setup, motion = blocks(sds=Sds(0.7, 1.0)), Motion([Stage(ZERO)])
    whole = values(setup, motion, ROW)
    gappy = values(setup, motion, ROW, Visit(ZERO, "T1", [setup], not_read={"M2": "blocked"}))
    assert (gappy[1].value, gappy[1].not_read) == ("", "blocked")
    assert [row.value for row in gappy if row.mark != "M2"] == [row.value for row in whole if row.mark != "M2"]


@pytest.mark.parametrize(("mm", "text"), [(46.0375, "1 13/16"), (0.79375, "1/16"), (0.79, "0"), (-1.5875, "-1/16")])
def test_inches_are_typed_to_the_nearest_sixteenth_halves_away_from_nought(mm: float, text: str) -> None:
    assert typed(mm, LengthUnit.INCH) == text
    assert parse(text, "in").mm == pytest.approx(mm, abs=25.4 / 32 + 1e-9)


@pytest.mark.parametrize(("mm", "text"), [(47.4, "47"), (47.5, "48"), (-0.5, "-1"), (0.2, "0")])
def test_millimetres_are_typed_whole_halves_away_from_nought(mm: float, text: str) -> None:
    assert typed(mm, LengthUnit.MM) == text


def test_a_slip_of_a_fraction_needs_that_fraction() -> None:
    assert slip_fraction("2 3/16", Fraction(13, 16), Fraction(3, 16)) == "2 13/16"
    with pytest.raises(ValueError, match="has not the fraction"):
        slip_fraction("2 5/16", Fraction(13, 16), Fraction(3, 16))


def inside(statistic: float, dof: int) -> None:
    low, high = stats.chi2.ppf([0.0005, 0.9995], dof)
    assert low < statistic < high
