"""Arrays of NumPy as arrays of Arrow.

pyarrow's own way looks whether it has a masked array before it, and that loads all of `numpy.ma`: a fortieth of what a
command that takes in one visit has to do. Nothing here is masked.
"""

import numpy as np
import numpy.typing as npt
import pyarrow as pa

_KINDS = {np.dtype(name): pa.type_for_alias(name) for name in ("bool", "int32", "int64", "float64")}


def array_of(values: npt.NDArray[np.generic], known: npt.NDArray[np.bool_] | None = None) -> pa.Array:
    """Numbers or truths (rows,) in their own type, null where `known` (rows,) is false; NaN stays a number.

    Numbers are not copied: whoever changes them afterwards changes the column.
    """
    kind = _KINDS[values.dtype]
    content = _bits(values.view(np.bool_)) if kind == pa.bool_() else pa.py_buffer(np.ascontiguousarray(values))
    valid = None if known is None or known.all() else _bits(known)
    return pa.Array.from_buffers(kind, len(values), [valid, content])


def _bits(truths: npt.NDArray[np.bool_]) -> pa.Buffer:
    return pa.py_buffer(np.packbits(truths, bitorder="little"))
