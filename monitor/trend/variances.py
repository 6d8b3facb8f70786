"""The variances of the settings as arrays, one entry per method, in the order of METHODS."""

import numpy as np
import numpy.typing as npt

from monitor.config import Variances
from monitor.records import dataclass
from monitor.terms import Method
from monitor.units import rounding_sd_mm

Array = npt.NDArray[np.float64]

METHODS = tuple(Method)
"""Order of the methods in every array of this room."""

LEAST = 1e-12
"""Least variance of an effect that is estimated: stands for none, and keeps its precision finite."""


@dataclass(frozen=True)
class SetupSds:
    """Set-up sds by method: offset in mm (1 where it is free), yaw and tilt in mm per m; `free`: offset is free.

    offset, yaw, tilt: shape (methods,); a method has a column of its own in a set-up only where the sd is above 0.
    """

    offset: Array
    yaw: Array
    tilt: Array
    free: npt.NDArray[np.bool_]


def setup_sds(variances: Variances) -> SetupSds:
    """The set-up sds of the settings; a method that the settings leave out is an error (KeyError)."""
    sds = [variances.methods[method] for method in METHODS]
    return SetupSds(
        offset=np.array([1.0 if sd.offset_mm is None else sd.offset_mm for sd in sds]),
        yaw=np.array([sd.yaw_mm_per_m for sd in sds]),
        tilt=np.array([sd.tilt_mm_per_m for sd in sds]),
        free=np.array([sd.offset_mm is None for sd in sds]),
    )


def reading_variance(variances: Variances, method: npt.NDArray[np.intp], step_mm: Array, error_factor: Array) -> Array:
    """Variance of single readings, mm^2: (reading sd x error factor)^2 + step^2 / 12; an unknown step adds none."""
    sd = np.array([variances.methods[m].reading_mm for m in METHODS])[method]
    rounding = rounding_sd_mm(1.0) * np.nan_to_num(step_mm)
    doubt = np.where(np.isnan(error_factor), 1.0, error_factor)
    return np.asarray((sd * doubt) ** 2 + rounding**2)


def season_variance(variances: Variances) -> float:
    """Variance of each of the two coefficients of the yearly cycle, A^2 / 2, in mm^2."""
    return max(variances.season_mm**2 / 2, LEAST)
