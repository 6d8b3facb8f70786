"""Complete cases as a part of the portfolio: what they tell by the short way (rotated), as fit and screening tell it.

Nothing is left out then, and nothing is lost by the short way.
"""

from collections.abc import Iterator
from functools import cached_property

import numpy as np

from monitor.config import Variances
from monitor.records import dataclass
from monitor.trend.blocks import RATES, Packer
from monitor.trend.bounds import Scale, moderated
from monitor.trend.columns import Whole
from monitor.trend.cycles import Cycles
from monitor.trend.fit import LEAST_SHARE, Errors, Rates, Season, largest_square
from monitor.trend.information import KEPT
from monitor.trend.layouts import Alike, alike
from monitor.trend.parts import LEAST_KEPT, Left, Levels, Step
from monitor.trend.rotated import Moments, Prior, Solved, Turned, by_case, from_each_start, solve, turn, whole
from monitor.trend.shapes import NOTHING, Array, Flags
from monitor.trend.variances import LEAST


def complete_parts(packer: Packer, wanted: Whole, cycles: Cycles, variances: Variances) -> Iterator["Complete"]:
    """The wanted cases, all of them complete."""
    for each in alike(packer, wanted):
        yield Complete.fitted(packer, each, cycles, variances)


@dataclass(frozen=True)
class Complete:
    """B complete cases of V visits, M marks and rank r, fitted: a parts.Part."""

    each: Alike
    rows: Whole
    turned: Turned
    center: Array
    time0: Array
    before: Season
    prior: Prior
    moments: Moments
    solved: Solved
    q: Array
    d: Array
    fit: Rates
    scale: Scale
    variances: Variances

    @classmethod
    def fitted(cls, packer: Packer, each: Alike, cycles: Cycles, variances: Variances) -> "Complete":
        """Fit the cases, whose walls' earlier periods were fitted."""
        rows, day, read = packer.grid(each.cases, each.visits, each.marks)
        center = read.mean(axis=0)
        time0 = np.rint(day.mean(axis=0))
        of = each.turned(day, time0, read - center)
        season = cycles.before(each.cases)
        prior = Prior(season.mean.T.copy(), inverse(np.moveaxis(season.covariance, 0, -1)))
        moments = whole(of)
        omega = np.full(len(each.cases), max(variances.local_mm_per_year**2, LEAST))
        found = solve(of, moments, omega, prior)
        tau = omega
        if variances.local_share:
            first = starts_of(each, found)
            tau = omega + variances.local_share**2 * largest_square(first.mark_rate, first.mark_se)
            found = solve(of, moments, tau, prior)
        q, d = _quadratic(of, moments, found, tau, prior)
        cycles.learn(each.cases, _season(found))
        return cls(
            each, rows, of, center, time0, season, prior, moments, found, q, d, _rates(each, found, tau),
            moderated(q, d, variances), variances,
        )  # fmt: skip

    @property
    def cases(self) -> Whole:
        """Numbers of the cases (B,)."""
        return self.each.cases

    @cached_property
    def _grid(self) -> tuple[Whole, Whole, Whole]:
        visits, marks, count = len(self.turned.t), len(self.turned.w), len(self.cases)
        of, visit, mark = np.meshgrid(np.arange(count), np.arange(visits), np.arange(marks), indexing="ij")
        return of.reshape(-1), visit.reshape(-1), mark.reshape(-1)

    @property
    def of(self) -> Whole:
        """Case of each reading (R,)."""
        return self._grid[0]

    @property
    def visit(self) -> Whole:
        """Visit of each reading (R,)."""
        return self._grid[1]

    @property
    def mark(self) -> Whole:
        """Mark of each reading (R,)."""
        return self._grid[2]

    @property
    def last(self) -> Whole:
        """Newest visit of each case (B,)."""
        return np.full(len(self.cases), len(self.turned.t) - 1)

    @property
    def swing_mm(self) -> Array:
        """Half swing of the yearly cycle (B,)."""
        return np.asarray(np.hypot(self.solved.x[0], self.solved.x[1]))

    def from_each_start(self) -> "Starts":
        """The fit from each visit on."""
        return starts_of(
            self.each, solve(self.turned, from_each_start(self.turned), self.fit.local_variance, self.prior)
        )

    def step(self) -> Step:
        """The step of the newest visit."""
        of, variances, rank = self.turned, self.variances, len(self.turned.shape)
        variance = variances.jump_rate_mm_per_year**2
        local = variances.local_mm_per_year**2 + variances.local_share**2 * variance
        layouts = self.each.layouts
        used, which = np.unique(self.each.which, return_inverse=True)
        basis, spread = layouts.basis[used][..., :rank], layouts.spread[used]
        of_beta = np.swapaxes(basis, -1, -2) @ (spread[..., None] ** 2 * basis) * variance
        precision = np.moveaxis(np.asarray(np.linalg.inv(of_beta))[which], 0, -1)
        prior = Prior(self.prior.season_mean, self.prior.season_precision, precision)
        tau = np.full(len(self.cases), max(local, LEAST))
        found = solve(of, self.moments, tau, prior)
        q, d = _quadratic(of, self.moments, found, tau, prior)
        left = _Visits.of(of, self.moments, found)
        bow, last = of.w * of.b, len(of.t) - 1
        told = [(of.b * part[last]).sum(axis=0) for part in left.shared]
        kept = (of.b**2 * left.own[last]).sum(axis=0) - sum(value**2 for value in told)
        own = (bow * of.b).sum(axis=0)
        largest = np.abs(layouts.bow).max(axis=-1)[self.each.which]
        shifted = (of.b * left.a[last]).sum(axis=0)
        return Step(shifted, np.where(kept > KEPT * own, kept, np.nan), largest, q, d)

    def levels(self) -> Levels:
        """Levels of the readings."""
        of, at, found = self.turned, self.moments, self.solved
        turned = at.my - at.mt * found.rate() - of.b * (found.x[0] * at.mc + found.x[1] * at.ms)
        level = self.center + of.back(turned)
        visits = len(of.t)
        each = np.broadcast_to(level.T[:, None, :], (len(self.cases), visits, len(level)))
        time0 = np.repeat(self.time0, visits * len(level))
        return Levels(each.reshape(-1), time0, np.zeros(len(time0)))

    def left(self) -> Left:
        """What is left of each reading."""
        of = self.turned
        visits = _Visits.of(of, self.moments, self.solved)
        layouts, which = self.each.layouts, self.each.which
        variance, bow = (np.moveaxis(value[which], 0, -1) for value in (layouts.variance, layouts.bow))
        square = of.q**2
        weight = 1 / variance
        a = of.back(visits.a)
        shared = [of.back(part) for part in visits.shared]
        own = turn(square, visits.own) - sum(part**2 for part in shared)
        own = np.where(own > KEPT * np.maximum((square * of.w).sum(axis=1), weight), own, np.nan)
        ones = of.q.sum(axis=0)
        pulls = [self._pull(visits, value) for value in (ones, of.b)]
        free = _Free.of(
            [(ones * pulls[0]).sum(axis=1), (of.b * pulls[0]).sum(axis=1), (of.b * pulls[1]).sum(axis=1)],
            [(value * visits.a).sum(axis=1) for value in (ones, of.b)],
            [weight.sum(axis=0), (bow**2 * weight).sum(axis=0)],
        )
        pull = [of.back(each) for each in pulls]
        used = free.quadratic(pull)
        kept = own - used
        kept = np.where(kept >= LEAST_KEPT * own, kept, np.nan)
        alone = a - pull[0] * free.shift[0][:, None] - pull[1] * free.shift[1][:, None]
        a, own, alone, kept = (np.moveaxis(each, -1, 0).reshape(-1) for each in (a, own, alone, kept))
        return Left(a, own, alone, kept, free.explained[-1], free.rank[-1])

    @staticmethod
    def _pull(visits: "_Visits", value: Array) -> Array:
        """P of each visit times a vector by direction (M, B): shape (V, M, B)."""
        out = visits.own * value
        for part in visits.shared:
            out = out - part * (part * value).sum(axis=1, keepdims=True)
        return out


