"""One text for each wall of a table, by which columns are compared without a row made of them."""

import pyarrow as pa
import pyarrow.compute as pc

BETWEEN = "\x1f"
"""Stands between a house and a wall in a key; no id holds it."""


def wall_key(wall: tuple[str, str]) -> str:
    """One string that stands for a wall."""
    return BETWEEN.join(wall)


def wall_keys(rows: pa.Table) -> pa.Array:
    """The same for every row of a table."""
    return pc.binary_join_element_wise(rows["house"], rows["wall"], pa.scalar(BETWEEN)).combine_chunks()
