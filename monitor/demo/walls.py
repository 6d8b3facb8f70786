"""From a story to a true wall: its geometry, marks, motion and plan of visits."""

from calendar import monthrange
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from monitor.demo.scenario import (
    FIRST_DAY,
    HOMES,
    ROW_HEIGHTS_MM,
    SEASON_ROWS,
    SEED,
    STANDOFF_MM,
    STILL,
    STORIES,
    VISITED_BY,
    Home,
    Rows,
    Story,
)
from monitor.simulate import (
    Amount,
    Geometry,
    Motion,
    Sds,
    Setup,
    Shift,
    Simulated,
    Spot,
    Stage,
    Surface,
    Visit,
    simulate,
)
from monitor.terms import Kind, LengthUnit, Method, NotRead, Part

SDS = {
    Method.STRING: Sds(reading_mm=0.7, offset_mm=1.0),
    Method.PLUMB: Sds(reading_mm=0.8, offset_mm=2.0),
    Method.LASER: Sds(reading_mm=0.8, offset_mm=3.0, yaw_mm_per_m=1.0),
    Method.METER: Sds(reading_mm=1.0, offset_mm=0.7),
}
"""Noise of the demo's technicians (practice from memory, no source); careful ones have half of it."""
REFERENCE_MM = {Method.STRING: STANDOFF_MM, Method.PLUMB: 82.0, Method.LASER: 120.0, Method.METER: 6096.0}
INSTRUMENT = {Method.STRING: "BL", Method.PLUMB: "PB", Method.LASER: "LS", Method.METER: "DM"}
"""Each technician has his own: BL-1 are the blocks of T1."""
UNIT = {
    Method.STRING: LengthUnit.INCH,
    Method.PLUMB: LengthUnit.INCH,
    Method.LASER: LengthUnit.MM,
    Method.METER: LengthUnit.MM,
}
PRESSES_PAST_MM = {("T3", Method.METER): 2.0}
END_MM = 75.0
"""Columns 1 and 5 stand this far from the corners, beside the string's blocks."""
SPOT_IN_MM = 150.0
"""The laser's end spots stand this much further in."""


def geometry_of(story: Story) -> Geometry:
    """The wall of a story."""
    return Geometry(length_mm=story.length_mm)


def spots_of(story: Story) -> list[Spot]:
    """All marks that the wall ever has, uneven as block walls are (drawn once a wall)."""
    rng = _rng(story, 1)
    length = story.length_mm
    x = dict(enumerate((END_MM, length / 4, length / 2, 3 * length / 4, length - END_MM), start=1))
    spots = []
    for row, z in ROW_HEIGHTS_MM.items():
        for column, x_mm in x.items():
            uneven = float(np.round(1.5 * rng.standard_normal(), 1))
            mark = f"{row}{column}"
            if mark in _read_marks(story):
                spots.append(Spot(mark, x_mm, z, row, str(column), story.proud_mm.get(mark, uneven)))
    middle = next((spot for spot in spots if spot.mark == "M3"), None)
    if story.lost_month is not None and middle:
        spots.append(Spot("M3b", middle.x_mm + 50, middle.z_mm, "M", "3b", middle.proud_mm + 3.0))
    if story.laser_month is not None:
        spots += end_spots(story)
    return spots


def end_spots(story: Story) -> list[Spot]:
    """The laser's end spots E1 and E5, so proud that the wall's middle reads 4 mm less against them."""
    geometry, z = geometry_of(story), ROW_HEIGHTS_MM["M"]
    x = END_MM + SPOT_IN_MM
    into_bow = story.bow_mm * float(geometry.along(x))
    return [
        Spot("E1", x, z, "M", "E1", 4.0 - into_bow),
        Spot("E5", geometry.length_mm - x, z, "M", "E5", 4.0 - into_bow),
    ]


def _read_marks(story: Story) -> set[str]:
    marks: set[str] = set()
    for method in story.methods:
        marks |= set(_marks(story, method))
    return marks


def _marks(story: Story, method: Method) -> list[str]:
    if method is Method.PLUMB:
        return [f"{row}{column}" for column in story.columns for row in "TMB"]
    if method is Method.METER and Method.PLUMB in story.methods:
        return ["T3", "M3", "B3"]
    return [f"M{column}" for column in range(1, 6)]


def motion_of(story: Story) -> Motion:
    """What the wall of a story truly does."""
    geometry = geometry_of(story)

    def amount(rows: Rows) -> Amount:
        return geometry.amount(dict(zip(ROW_HEIGHTS_MM.values(), rows, strict=True)))

    stages = [Stage(day_of(story, 0), amount(story.before), story.season)]
    surfaces = []
    if story.straps_month is not None:
        season = story.season if story.season_after is None else story.season_after
        stages.append(Stage(day_of(story, story.straps_month), amount(story.after or STILL), season))
        surfaces = [Surface(day_of(story, story.straps_month), story.surface_mm)]
    return Motion(
        stages=stages,
        initial=Amount(bow=story.bow_mm),
        shifts=[Shift(day_of(story, move.month), amount(move.rows), move.days) for move in story.moves],
        surfaces=surfaces,
        season_shape=amount(SEASON_ROWS),
        left_end_mm_per_year=story.left_end,
    )