@dataclass(frozen=True)
class Starts:
    """Rates of the marks from each visit on (B, V, M), as parts.Starts."""

    mark_rate: Array
    mark_se: Array
    mark_seen: Flags


@dataclass(frozen=True)
class _Visits:
    """By visit and direction (V, M, B): a = Py; P of a visit's readings is diag(own) less shared shared'."""

    a: Array
    own: Array
    shared: list[Array]

    @classmethod
    def of(cls, of: Turned, at: Moments, found: Solved) -> "_Visits":
        t, c, s = (x[:, None] for x in (of.t - at.mt, of.c - at.mc, of.s - at.ms))
        cycle = found.x[0] * c + found.x[1] * s
        rest = of.y - at.my - t * found.rate() - of.b * cycle
        own = of.w * (1 - 1 / at.n) - of.w**2 * found.slack * t**2
        turned, beta = found.by_cycle, found.by_beta()
        moves = [t * (turned * at.tc) + of.b * c, t * (turned * at.ts) + of.b * s, *(t * pull for pull in beta)]
        weighted = [of.w * move for move in moves]
        shared = [np.asarray(sum(map(np.multiply, row, weighted))) for row in found.inverse_lower()]
        return cls(of.w * rest, own, shared)


@dataclass(frozen=True)
class _Free:
    """A visit's free offset and bow (V, B): inverse of their information by entries, rank, shift, what it explains."""

    inverse: list[Array]
    rank: Whole
    shift: list[Array]
    explained: Array

    @classmethod
    def of(cls, gram: list[Array], at: list[Array], largest: list[Array]) -> "_Free":
        """gram: entries 11, 12, 22; at: B'a; largest: B'WB, against which nothing is nothing."""
        there = [gram[0] > KEPT * largest[0], gram[2] > KEPT * largest[1]]
        root = [1 / np.sqrt(np.where(has, value, 1.0)) for has, value in zip(there, (gram[0], gram[2]), strict=True)]
        both = there[0] & there[1]
        c = np.where(both, gram[1] * root[0] * root[1], 0.0)
        apart = both & (1 - np.abs(c) > KEPT)
        alike = both & ~apart
        whole_ = np.where(apart, 1 / np.where(apart, 1 - c**2, 1.0), np.where(alike, 0.25, 1.0))
        beside = np.where(apart, -c * whole_, np.where(alike, np.sign(c) * 0.25, 0.0))
        inverse = [
            np.where(there[0], whole_, 0.0) * root[0] ** 2,
            np.where(both, beside, 0.0) * root[0] * root[1],
            np.where(there[1], whole_, 0.0) * root[1] ** 2,
        ]
        told = [np.where(has, value, 0.0) for has, value in zip(there, at, strict=True)]
        shift = [inverse[0] * told[0] + inverse[1] * told[1], inverse[1] * told[0] + inverse[2] * told[1]]
        rank = np.where(apart, 2, np.where(there[0] | there[1], 1, 0))
        return cls(inverse, rank, shift, told[0] * shift[0] + told[1] * shift[1])

    def quadratic(self, pull: list[Array]) -> Array:
        """pull inverse pull' of each reading (V, M, B)."""
        first, cross, second = (value[:, None] for value in self.inverse)
        return np.asarray(pull[0] ** 2 * first + 2 * pull[0] * pull[1] * cross + pull[1] ** 2 * second)


