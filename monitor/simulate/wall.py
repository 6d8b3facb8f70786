"""True walls: where every mark truly is at any moment. Millimetres, years, inward (into the room) positive.

A wall's movement is three amounts at a time: bow (bending), tip (its top coming in) and slide (the whole wall at its
base). Each reaches a spot by a shape along the wall times a shape over its height.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.errors import BowError
from monitor.records import dataclass, field
from monitor.terms import End, Part
from monitor.units import DAYS_PER_YEAR

Array = NDArray[np.float64]

_NEW_YEAR = date(2000, 1, 1).toordinal()
"""A new year from which years are counted, so that a year fraction of 0.24 is late March in our time."""
WORK_HOUR = 0.5
"""Work of a day is done at its noon: a visit 'before' is earlier, a visit 'after' later on that day."""
_PART_HOUR = {Part.BEFORE: 0.25, Part.NONE: 0.25, Part.AFTER: 0.75}


class Profile(StrEnum):
    """Shape along a wall between two return walls, 1 where largest."""

    SINE = "sine"
    FLAT = "flat-topped"
    LEFT = "towards the left"
    RIGHT = "towards the right"


class Bend(StrEnum):
    """Shape of the bow over the height, 1 where largest: a hinge at the crack, or the uncracked wall under soil."""

    HINGE = "hinge"
    SOIL = "soil"


class Amount(NamedTuple):
    """Bow, tip and slide, in mm or in mm/yr; bow where it is largest, tip at the top, slide at the base."""

    bow: float = 0.0
    tip: float = 0.0
    slide: float = 0.0


STILL = Amount()
_BOW = Amount(bow=1.0)


@dataclass(frozen=True)
class Spot:
    """A mark: its place, and how far the surface there stands proud of the smooth wall (mm)."""

    mark: str
    x_mm: float
    z_mm: float
    row: str = ""
    column: str = ""
    proud_mm: float = 0.0


@dataclass(frozen=True)
class Geometry:
    """Length and clear height, thickness, height of the crack, how the ends are held, and the shapes of movement."""

    length_mm: float
    height_mm: float = 2440.0
    thickness_mm: float = 203.0
    crack_mm: float = 1220.0
    left: End = End.RETURN
    right: End = End.RETURN
    profile: Profile = Profile.SINE
    bend: Bend = Bend.HINGE

    def along(self, x_mm: ArrayLike) -> Array:
        """Share of the movement at distance x from the left corner: 0 at a return wall, 1 where largest."""
        share = np.asarray(x_mm, float) / self.length_mm
        if self.left is End.FREE and self.right is End.FREE:
            return np.ones_like(share)
        if self.right is End.FREE:
            return np.sin(np.pi * share / 2)
        if self.left is End.FREE:
            return np.sin(np.pi * (1 - share) / 2)
        if self.profile is Profile.FLAT:
            return 1 - (2 * share - 1) ** 4
        if self.profile is Profile.LEFT:
            return np.sin(np.pi * share**0.6)
        if self.profile is Profile.RIGHT:
            return np.sin(np.pi * (1 - share) ** 0.6)
        return np.sin(np.pi * share)

    def over_height(self, z_mm: ArrayLike) -> Array:
        """Shares of bow, tip and slide at height z above the floor, one row a height: shape (n, 3)."""
        z = np.atleast_1d(np.asarray(z_mm, float))
        if self.bend is Bend.HINGE:
            bow = np.interp(z, [0.0, self.crack_mm, self.height_mm], [0.0, 1.0, 0.0])
        else:
            bow = soil_deflection(1 - z / self.height_mm) / _SOIL_LARGEST
        return np.column_stack([bow, z / self.height_mm, np.ones_like(z)])

    def basis(self, x_mm: ArrayLike, z_mm: ArrayLike) -> Array:
        """Shares of bow, tip and slide at spots (x, z): shape (n, 3)."""
        return np.asarray(np.atleast_1d(self.along(x_mm))[:, None] * self.over_height(z_mm))

    def amount(self, by_height: Mapping[float, float]) -> Amount:
        """The bow, tip and slide that give these movements at these three heights of the wall's middle."""
        if len(by_height) != 3:
            raise BowError("Three heights fix bow, tip and slide", got=str(sorted(by_height)), expected="three heights")
        solved = np.linalg.solve(self.over_height(list(by_height)), list(by_height.values()))
        return Amount(*(float(part) for part in solved))


def soil_deflection(share: ArrayLike) -> Array:
    """E I u / (w H^4) of a beam held at both ends under a load rising from 0 (share 0) to w (share 1).

    share (7 - 10 share^2 + 3 share^4) / 360: beam tables, simply supported, load increasing uniformly to one end.
    """
    s = np.asarray(share, float)
    return np.asarray(s * (7 - 10 * s**2 + 3 * s**4) / 360)


_SOIL_LARGEST = float(soil_deflection((1 - (8 / 15) ** 0.5) ** 0.5))


@dataclass(frozen=True)
class Stage:
    """One period: from the work of its first day on, rates in mm/yr, half swing of the season in mm of bow.

    local_mm_per_year: what marks do beside the wall's shape, by mark.
    """

    start: date
    rate: Amount = STILL
    season_mm: float = 0.0
    local_mm_per_year: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Shift:
    """A true movement by an amount: at the work of that day at once, or evenly over so many days from it."""

    day: date
    amount: Amount
    days: float = 0.0


