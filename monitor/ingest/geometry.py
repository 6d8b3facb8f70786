"""From the number read to the deflection, inward positive: by string, plumb line, laser plane or distance meter.

The gap to a line goes down as the wall comes in, and so does the distance from the opposite side.
"""

from math import asin, tan

from monitor.lengths import Length
from monitor.terms import Kind, Method
from monitor.units import SIXTEENTH_MM

STANDOFF_METHODS = frozenset({Method.STRING})
"""Methods whose line stands off the wall by a known amount; the others' zero is free, or that of a first reading."""


def deflection_mm(value_mm: float, kind: Kind, standoff_mm: float | None) -> float:
    """Inward deflection: stand-off (0 where the method has none) - gap, - distance, or the deflection as such."""
    if kind is Kind.DEFLECTION:
        return value_mm
    if kind is Kind.DISTANCE:
        return -value_mm
    return (standoff_mm or 0.0) - value_mm


def needs_standoff(method: Method, kind: Kind) -> bool:
    """Whether the number means nothing without a stand-off."""
    return method in STANDOFF_METHODS and kind is Kind.GAP


def hinge_opening_mm(bow_mm: float, height_mm: float, thickness_mm: float) -> float:
    """Opening at the inner face of a crack at mid-height of a wall that is hinged there and held at both ends.

    2 t tan(asin(2 d / h)); every turn of the wall at one crack, so real openings are smaller.
    """
    return 2 * thickness_mm * tan(asin(min(1.0, 2 * abs(bow_mm) / height_mm)))


def step_mm(length: Length, instrument_step_mm: float | None) -> float:
    """Finest step noted: the instrument's, else 1/16 in or 1 mm; finer where the value itself is written finer."""
    usual = SIXTEENTH_MM if length.unit == "in" else 1.0
    written = min(length.step_mm, usual)
    return min(written, instrument_step_mm or usual) if written < usual else (instrument_step_mm or usual)