def inverse(of: Array) -> Array:
    """Inverse of symmetric matrices (2, 2, B)."""
    a, b, c = of[0, 0], of[0, 1], of[1, 1]
    return np.asarray(np.array([[c, -b], [-b, a]]) / (a * c - b**2))


def starts_of(each: Alike, found: Solved) -> Starts:
    """Rates of the marks and their errors (B, ..., M), of one fit or of one from each starting visit."""
    rate, shared = found.by_mark
    told = np.moveaxis(rate, -1, 0)
    se = np.moveaxis(np.sqrt(found.own_by_mark() + sum(part**2 for part in shared)), -1, 0)
    seen = _seen(each)
    seen = np.broadcast_to(seen if told.ndim == seen.ndim else seen[:, None], told.shape)
    measured = seen & np.moveaxis(found.told_apart, -1, 0)[..., None]
    return Starts(np.where(measured, told, np.nan), np.where(measured, se, np.nan), seen)


def errors(each: Alike, found: Solved) -> Errors:
    """How well one fit of each case shows the rates of its marks."""
    seen = _seen(each)
    measured = seen & found.told_apart[:, None]
    shared, q = np.stack(found.by_mark[1]), found.of.q
    covariance = by_case("pdb,mdb->pmb", q * found.slack, q) + by_case("kpb,kmb->pmb", shared, shared)
    both = measured[:, :, None] & measured[:, None, :]
    return Errors(seen, measured, np.where(both, np.moveaxis(covariance, -1, 0), 0.0))


