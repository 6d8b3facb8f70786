"""What visits made and planned would show, whatever they read: for any visits, and the short way for complete ones.

Standard errors do not depend on readings, only on dates, marks and instruments. Visits are counted from the first; what
is estimated has no meaning, only what is measured, covariances before moderation and degrees of freedom.
"""

from typing import Protocol

import numpy as np

from monitor.records import dataclass
from monitor.trend.blocks import Block, Layout
from monitor.trend.columns import Whole
from monitor.trend.complete import errors, inverse, starts_of
from monitor.trend.fit import Errors, Fit, Season, fit_given, sums_of
from monitor.trend.information import Sums, accumulate
from monitor.trend.layouts import Alike
from monitor.trend.parts import Starts
from monitor.trend.rotated import Courses, Moments, Prior, Solved, Turned, by_case, courses, solve
from monitor.trend.shapes import Array

_SUMS = ("cross", "log_det", "count")


@dataclass(frozen=True)
class Seen(Errors):
    """How well visits show the rates of the marks, and their degrees of freedom d (B,)."""

    d: Array


class Design(Protocol):
    """B cases with their planned visits behind those that were made. local (B,): variance of local deviations."""

    @property
    def phi(self) -> Array:
        """Shapes at the marks (B, M, 3)."""

    def fit(self, visits: Whole, local: Array) -> Seen:
        """The fit of the first so many visits (B,)."""

    def fit_twice(self, made: Whole, local: Array) -> Seen:
        """The fit of so many visits (B,) and the next one, that one made with every set-up twice."""

    def fits_from_each_start(self, visits: Whole, local: Array) -> Starts:
        """The fits of the first so many visits (B,) from each of them but the newest on."""


def starting(visits: Whole) -> int:
    """Starting visits of cases of so many visits: all but the newest, and the first where it is the only one."""
    return max(1, int(visits.max()) - 1)


@dataclass(frozen=True)
class Laid:
    """Cases of a block, whatever their visits. sums: running sums over the visits; season: what is known before."""

    block: Block
    sums: Sums
    season: Season

    @classmethod
    def of(cls, block: Block, season: Season) -> "Laid":
        """The design of a block."""
        visits = sums_of(block)
        running = Sums(visits.cross.cumsum(axis=1), visits.log_det.cumsum(axis=1), visits.count.cumsum(axis=1))
        return cls(block, running, season)

    @property
    def phi(self) -> Array:
        """Shapes at the marks (B, M, 3)."""
        return self.block.phi

    def fit(self, visits: Whole, local: Array) -> Seen:
        """The fit of the first so many visits."""
        return _seen(fit_given(self._through(visits), self.block.layout, self.block.phi, self.season, local))

    def fit_twice(self, made: Whole, local: Array) -> Seen:
        """The fit of so many visits and the next one, that one made with every set-up twice."""
        before, doubled = self._through(made), self._twice(np.minimum(made, self.block.weight.shape[1] - 1))
        total = Sums(*(getattr(before, name) + getattr(doubled, name) for name in _SUMS))
        return _seen(fit_given(total, self.block.layout, self.block.phi, self.season, local))

    def fits_from_each_start(self, visits: Whole, local: Array) -> Fit:
        """The fits from each visit but the newest on."""
        total, size = self._through(visits), starting(visits)
        before = [np.roll(getattr(self.sums, name)[:, :size], 1, axis=1) for name in _SUMS]
        for of_none in before:
            of_none[:, 0] = 0.0
        starts = np.arange(size) < (visits - 1)[:, None]
        sums = [getattr(total, name)[:, None] - earlier for name, earlier in zip(_SUMS, before, strict=True)]
        sums = [np.where(starts.reshape(starts.shape + (1,) * (part.ndim - 2)), part, 0.0) for part in sums]
        season = Season(self.season.mean[:, None], self.season.covariance[:, None])
        return fit_given(Sums(*sums), self.block.layout, self.block.phi[:, None], season, local[:, None])

    def _through(self, visits: Whole) -> Sums:
        """Sums over the first so many visits (B,), none where 0."""
        b, at, none = np.arange(len(visits)), np.maximum(visits - 1, 0), visits == 0
        return Sums(
            np.where(none[:, None, None], 0.0, self.sums.cross[b, at]),
            np.where(none, 0.0, self.sums.log_det[b, at]),
            np.where(none, 0.0, self.sums.count[b, at]),
        )

    def _twice(self, visit: Whole) -> Sums:
        """Sums of one visit of each case, made with every set-up twice; the wobble is the wall's, and is shared."""
        block, at = self.block, (np.arange(len(visit)), visit)
        values = np.concatenate([block.design, block.deflection[..., None], block.bow[..., None]], axis=-1)[at]
        own, wobble, free = block.columns[at][..., 1:], block.columns[at][..., :1], block.free[at]
        nothing = np.zeros_like(own)
        columns = np.concatenate(
            [np.concatenate([wobble, own, nothing], axis=-1), np.concatenate([wobble, nothing, own], axis=-1)], axis=-2
        )
        return accumulate(
            np.concatenate([values, values], axis=-2),
            np.concatenate([block.weight[at]] * 2, axis=-1),
            columns,
            np.concatenate([free, free[:, 1:]], axis=-1),
        )


