"""What the next visits of each wall can show: the smallest rate, the chance of a verdict, a second set-up's gain."""

from collections.abc import Iterator

import numpy as np
import pyarrow as pa

from monitor.config import Rules, Settings
from monitor.records import dataclass
from monitor.schema.arrays import array_of
from monitor.trend import chances, planned
from monitor.trend.cases import WALL, Cases
from monitor.trend.coded import Coded
from monitor.trend.columns import Flags, Rows, Whole, dates, numbers, places
from monitor.trend.planned import Future, Known, local_variance
from monitor.trend.planning import POWER, detectable_rate, enough
from monitor.trend.shapes import Array

MOVING_TIMES = 2.0
"""The moving wall of a plan moves at so many times its threshold."""

_KINDS = {
    "next_counts": pa.bool_(),
    **dict.fromkeys(("holding_chance", "holding_chance_twice", "moving_chance"), pa.float64()),
    **dict.fromkeys(("smallest_rate_mm_per_year", "second_setup_gain"), pa.float64()),
    **dict.fromkeys(("holding_from", "looked_until"), pa.date32()),
}


def outlook(cases: Cases, known: Known, facts: Coded, ahead: pa.Table, settings: Settings) -> pa.Table:
    """One row per current case in which anything was read, with what its next planned visits would show.

    known, facts, ahead: as planned.futures takes them. next_counts: whether the next visit counts for the rate; where
    it does not, it shows nothing and all but holding_from and looked_until is null or 0. holding_chance,
    holding_chance_twice: chance that a still wall is called holding after it, with its set-ups once and twice.
    moving_chance: chance that a wall at twice its threshold is called moving after it. smallest_rate_mm_per_year: whose
    own lower bound then passes the threshold with 80 % chance. second_setup_gain: share of the standard error that a
    second set-up takes away. holding_from: first planned visit after which a still wall is called holding with 80 %
    chance, null where none until looked_until is. Verdicts ask for no ruling on held readings here: they are taken as
    ruled on.
    """
    looked = _Looked.of(cases, ahead)
    parts = [
        _of_block(cases, future, looked, settings) for future in planned.futures(cases, known, facts, ahead, settings)
    ]
    names = cases.keys(np.zeros(0, dtype=np.intp))
    empty = pa.table(names | {name: pa.nulls(0, kind) for name, kind in _KINDS.items()})
    return pa.concat_tables([empty, *parts])


@dataclass(frozen=True)
class _Looked:
    """Days that are looked ahead of each wall (walls,): how many, and the last one (NaN for none)."""

    size: Whole
    last: Array

    @classmethod
    def of(cls, cases: Cases, ahead: pa.Table) -> "_Looked":
        count = len(cases.walls.row)
        wall = places(ahead, pa.table({"house": cases.walls.house, "wall": cases.walls.wall}), WALL)
        last = np.full(count, -np.inf)
        np.maximum.at(last, wall, Rows(ahead).day("visit_on"))
        return cls(np.bincount(wall, minlength=count), np.where(np.isfinite(last), last, np.nan))


def _of_block(cases: Cases, future: Future, looked: _Looked, settings: Settings) -> pa.Table:
    rules, variances = settings.rules, settings.variances
    one = np.ones(len(future.base), dtype=np.intp)
    wall = cases.table.wall[future.base]
    counts = looked.size[wall] == future.planned
    still = local_variance(variances, 0.0 * future.threshold)
    fast = MOVING_TIMES * future.threshold
    next_still = _shown(future, one, still, settings)
    twice = _shown(future, one, still, settings, twice=True)
    local_fast = local_variance(variances, fast)
    next_fast = _shown(future, one, local_fast, settings)
    allowed = counts & _enough(future, one, rules)
    held = chances.holding(next_still, future.threshold, allowed)
    held_twice = chances.holding(twice, future.threshold, allowed)
    starting = future.fits_from_each_start(one, local_fast)
    moved = chances.moving(next_fast, starting, fast, future.threshold, rules, variances)
    return pa.table(
        {
            **cases.keys(future.base),
            "next_counts": array_of(counts),
            "holding_chance": numbers(held),
            "holding_chance_twice": numbers(held_twice),
            "moving_chance": numbers(np.where(counts & (future.now + 1 >= rules.moving_visits), moved, 0.0)),
            "smallest_rate_mm_per_year": numbers(np.where(counts, _smallest(future, one, next_fast, settings), np.nan)),
            "second_setup_gain": numbers(np.where(counts, 1 - twice.se / next_still.se, np.nan)),
            "holding_from": dates(_holding_from(future, still, next_still, settings)),
            "looked_until": dates(looked.last[wall]),
        }
    )


def _shown(future: Future, visits: Whole, local: Array, settings: Settings, *, twice: bool = False) -> chances.Shown:
    """What the design shows once so many planned visits are made."""
    fit = future.fit(visits, local, twice=twice)
    then = np.maximum(settings.variances.scale_dof + fit.d, future.dof)
    return chances.Shown(fit, future.design.phi, future.scale, future.dof, then)


def _smallest(future: Future, visits: Whole, shown: chances.Shown, settings: Settings) -> Array:
    """Smallest rate whose lower bound passes the threshold with 80 % chance.

    A faster wall's marks differ more from its shape, so that the error depends on the rate asked for: one pass with
    the rate of the pass before is near enough (kappa is small).
    """
    first = _detectable(shown, future.threshold)
    again = local_variance(settings.variances, np.where(np.isnan(first), 0.0, first))
    return _detectable(_shown(future, visits, again, settings), future.threshold)


def _detectable(shown: chances.Shown, threshold: Array) -> Array:
    se, out = shown.se, np.full(len(threshold), np.nan)
    told = np.isfinite(se) & (se > 0)
    out[told] = detectable_rate(se[told], shown.then[told], threshold[told])
    return out


def _holding_from(future: Future, local: Array, first: chances.Shown, settings: Settings) -> Array:
    """Day of the first planned visit after which a still wall is called holding with 80 % chance, NaN for none.

    first: what is shown once one planned visit is made.
    """
    found = np.full(len(future.base), np.nan)
    for number in _numbers(future):
        visits = np.minimum(number, future.planned)
        open_ = np.isnan(found) & (future.planned >= number) & _enough(future, visits, settings.rules)
        if open_.any():
            shown = first if number == 1 else _shown(future, visits, local, settings)
            chance = chances.holding(shown, future.threshold, open_)
            found = np.where(open_ & (chance >= POWER), _day(future, visits), found)
    return found


def _numbers(future: Future) -> Iterator[int]:
    return iter(range(1, int(future.planned.max(initial=0)) + 1))


def _day(future: Future, visits: Whole) -> Array:
    """Day of the newest of so many planned visits."""
    at = np.clip(future.now + visits - 1, 0, future.day.shape[1] - 1)
    return np.asarray(future.day[np.arange(len(at)), at])


def _enough(future: Future, visits: Whole, rules: Rules) -> Flags:
    """Whether visits and months are enough for holding once so many planned visits are made."""
    return enough(future.day[:, 0], future.now + visits, _day(future, visits), rules)
