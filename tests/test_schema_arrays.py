"""Arrays of NumPy become what pyarrow makes of them by itself."""

import numpy as np
import pyarrow as pa
import pytest

from monitor.schema.arrays import array_of

ARRAYS = [
    np.array([1.5, np.nan, -0.0, np.inf]),
    np.arange(20, dtype=np.int64)[::3],
    np.arange(4, dtype=np.int32).reshape(2, 2)[:, 1],
    np.array([True, False, True] * 7),
    np.array([True, False, True, False, True])[::2],
    np.zeros(0),
    np.zeros(0, dtype=bool),
]


@pytest.mark.parametrize("values", ARRAYS, ids=repr)
def test_it_is_the_array_that_pyarrow_makes(values: np.ndarray) -> None:
    made = array_of(values)
    made.validate(full=True)
    assert made.type == pa.array(values).type
    assert made.null_count == 0
    np.testing.assert_array_equal(made.to_numpy(zero_copy_only=False), values)


@pytest.mark.parametrize("values", ARRAYS, ids=repr)
def test_what_is_not_known_is_null(values: np.ndarray) -> None:
    known = np.arange(len(values)) % 2 == 1
    made = array_of(values, known)
    made.validate(full=True)
    assert made.is_valid().to_pylist() == known.tolist()
    np.testing.assert_array_equal(made.drop_null().to_numpy(zero_copy_only=False), values[known])
    assert array_of(values, np.ones(len(values), dtype=bool)).null_count == 0