@dataclass(frozen=True)
class Surface:
    """What was put on or taken off the surface at marks, mm (inward positive); the wall itself does not move."""

    day: date
    step_mm: Mapping[str, float]


@dataclass(frozen=True)
class Motion:
    """All a wall truly does. The first stage starts at the zero reading; before it nothing is asked.

    left_end, right_end: how fast that corner tips in, mm/yr at its top; it carries the wall along in proportion.
    """

    stages: Sequence[Stage]
    initial: Amount = STILL
    shifts: Sequence[Shift] = ()
    surfaces: Sequence[Surface] = ()
    season_shape: Amount = _BOW
    season_peak: float = 0.24
    left_end_mm_per_year: float = 0.0
    right_end_mm_per_year: float = 0.0

    def period(self, day: date, part: Part = Part.NONE) -> int:
        """The period of a visit: that of the newest stage whose work came before it."""
        at = moment(day, part)
        return max((i for i, stage in enumerate(self.stages) if i and worked(stage.start) <= at), default=0)


def moment(day: date, part: Part = Part.NONE) -> float:
    """A visit's place on the time axis, in days; before and after the work of one day differ."""
    return day.toordinal() + _PART_HOUR[part]


def worked(day: date) -> float:
    """The moment of that day's work."""
    return day.toordinal() + WORK_HOUR


def smooth_mm(
    geometry: Geometry, motion: Motion, x_mm: Array, z_mm: Array, moments: Array, wobble_mm: ArrayLike = 0.0
) -> Array:
    """Where the smooth wall is, visits by spots (mm); wobble_mm: what it does outside trend and season, by visit."""
    amounts = np.tile(np.asarray(motion.initial, float), (len(moments), 1))
    for stage, years, inside in _stages(motion, moments):
        amounts += years[:, None] * np.asarray(stage.rate)
        turn = np.cos(2 * np.pi * ((moments - _NEW_YEAR) / DAYS_PER_YEAR - motion.season_peak))
        amounts += (stage.season_mm * inside * turn)[:, None] * np.asarray(motion.season_shape)
    for shift in motion.shifts:
        amounts += _ramp(moments, shift)[:, None] * np.asarray(shift.amount)
    amounts[:, 0] += wobble_mm
    return amounts @ geometry.basis(x_mm, z_mm).T + np.outer(
        (moments - moment(motion.stages[0].start)) / DAYS_PER_YEAR, _end_rates(geometry, motion, x_mm, z_mm)
    )


def position_mm(
    geometry: Geometry, motion: Motion, spots: Sequence[Spot], moments: Array, wobble_mm: ArrayLike = 0.0
) -> Array:
    """Where the surface at each mark is, visits by marks (mm): the smooth wall, local movement and surface."""
    x, z = places(spots)
    return smooth_mm(geometry, motion, x, z, moments, wobble_mm) + beside_mm(motion, spots, moments)


def beside_mm(motion: Motion, spots: Sequence[Spot], moments: Array) -> Array:
    """How much further in than the smooth wall each mark is, visits by marks: unevenness, local movement, surface."""
    found = np.tile([spot.proud_mm for spot in spots], (len(moments), 1))
    for stage, years, _ in _stages(motion, moments):
        if stage.local_mm_per_year:
            found += np.outer(years, [stage.local_mm_per_year.get(spot.mark, 0.0) for spot in spots])
    for surface in motion.surfaces:
        here = (moments >= worked(surface.day)).astype(float)
        found += np.outer(here, [surface.step_mm.get(spot.mark, 0.0) for spot in spots])
    return found


def rates_mm_per_year(geometry: Geometry, motion: Motion, period: int, x_mm: Array, z_mm: Array) -> Array:
    """True rate of the smooth wall at spots in a period."""
    by_shape = geometry.basis(x_mm, z_mm) @ np.asarray(motion.stages[period].rate)
    return np.asarray(by_shape + _end_rates(geometry, motion, x_mm, z_mm))


def places(spots: Sequence[Spot]) -> tuple[Array, Array]:
    """x and z of marks."""
    return np.array([spot.x_mm for spot in spots]), np.array([spot.z_mm for spot in spots])


def _end_rates(geometry: Geometry, motion: Motion, x_mm: Array, z_mm: Array) -> Array:
    share = x_mm / geometry.length_mm
    ends = motion.left_end_mm_per_year * (1 - share) + motion.right_end_mm_per_year * share
    return np.asarray(ends * z_mm / geometry.height_mm)


def _stages(motion: Motion, moments: Array) -> list[tuple[Stage, Array, Array]]:
    """Each stage with the years spent in it by each moment, and whether the moment lies in it."""
    starts = [moment(motion.stages[0].start), *(worked(stage.start) for stage in motion.stages[1:])]
    stops = [*starts[1:], np.inf]
    told = []
    for stage, start, stop in zip(motion.stages, starts, stops, strict=True):
        inside = ((moments >= start) & (moments < stop)).astype(float)
        told.append((stage, (np.clip(moments, start, stop) - start) / DAYS_PER_YEAR, inside))
    return told


def _ramp(moments: Array, shift: Shift) -> Array:
    """How much of a shift has come by each moment, 0 to 1."""
    gone = moments - worked(shift.day)
    return (gone >= 0).astype(float) if not shift.days else np.clip(gone / shift.days, 0.0, 1.0)
