"""Evenly spread draws between 0 and 1: scrambled Sobol points, the same for ever, without the library that made them.

The library takes longer to load than a wall takes to assess. What it draws from, a few whole numbers a dimension, is
kept beside this file for as many dimensions as a wall hardly ever asks for; a test holds the points to the library's.
"""

from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from monitor.trend.columns import Array

DRAWS = 512
"""Evenly spread draws behind a chance; the same for every wall, so that equal walls get equal chances."""
KEPT = 40
"""So many dimensions are kept; of more the library is asked."""
FILE = Path(__file__).with_suffix(".npy")
_BITS = DRAWS.bit_length() - 1
_SCALE = 2.0**-30


def points(size: int) -> Array:
    """The points (DRAWS, size)."""
    shift, directions = _numbers(size) if size <= KEPT else _asked(size)
    gray = np.arange(DRAWS) ^ (np.arange(DRAWS) >> 1)
    found = np.tile(shift, (DRAWS, 1))
    for bit in range(_BITS):
        found ^= ((gray >> bit) & 1).astype(np.uint32)[:, None] * directions[:, bit]
    return np.asarray(found * _SCALE)


def to_keep() -> npt.NDArray[np.uint32]:
    """What FILE holds (rows, 1 + bits): for 1 to KEPT dimensions, a row each, its shift and its direction numbers."""
    return np.concatenate([np.column_stack(_asked(size)) for size in range(1, KEPT + 1)])


def _numbers(size: int) -> tuple[npt.NDArray[np.uint32], npt.NDArray[np.uint32]]:
    start = size * (size - 1) // 2
    rows = _kept()[start : start + size]
    return rows[:, 0], rows[:, 1:]


@cache
def _kept() -> npt.NDArray[np.uint32]:
    return np.asarray(np.load(FILE), dtype=np.uint32)


def _asked(size: int) -> tuple[npt.NDArray[np.uint32], npt.NDArray[np.uint32]]:
    """Shift and direction numbers, told from the library's points: point 2^(j + 1) - 1 bears that of bit j alone."""
    from scipy.stats import qmc  # half a second

    points = qmc.Sobol(size, rng=np.random.default_rng(1)).random(DRAWS)
    whole = (points / _SCALE).astype(np.uint32)
    return whole[0], np.transpose([whole[(2 << bit) - 1] ^ whole[0] for bit in range(_BITS)])