def _seen(each: Alike) -> Flags:
    return np.asarray(np.any(np.abs(each.layouts.phi) > NOTHING, axis=-1)[each.which])


def _rates(each: Alike, found: Solved, tau: Array) -> Rates:
    """Rates of components and marks."""
    known = errors(each, found)
    measured, rate, se = _components(each, found)
    return Rates(
        **vars(known),
        measured=measured,
        rate=rate,
        rate_se=se,
        mark_rate=np.where(known.mark_measured, found.by_mark[0].T, np.nan),
        to_base=np.zeros(len(each.cases), dtype=bool),
        local_variance=tau,
    )


def _components(each: Alike, found: Solved) -> tuple[Flags, Array, Array]:
    """Components measured, with rate and standard error (B, 3)."""
    rank = len(found.x) - 2
    count = found.x[0].shape[-1]
    measured, rate, se = (
        np.zeros((count, RATES), dtype=bool),
        np.full((count, RATES), np.nan),
        np.full((count, RATES), np.nan),
    )
    layouts, which = each.layouts, each.which
    inside = layouts.inside[which]
    if not rank or not inside.any():
        return measured, rate, se
    basis, spread = layouts.basis[which][..., :rank], layouts.spread[which]
    turned = found.inverse_lower()
    lower = [found.lower[2 + j][2:] for j in range(rank)]
    for component in range(RATES):
        told = [basis[:, component, j] for j in range(rank)]
        pulled = [sum(turned[2 + j][2 + k] * told[k] for k in range(j + 1)) for j in range(rank)]
        variance = sum(value**2 for value in pulled)
        information = sum(sum(lower[k][j] * told[k] for k in range(j, rank)) ** 2 for j in range(rank))
        good = inside[:, component] & found.told_apart & (variance * information * LEAST_SHARE <= 1)
        measured[:, component] = good
        value = sum(one * x for one, x in zip(told, found.x[2:], strict=True)) / spread[:, component]
        rate[:, component] = np.where(good, value, np.nan)
        se[:, component] = np.where(good, np.sqrt(variance) / spread[:, component], np.nan)
    return measured, rate, se


def _season(found: Solved) -> Season:
    """The cycle as the period leaves it known."""
    turned = found.inverse_lower()
    size = len(turned)
    own = [[sum(turned[k][i] * turned[k][j] for k in range(max(i, j), size)) for j in range(2)] for i in range(2)]
    covariance = np.moveaxis(np.array(own), -1, 0)
    return Season(np.stack(found.x[:2], axis=-1), covariance)


def _quadratic(of: Turned, at: Moments, found: Solved, tau: Array, prior: Prior) -> tuple[Array, Array]:
    """Quadratic form and degrees of freedom (B,)."""
    spread = ((of.y - at.my) ** 2).sum(axis=0)
    total = (of.w * spread - tau * found.answered * of.w * at.ty).sum(axis=0)
    mean, precision = prior.season_mean, prior.season_precision
    before = sum(mean[i] * precision[i, j] * mean[j] for i in range(2) for j in range(2))
    q = total + before - sum(x * right for x, right in zip(found.x, found.right, strict=True))
    visits, marks = len(of.t), len(of.w)
    d = (visits - 1.0) * marks - (found.known.sum(axis=0) if prior.rates is None else 0.0)
    return np.where(d > 0, np.maximum(q, 0.0), 0.0), np.broadcast_to(d, q.shape).astype(np.float64)
