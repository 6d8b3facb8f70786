"""Shapes of movement by hand."""

import numpy as np
import pytest

from monitor.trend.shapes import along_wall, over_height, seen_shapes


def seen(
    x: list[float], z: list[float], ends: tuple[bool, bool] = (False, False), *, on_wall: bool, crack: float = np.nan
):
    n = len(x)
    full = lambda value: np.full(n, value)  # noqa: E731
    return seen_shapes(
        np.array(x), np.array(z), full(8000.0), full(2400.0), full(crack), full(ends[0]), full(ends[1]), full(on_wall)
    )


def test_bow_is_a_hinge_at_mid_height_where_no_crack_is_known() -> None:
    z = np.array([0.0, 600, 1200, 1800, 2400])
    shapes = over_height(z, np.full(5, 2400.0), np.full(5, np.nan))
    assert shapes[:, 0] == pytest.approx([0, 0.5, 1, 0.5, 0])
    assert shapes[:, 1] == pytest.approx([0, 0.25, 0.5, 0.75, 1])
    assert shapes[:, 2] == pytest.approx([1, 1, 1, 1, 1])


@pytest.mark.parametrize("crack", [0.0, -5.0, 2400.0, 9000.0, np.nan])
def test_a_crack_off_the_wall_means_mid_height(crack: float) -> None:
    assert over_height(np.array([1200.0]), np.array([2400.0]), np.array([crack]))[0, 0] == 1


def test_bow_is_largest_at_the_crack() -> None:
    shapes = over_height(np.array([800.0, 1600.0]), np.full(2, 2400.0), np.full(2, 800.0))
    assert shapes[:, 0] == pytest.approx([1, 0.5])


def test_along_the_wall_each_pair_of_ends_has_its_sine() -> None:
    share = np.array([0.0, 0.25, 0.5, 1.0])
    held, free = np.full(4, False), np.full(4, True)
    assert along_wall(share, held, held) == pytest.approx([0, np.sqrt(0.5), 1, 0], abs=1e-15)
    assert along_wall(share, held, free) == pytest.approx([0, np.sin(np.pi / 8), np.sqrt(0.5), 1], abs=1e-15)
    assert along_wall(share, free, held) == pytest.approx([1, np.sin(3 * np.pi / 8), np.sqrt(0.5), 0], abs=1e-15)
    assert along_wall(share, free, free) == pytest.approx([1, 1, 1, 1])


def test_a_string_sees_the_shape_less_the_line_between_its_ends() -> None:
    assert seen([4000], [1200], (False, True), on_wall=True)[0, 2] == pytest.approx(np.sqrt(0.5) - 0.5)
    assert seen([4000], [1200], (True, False), on_wall=True)[0, 2] == pytest.approx(np.sqrt(0.5) - 0.5)
    assert seen([4000], [1200], (False, False), on_wall=True)[0] == pytest.approx([1, 0.5, 1])
    assert not seen([0, 3000, 8000], [1200] * 3, (True, True), on_wall=True).any()


def test_other_methods_see_the_shape_itself() -> None:
    assert seen([4000], [1200], (True, True), on_wall=False)[0] == pytest.approx([1, 0.5, 1])


def test_held_ends_do_not_move_at_all() -> None:
    assert not seen([0, 8000], [1200, 1200], on_wall=False).any()


def test_unknown_places_are_not_seen() -> None:
    assert not seen([np.nan, 4000], [1200, np.nan], on_wall=False).any()


def test_the_scale_is_the_walls_and_not_that_of_its_marks() -> None:
    low = seen([1000], [300], on_wall=False)[0]
    assert low == pytest.approx(np.sin(np.pi / 8) * np.array([0.25, 0.125, 1]))
