"""The model's standard deviations as one vector: what is estimated together, in one order.

Reading sd, set-up offset, yaw and tilt of every method in the order of METHODS, then season, local, share, wobble.
"""

import numpy as np
import numpy.typing as npt
from msgspec import structs

from monitor.config import MethodSds, Variances
from monitor.trend.variances import METHODS, Array

SORTS = ("reading_mm", "offset_mm", "yaw_mm_per_m", "tilt_mm_per_m")
"""Fields of MethodSds, each with one entry per method."""

SHARED = ("season_mm", "local_mm_per_year", "local_share", "wobble_mm")
"""Fields of Variances that all methods share."""

READING, OFFSET, YAW, TILT = (number * len(METHODS) for number in range(len(SORTS)))
SEASON, LOCAL, SHARE, WOBBLE = (len(SORTS) * len(METHODS) + number for number in range(len(SHARED)))
SIZE = len(SORTS) * len(METHODS) + len(SHARED)


def to_vector(variances: Variances) -> Array:
    """The sds (SIZE,); 0 where there is no such effect or where it is free."""
    of_methods = [getattr(variances.methods[method], sort) or 0.0 for sort in SORTS for method in METHODS]
    return np.array([*of_methods, *(getattr(variances, name) for name in SHARED)])


def from_vector(variances: Variances, sds: Array) -> Variances:
    """The variances with those sds; what is free or absent stays so."""
    methods = {
        method: MethodSds(
            **{
                sort: float(sds[start + number]) if getattr(variances.methods[method], sort) else own
                for start, sort in zip((READING, OFFSET, YAW, TILT), SORTS, strict=True)
                for own in [getattr(variances.methods[method], sort)]
            }
        )
        for number, method in enumerate(METHODS)
    }
    shared = {name: float(sds[SEASON + number]) for number, name in enumerate(SHARED)}
    return structs.replace(variances, methods=methods, **shared)


def free(variances: Variances) -> npt.NDArray[np.bool_]:
    """Which sds can be estimated: those that are neither free nor 0, which says that there is no such effect."""
    return to_vector(variances) > 0


def name(number: int) -> str:
    """What an entry of the vector is called, e.g. 'string offset_mm' or 'season_mm'."""
    if number >= SEASON:
        return SHARED[number - SEASON]
    sort, method = divmod(number, len(METHODS))
    return f"{METHODS[method]} {SORTS[sort]}"
