"""pyarrow without pandas: looked for once while it is out of sight, as looking for it loads it.

pyarrow looks for pandas the first time that a list is made an array, and again the first time that it is to tell a type;
loading it takes longer than taking in a visit. What
was not found then is found all the same once somebody asks for a frame (`Table.to_pandas`).
"""

import sys
from importlib.abc import MetaPathFinder

import pyarrow as pa


class _Hiding(MetaPathFinder):
    """Finds everything as it was, but says of pandas that it is not there."""

    def find_spec(self, fullname: str, path: object = None, target: object = None) -> None:
        """Raise where pandas is looked for; nothing else is known here."""
        del path, target
        if fullname == "pandas":
            raise ModuleNotFoundError(fullname)


if "pandas" not in sys.modules:
    sys.meta_path.insert(0, hiding := _Hiding())
    try:
        pa.array([], pa.int8())
        pa.scalar("")
    finally:
        sys.meta_path.remove(hiding)
