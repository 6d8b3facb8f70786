"""What a method sees of a true wall, with set-up errors and reading errors, and how the number is written down."""

from collections.abc import Sequence
from fractions import Fraction
from math import floor

import numpy as np
from numpy.typing import ArrayLike

from monitor.records import dataclass
from monitor.simulate.wall import Array, Geometry, Motion, Spot, beside_mm, places, rates_mm_per_year, smooth_mm
from monitor.terms import LengthUnit, Method
from monitor.units import MM_PER_INCH, SIXTEENTH_MM, fraction_text, inches_from_mm, nearest_fraction


@dataclass(frozen=True)
class Sds:
    """Standard deviations of one method: a reading and a set-up's offset in mm, its yaw and tilt in mm per m."""

    reading_mm: float
    offset_mm: float = 0.0
    yaw_mm_per_m: float = 0.0
    tilt_mm_per_m: float = 0.0

    def scaled(self, factor: float) -> "Sds":
        """All of them multiplied: 0.5 for a careful technician."""
        return Sds(*(factor * sd for sd in (self.reading_mm, self.offset_mm, self.yaw_mm_per_m, self.tilt_mm_per_m)))


def seen_mm(
    method: Method,
    geometry: Geometry,
    motion: Motion,
    spots: Sequence[Spot],
    moments: Array,
    wobble_mm: ArrayLike = 0.0,
) -> Array:
    """What a perfect reading by this method gives, visits by marks (mm, inward positive).

    String: the mark less the straight line between the wall's two ends, where the blocks stand. Plumb: the mark less
    the hook at the top of its column, so only differences within the column tell. Laser and distance meter: the mark
    itself (the laser up to the plane it happened to be set to, which is a set-up error).
    """
    x, z = places(spots)
    n, share = len(x), x / geometry.length_mm
    seen = beside_mm(motion, spots, moments)
    if method is Method.STRING:
        every_x = np.concatenate([x, np.zeros(n), np.full(n, geometry.length_mm)])
        smooth = smooth_mm(geometry, motion, every_x, np.tile(z, 3), moments, wobble_mm)
        return seen + smooth[:, :n] - (1 - share) * smooth[:, n : 2 * n] - share * smooth[:, 2 * n :]
    if method is Method.PLUMB:
        every_z = np.concatenate([z, np.full(n, geometry.height_mm)])
        smooth = smooth_mm(geometry, motion, np.tile(x, 2), every_z, moments, wobble_mm)
        return seen + smooth[:, :n] - smooth[:, n:]
    return seen + smooth_mm(geometry, motion, x, z, moments, wobble_mm)


def seen_rates_mm_per_year(
    method: Method, geometry: Geometry, motion: Motion, period: int, spots: Sequence[Spot]
) -> Array:
    """True rate of each mark as far as a method can see it, local movement included.

    String: relative to the two ends; plumb: relative to the foot of the wall below (its slide drops out); laser and
    distance meter: absolute.
    """
    x, z = places(spots)
    local = motion.stages[period].local_mm_per_year
    rates = rates_mm_per_year(geometry, motion, period, x, z) + [local.get(spot.mark, 0.0) for spot in spots]
    if method is Method.STRING:
        share = x / geometry.length_mm
        left = rates_mm_per_year(geometry, motion, period, np.zeros_like(x), z)
        right = rates_mm_per_year(geometry, motion, period, np.full_like(x, geometry.length_mm), z)
        return np.asarray(rates - ((1 - share) * left + share * right))
    if method is Method.PLUMB:
        return np.asarray(rates - rates_mm_per_year(geometry, motion, period, x, np.zeros_like(z)))
    return np.asarray(rates)


def setup_errors_mm(
    rng: np.random.Generator, sds: Sds, geometry: Geometry, x_mm: Array, z_mm: Array, placing: Sequence[int], times: int
) -> Array:
    """Errors of set-ups at their marks, times by marks: an offset, a turn about the wall's middle, a tilt with height.

    placing: which of the set-ups of one time each mark belongs to, counted from 0.
    """
    offset, yaw, tilt = rng.standard_normal((3, times, max(placing) + 1))[:, :, np.asarray(placing)]
    return np.asarray(
        sds.offset_mm * offset
        + sds.yaw_mm_per_m * yaw * (x_mm - geometry.length_mm / 2) / 1000
        + sds.tilt_mm_per_m * tilt * z_mm / 1000
    )


def typed(value_mm: float, unit: LengthUnit) -> str:
    """A value as a technician writes it: to 1/16 in ('1 13/16') or to 1 mm ('47'), halves away from zero."""
    if unit is LengthUnit.INCH:
        return fraction_text(nearest_fraction(inches_from_mm(value_mm)))
    return str(int(np.copysign(floor(abs(value_mm) + 0.5), value_mm)))


def step_mm(unit: LengthUnit) -> float:
    """The step that `typed` writes."""
    return SIXTEENTH_MM if unit is LengthUnit.INCH else 1.0


SLIPS_MM = (0.25 * MM_PER_INCH, 0.5 * MM_PER_INCH, 0.625 * MM_PER_INCH, MM_PER_INCH)
"""Typical slips on a rule: 5/16 for 9/16, a half inch, 13/16 for 3/16, a whole inch."""


def slip_fraction(text: str, wrong: Fraction, right: Fraction) -> str:
    """The same inches with one fraction written for another: '2 3/16' becomes '2 13/16'."""
    whole, _, part = text.rpartition(" ")
    if part != f"{right.numerator}/{right.denominator}":
        raise ValueError(f"'{text}' has not the fraction {right}")
    return f"{whole} {wrong.numerator}/{wrong.denominator}".strip()
