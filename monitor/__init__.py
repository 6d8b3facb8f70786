"""Bow monitoring for basement walls: visit readings in, an honest inward rate per wall, flags and reports out."""

import os

__version__ = "0.1.0"

# before pyarrow, which by itself holds on to memory that is free: a quarter more in the steps of a large company
os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")
