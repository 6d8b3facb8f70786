"""The range of a share against published intervals, a worked law, and the binomial distribution itself."""

from math import comb

import pytest

from monitor.trend.shares import share_range


def tail(hits: int, walls: int, share: float, *, at_least: bool) -> float:
    """Chance of at least, or at most, so many hits, summed term by term."""
    counts = range(hits, walls + 1) if at_least else range(hits + 1)
    return sum(comb(walls, n) * share**n * (1 - share) ** (walls - n) for n in counts)


@pytest.mark.parametrize(("hits", "walls"), [(1, 5), (2, 12), (7, 9), (3, 40), (150, 300)])
def test_each_bound_is_the_share_at_which_such_a_count_has_a_chance_of_one_in_twenty(hits: int, walls: int) -> None:
    # the definition of Clopper & Pearson, Biometrika 26 (1934), 404-413, by sums of binomial terms
    low, high = share_range(hits, walls)
    assert tail(hits, walls, low, at_least=True) == pytest.approx(0.05, rel=1e-6)
    assert tail(hits, walls, high, at_least=False) == pytest.approx(0.05, rel=1e-6)


@pytest.mark.parametrize("walls", [5, 20, 59])
def test_none_of_n_leaves_the_upper_bound_that_a_twentieth_root_gives(walls: int) -> None:
    # (1 - p)^n = 0.05; for 59 of 59 clear this is the "95 % sure of at most 5 %" of sampling handbooks (n = 59)
    low, high = share_range(0, walls)
    assert low == 0.0
    assert high == pytest.approx(1 - 0.05 ** (1 / walls))
    assert share_range(walls, walls) == (pytest.approx(0.05 ** (1 / walls)), 1.0)


def test_more_hits_than_walls_are_refused() -> None:
    with pytest.raises(ValueError, match=r"."):
        share_range(3, 2)
