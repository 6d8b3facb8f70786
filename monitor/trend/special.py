"""The distributions that the model asks of scipy.special.

While it loads, scipy.special writes into the description of each of its functions which other libraries' arrays it
takes; that takes longer than all else it does, and nobody reads it here. It is given nothing to write with.
"""

from collections.abc import Callable
from typing import Any

from scipy._lib import _array_api


def _as_described(**_: object) -> Callable[[Any], Any]:
    return lambda function: function


_written_by: Any = _array_api
_writing = _written_by.xp_capabilities
_written_by.xp_capabilities = _as_described
try:
    from scipy.special import betaln, fdtrc, nctdtr, nctdtrinc, ndtr, ndtri, stdtr, stdtrit
finally:
    _written_by.xp_capabilities = _writing

__all__ = ["betaln", "fdtrc", "nctdtr", "nctdtrinc", "ndtr", "ndtri", "stdtr", "stdtrit"]
