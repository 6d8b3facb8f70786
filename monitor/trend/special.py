"""The distributions that the model asks of scipy.special.

While it loads, scipy.special writes into the description of each of its functions which other libraries' arrays it
takes; that takes longer than all else it does, and nobody reads it here. It is given nothing to write with.
"""

from collections.abc import Callable
from contextlib import suppress
from importlib import import_module
from typing import Any


def _as_described(**_: object) -> Callable[[Any], Any]:
    return lambda function: function


_writer: Any = None
with suppress(ImportError):
    _writer = import_module("scipy._lib._array_api")
_write = getattr(_writer, "xp_capabilities", None)
if _write:  # a scipy that does not do so, or by another name, loads as it is
    _writer.xp_capabilities = _as_described
try:
    from scipy.special import betaln, fdtrc, nctdtr, nctdtrinc, ndtr, ndtri, stdtr, stdtrit
finally:
    if _write:
        _writer.xp_capabilities = _write

__all__ = ["betaln", "fdtrc", "nctdtr", "nctdtrinc", "ndtr", "ndtri", "stdtr", "stdtrit"]
