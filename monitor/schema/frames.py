"""Keeps pyarrow from loading pandas for its own sake.

Before it makes its first array or scalar pyarrow looks whether pandas is there, by importing it: half a second of every
command, though no row of this package need be a frame. So it is told at first that there is none, and otherwise as soon
as somebody does import pandas: from then on frames and their columns are taken as ever.
"""

import importlib.util
import sys
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from types import ModuleType
from typing import Any

import pyarrow as pa

_PANDAS = "pandas"


class _Later(MetaPathFinder):
    """Finds no pandas while pyarrow looks for it; afterwards finds it, once, and has pyarrow look again."""

    def __init__(self) -> None:
        self.is_asked_by_pyarrow = True

    def find_spec(self, name: str, *_: Any) -> ModuleSpec | None:
        """The place of pandas, where it is that which is imported."""
        if name != _PANDAS:
            return None
        if self.is_asked_by_pyarrow:
            raise ModuleNotFoundError("not before it is used", name=name)
        sys.meta_path.remove(self)
        spec = importlib.util.find_spec(name)
        if spec and spec.loader:
            spec.loader = _Telling(spec.loader)
        return spec


class _Telling(Loader):
    def __init__(self, own: Loader) -> None:
        self.own = own

    def create_module(self, spec: ModuleSpec) -> ModuleType | None:
        return self.own.create_module(spec)

    def exec_module(self, module: ModuleType) -> None:
        self.own.exec_module(module)
        pa.nulls(0).to_pandas()


def put_off() -> None:
    """Have pyarrow do without pandas until somebody imports it. Nothing where it is imported already."""
    if _PANDAS in sys.modules:
        return
    later = _Later()
    sys.meta_path.insert(0, later)
    pa.array([])
    later.is_asked_by_pyarrow = False
