"""Sums of visits and their solution against dense matrices written out."""

import numpy as np
import pytest
from scipy.linalg import block_diag, null_space

from monitor.trend.information import accumulate, free_offsets, solve


def visit(seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """One visit of seven readings, three regressors, two proper columns and two free offsets."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(7, 4))
    columns = np.concatenate([rng.normal(size=(7, 2)), block_diag(np.ones((4, 1)), np.ones((3, 1)))], axis=1)
    return x, rng.uniform(0.5, 2, 7), columns, np.array([False, False, True, True])


def test_sums_equal_the_dense_projection_of_free_offsets() -> None:
    x, weight, columns, free = visit()
    got = accumulate(x, weight, columns, free)
    n = null_space(columns[:, free].T)
    r = n.T @ (np.diag(1 / weight) + columns[:, ~free] @ columns[:, ~free].T) @ n
    assert got.cross == pytest.approx(x.T @ n @ np.linalg.solve(r, n.T @ x), rel=1e-12)
    assert got.log_det == pytest.approx(np.linalg.slogdet(r)[1], rel=1e-12)
    assert got.count == 5


def test_a_free_offset_is_the_limit_of_a_wide_one() -> None:
    x, weight, columns, free = visit()
    wide = columns * np.where(free, 1e5, 1.0)
    near = accumulate(x, weight, wide, np.zeros(4, dtype=bool)).cross
    assert accumulate(x, weight, columns, free).cross == pytest.approx(near, rel=1e-8)


def test_padding_of_readings_and_columns_changes_nothing() -> None:
    x, weight, columns, free = visit()
    rng = np.random.default_rng(2)
    padded = accumulate(
        np.concatenate([x, rng.normal(size=(3, 4))]),
        np.concatenate([weight, np.zeros(3)]),
        np.pad(columns, ((0, 3), (0, 2))),
        np.concatenate([free, [True, False]]),
    )
    plain = accumulate(x, weight, columns, free)
    assert padded.cross == pytest.approx(plain.cross, rel=1e-13)
    assert padded.log_det == pytest.approx(plain.log_det, rel=1e-13)
    assert padded.count == plain.count


def test_sums_from_the_newest_visit_backwards_are_the_sums_from_each_start() -> None:
    x, weight, columns, free = (np.stack(part) for part in zip(*(visit(seed) for seed in range(5)), strict=True))
    visits = accumulate(x, weight, columns, free)
    back = visits.from_each_start()
    for start in range(5):
        assert back.cross[start] == pytest.approx(visits.cross[start:].sum(axis=0), rel=1e-13)
        assert back.log_det[start] == pytest.approx(visits.log_det[start:].sum(), rel=1e-13)
        assert back.count[start] == visits.count[start:].sum()
    assert visits.total().cross == pytest.approx(back.cross[0], rel=1e-13)


def test_a_regressor_that_a_free_offset_takes_out_is_exactly_nothing() -> None:
    x, weight, columns, free = visit()
    x[:, 1] = columns[:, 2] * 3 - columns[:, 3] * 7
    got = accumulate(x, weight, columns, free).cross
    assert not got[1].any()
    assert not got[:, 1].any()
    assert np.diagonal(got)[[0, 2, 3]].min() > 0.1


def test_free_offsets_of_clean_readings_are_found_exactly() -> None:
    _, weight, columns, free = visit()
    errors = columns[:, 2] * 12.5 - columns[:, 3] * 300
    assert free_offsets(errors, weight, columns, free) == pytest.approx(errors, rel=1e-12)


def test_solution_of_a_full_rank_matrix_is_its_inverse_and_determinant() -> None:
    rng = np.random.default_rng(3)
    half = rng.normal(size=(6, 4)) * np.array([1, 1e3, 1e-3, 1])
    matrix = half.T @ half
    got = solve(matrix)
    assert got.inverse @ matrix == pytest.approx(np.eye(4), abs=1e-8)
    assert got.rank == 4
    assert got.log_det == pytest.approx(np.linalg.slogdet(matrix)[1], rel=1e-10)
    assert got.determined(np.eye(4)).all()


def test_solution_of_a_singular_matrix_says_what_is_determined() -> None:
    design = np.array([[1.0, 0, 1, 0], [1, 0, 1, 0], [0, 1, 1, 0], [0, 1, 1, 0]]) * np.array([1, 100, 0.01, 1])
    matrix = design.T @ design
    got = solve(matrix)
    assert got.rank == 2
    assert got.determined(np.eye(4)).tolist() == [False] * 4
    seen = np.array([[1.0, 0, 0.01, 0], [0, 100, 0.01, 0], [1, -100, 0, 0], [1, 0, 0, 0], [0, 0, 0, 1]])
    assert got.determined(seen).tolist() == [True, True, True, False, False]
    assert not got.determined(np.zeros((1, 4)))[0]
    values = np.linalg.eigvalsh(matrix)
    assert got.log_det == pytest.approx(np.log(values[values > 1e-6 * values.max() * 1e-8]).sum(), rel=1e-6)


def test_batches_equal_single_solutions() -> None:
    rng = np.random.default_rng(4)
    halves = rng.normal(size=(3, 2, 6, 4))
    matrices = np.swapaxes(halves, -1, -2) @ halves
    together = solve(matrices)
    for at in np.ndindex(3, 2):
        assert together.inverse[at] == pytest.approx(solve(matrices[at]).inverse, rel=1e-10)
