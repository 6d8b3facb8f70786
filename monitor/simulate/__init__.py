"""Simulated walls with known truth: the physics of a wall, of a string, a plumb line, a laser and a distance meter.

Written apart from the model that fits readings, so that the one can judge the other. Same seed, same bytes.
"""

from monitor.simulate.observe import Sds, seen_mm, seen_rates_mm_per_year, typed
from monitor.simulate.visits import Row, Setup, Simulated, Truth, Visit, simulate
from monitor.simulate.wall import (
    Amount,
    Bend,
    Geometry,
    Motion,
    Profile,
    Shift,
    Spot,
    Stage,
    Surface,
    moment,
    position_mm,
)

__all__ = [
    "Amount",
    "Bend",
    "Geometry",
    "Motion",
    "Profile",
    "Row",
    "Sds",
    "Setup",
    "Shift",
    "Simulated",
    "Spot",
    "Stage",
    "Surface",
    "Truth",
    "Visit",
    "moment",
    "position_mm",
    "seen_mm",
    "seen_rates_mm_per_year",
    "simulate",
    "typed",
]
