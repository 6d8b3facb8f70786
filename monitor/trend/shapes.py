"""The shapes of movement at a mark: what bow, tip and slide do there, and what of it a method sees.

A shape is along x height, 1 where it is largest over the wall. Along the wall: a half sine between two return walls, a
quarter sine from the held end where the other is free, 1 where both are free. Over the height: bow is a hinge at the
crack (1 there, 0 at floor and top), tip is z / H, slide is 1.
"""

import numpy as np
import numpy.typing as npt

from monitor.terms import Movement

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

COMPONENTS = (Movement.BOW, Movement.TIP, Movement.SLIDE)
"""Order of the components in every array of this room."""

BOW = COMPONENTS.index(Movement.BOW)

NOTHING = 1e-9
"""A shape below this is nothing: sin(pi) is not 0 in floating point."""


def over_height(z_mm: Array, height_mm: Array, crack_mm: Array) -> Array:
    """Bow, tip and slide over the height, shape (n, 3); a crack unknown or off the wall means mid-height."""
    known = (crack_mm > 0) & (crack_mm < height_mm)
    hinge = np.where(known, crack_mm, height_mm / 2)
    bow = np.clip(np.minimum(z_mm / hinge, (height_mm - z_mm) / (height_mm - hinge)), 0.0, 1.0)
    return np.stack([bow, z_mm / height_mm, np.ones_like(bow)], axis=-1)


def along_wall(share: Array, left_free: Flags, right_free: Flags) -> Array:
    """Shape along the wall at `share` = x / L of the length from the left corner, shape (n,)."""
    quarter = np.sin(np.pi / 2 * np.where(left_free, 1 - share, share))
    one_free = left_free != right_free
    return np.where(left_free & right_free, 1.0, np.where(one_free, quarter, np.sin(np.pi * share)))


def seen_along_wall(share: Array, left_free: Flags, right_free: Flags, on_wall: Flags) -> Array:
    """The shape along the wall as a method sees it.

    A reference that stands on the wall itself (`on_wall`: a string between its ends) moves with it, so it sees the
    shape less the straight line between the shape at its two ends.
    """
    ends = [along_wall(np.full_like(share, end), left_free, right_free) for end in (0.0, 1.0)]
    line = ends[0] * (1 - share) + ends[1] * share
    seen = along_wall(share, left_free, right_free) - np.where(on_wall, line, 0.0)
    return np.where(np.abs(seen) < NOTHING, 0.0, seen)


def seen_shapes(
    x_mm: Array,
    z_mm: Array,
    length_mm: Array,
    height_mm: Array,
    crack_mm: Array,
    left_free: Flags,
    right_free: Flags,
    on_wall: Flags,
) -> Array:
    """Bow, tip and slide at marks as a method sees them, shape (n, 3); 0 where the place is not known wholly."""
    along = seen_along_wall(x_mm / length_mm, left_free, right_free, on_wall)
    shapes = along[:, None] * over_height(z_mm, height_mm, crack_mm)
    return np.where(np.isfinite(shapes).all(axis=-1, keepdims=True), shapes, 0.0)