@dataclass(frozen=True)
class Short:
    """Complete cases, the short way: each case's courses of time are all that differs between its visits."""

    each: Alike
    turned: Turned
    season: Season
    prior: Prior

    @classmethod
    def of(cls, each: Alike, day: Array, season: Season) -> "Short":
        """The design of complete cases; day (V, B)."""
        nothing = np.zeros((0, each.marks, len(each.cases)))
        prior = Prior(season.mean.T.copy(), inverse(np.moveaxis(season.covariance, 0, -1)))
        return cls(each, each.turned(day, np.rint(day.mean(axis=0)), nothing), season, prior)

    @property
    def phi(self) -> Array:
        """Shapes at the marks (B, M, 3)."""
        return self.each.layouts.phi[self.each.which]

    def fit(self, visits: Whole, local: Array) -> Seen:
        """The fit of the first so many visits."""
        first = {name: each[0] for name, each in vars(self._courses(visits, 1)).items()}
        found = self._solved(Courses(**first), local)
        d = (visits - 1.0) * self.each.marks - found.known.sum(axis=0)
        return Seen(**vars(errors(self.each, found)), d=d)

    def fits_from_each_start(self, visits: Whole, local: Array) -> Starts:
        """The fits from each visit but the newest on."""
        return starts_of(self.each, self._solved(self._courses(visits, starting(visits)), local))

    def fit_twice(self, made: Whole, local: Array) -> Seen:
        """The fit of so many visits and the next one, that one made with every set-up twice.

        Two set-ups tell of the wall what their mean does, whose covariance is half of one's but for the wobble, which
        they share: (R + w w') / 2, w the wobble's column.
        """
        of, layouts, which, marks = self.turned, self.each.layouts, self.each.which, self.each.marks
        regressors = np.concatenate(
            [np.broadcast_to(np.eye(marks), (len(layouts.phi), marks, marks)), layouts.bow[..., None], layouts.phi],
            axis=-1,
        )
        across = np.swapaxes(layouts.q, -1, -2)
        once = layouts.q * layouts.w[..., None, :] @ across
        shared = layouts.wobble[..., :, None] * layouts.wobble[..., None, :]
        mean = (layouts.q / layouts.w[..., None, :] @ across + shared) / 2
        course = np.stack([np.ones_like(of.t), of.t, of.c, of.s])
        counts = np.arange(len(of.t))[:, None] < made
        before = np.moveaxis(by_case("ivb,jvb->ijb", course * counts, course), -1, 0)
        next_one = course[:, np.minimum(made, len(of.t) - 1), np.arange(len(made))].T
        then = next_one[:, :, None] * next_one[:, None, :]
        at = np.array([*range(marks), *range(marks), marks, marks, marks + 1, marks + 2, marks + 3])
        by = np.array([0] * marks + [1] * marks + [2, 3, 1, 1, 1])
        cross = np.zeros((len(made), len(at) + 2, len(at) + 2))
        for weight, moment in ((once, before), (np.linalg.inv(mean), then)):
            gram = np.swapaxes(regressors, -1, -2) @ weight @ regressors
            cross[:, :-2, :-2] += gram[which][:, at[:, None], at] * moment[:, by[:, None], by]
        total = Sums(cross, np.zeros(len(made)), np.asarray((made + 2.0) * marks, dtype=np.float64))
        return _seen(fit_given(total, Layout(marks, marks), self.phi, self.season, local))

    def _courses(self, visits: Whole, starts: int) -> Courses:
        counts = (np.arange(len(self.turned.t))[:, None] < visits).astype(np.float64)
        return courses(self.turned.t, self.turned.c, self.turned.s, counts, starts)

    def _solved(self, over: Courses, local: Array) -> Solved:
        nothing = np.zeros((1, 1))
        return solve(
            self.turned, Moments(**vars(over), my=nothing, ty=nothing, cy=nothing, sy=nothing), local, self.prior
        )


def _seen(fit: Fit) -> Seen:
    return Seen(fit.mark_seen, fit.mark_measured, fit.mark_covariance, fit.estimate.d)