def visits_of(story: Story) -> list[Visit]:
    """The plan of visits: the months of the schedule, and around the straps before, after and a month later."""
    parts: dict[tuple[float, Part], None] = dict.fromkeys((month, Part.NONE) for month in story.months)
    straps = story.straps_month
    if straps is not None:
        parts.pop((straps, Part.NONE), None)
        parts |= dict.fromkeys([(straps, Part.BEFORE), (straps, Part.AFTER), (straps + 1, Part.NONE)])
    order = sorted(parts, key=lambda place: (place[0], place[1] is Part.AFTER))
    return [_visit(story, month, part) for month, part in order]


def _visit(story: Story, month: float, part: Part) -> Visit:
    people = VISITED_BY.get((story.house, month), (_home(story).technician,))
    setups = [setup for method in _methods(story, month) for setup in _setups(story, month, method, people)]
    not_read = {}
    if story.lost_month == month:
        not_read["M3"] = NotRead.MARK_LOST.value
    if story.covered_month is not None and month > story.covered_month:
        not_read = dict.fromkeys(("M1", "M2", "M4", "M5"), NotRead.COVERED.value)
    day = day_of(story, month)
    return Visit(day, people[0], setups, part, not_read, weather=_weather(day))


def _methods(story: Story, month: float) -> list[Method]:
    if story.laser_month is not None and month >= story.laser_month:
        both = story.overlap and month == story.laser_month
        return [Method.STRING, Method.LASER] if both else [Method.LASER]
    if story.plumb_months is not None and month not in story.plumb_months:
        return [method for method in story.methods if method is not Method.PLUMB]
    return list(story.methods)


def _setups(story: Story, month: float, method: Method, people: Sequence[str]) -> list[Setup]:
    columns = [[f"{row}{column}" for row in "TMB"] for column in story.columns]
    placings = columns if method is Method.PLUMB else [_marks_at(story, month, method)]
    twice = story.careful or month in story.double_months or (story.overlap and month == story.laser_month)
    readers = list(people) if method is Method.METER else [people[0]] * (2 if twice else 1)
    return [_setup(story, method, marks, reader) for reader in readers for marks in placings]


def _setup(story: Story, method: Method, marks: Sequence[str], reader: str) -> Setup:
    string_kind = story.kind if method is Method.STRING else Kind.GAP
    return Setup(
        method=method,
        marks=marks,
        sds=SDS[method].scaled(0.5) if story.careful else SDS[method],
        instrument=INSTRUMENT[method] + reader.replace("T", "-"),
        reference_mm=REFERENCE_MM[method],
        unit=UNIT[method],
        kind=Kind.DISTANCE if method is Method.METER else string_kind,
        standoff="3 in" if method is Method.STRING and string_kind is Kind.GAP else "",
        technician=reader,
        bias_mm=PRESSES_PAST_MM.get((reader, method), 0.0),
    )


def _marks_at(story: Story, month: float, method: Method) -> list[str]:
    marks = _marks(story, story.methods[0] if method is Method.LASER else method)
    if method is Method.LASER and story.laser_month is not None:
        return ["E1", "M2", "M3", "M4", "E5"]
    if story.lost_month is not None and month >= story.lost_month:
        gone = ["M3"] if month > story.lost_month else []
        return [mark for mark in marks if mark not in gone] + ["M3b"]
    return marks


def day_of(story: Story, month: float) -> date:
    """The day of a wall's month: the house's own, a few days early or late, but to the day at zero and at the work."""
    zero = story.zero or FIRST_DAY + timedelta(days=_home(story).start)
    index = zero.month - 1 + round(month)
    year, month_of_year = zero.year + index // 12, index % 12 + 1
    day = date(year, month_of_year, min(zero.day, monthrange(year, month_of_year)[1]))
    if month in (0, story.straps_month, *(move.month for move in story.moves)):
        return day
    number = int(story.house[-2:])
    shifted = day + timedelta(days=(7 * number + 5 * round(month)) % 7 - 3)
    return shifted - timedelta(days=max(0, shifted.weekday() - 4))


def _weather(day: date) -> str:
    return {3: "wet", 4: "wet", 5: "wet", 12: "frost", 1: "frost", 2: "frost"}.get(day.month, "dry")


def _home(story: Story) -> Home:
    return next(home for home in HOMES if home.house == story.house)


def _rng(story: Story, stream: int) -> np.random.Generator:
    """Numbers of one wall, whatever the other walls do."""
    return np.random.default_rng([SEED, STORIES.index(story), stream])


def simulate_story(story: Story) -> Simulated:
    """The wall's rows as a technician without faults would have typed them, and the truth."""
    rng = _rng(story, 2 + story.draw)
    wall = (geometry_of(story), motion_of(story), spots_of(story), visits_of(story))
    return simulate(story.house, story.wall, *wall, rng)
