"""The short way for complete cases: every visit read the same marks by the same set-ups.

Then the covariance R of a visit's readings is the same at every visit. With R = Q diag(1 / w) Q' and local deviations
alike at all marks, the readings turned by Q' fall apart into directions that share only the yearly cycle and the rates:
y_m = level_m + t (local_m + C_m . beta) + b_m (c cos + d sin) + eps, eps ~ N(0, 1 / w_m), b and C the bow and the
rates' shapes turned alike. Level and local deviation of each direction are taken out by hand: with S of two courses of
time their sum of products about the mean over the visits, the information of directions' courses p and q is
w (S_pq - tau w / (1 + tau w S_tt) S_tp S_tq), tau the local deviations' variance. What is left is a system in c, d and
beta alone. It is the same model as fit.fit, to rounding errors, at a fraction of the work: no matrix of a wall is
solved.

All arrays have the case as their last axis, so that each step is a few long vector operations. rates that the shapes
cannot tell apart are kept as one: the shapes are C times as many rates beta as their rank.
"""

from functools import cached_property

import numpy as np

from monitor.records import dataclass
from monitor.trend.information import KEPT
from monitor.trend.shapes import Array, Flags


@dataclass(frozen=True)
class Turned:
    """B complete cases of V visits, M marks and rank r.

    y (V, M, B): readings less their mark's mean, turned; t, c, s (V, B): years, cosine and sine of the yearly cycle;
    w, b (M, B); shape (r, M, B): C turned; q (M, M, B): Q, mark by direction.
    """

    y: Array
    t: Array
    c: Array
    s: Array
    w: Array
    b: Array
    shape: Array
    q: Array

    def back(self, turned: Array) -> Array:
        """Values by direction (..., M, B) as values by mark."""
        return turn(self.q, turned)


def turn(q: Array, values: Array) -> Array:
    """Sum of q (M, M, B) over its second axis times values (..., M, B)."""
    return by_case("pmb,...mb->...pb", q, values)


def over_marks(values: Array, weights: Array) -> Array:
    """Sum over the directions of values (..., M, B) times weights (M, B)."""
    return by_case("...mb,mb->...b", values, weights)


def by_case(subscripts: str, *operands: Array) -> Array:
    """np.einsum over all axes but the last, the cases: the sums of one case are the same however many stand beside it.

    A single case is summed as one of two: its axis of length 1 would be passed over, and sums be made in another order.
    """
    if all(each.shape[-1] == 1 for each in operands):
        return by_case(subscripts, *(np.repeat(each, 2, axis=-1) for each in operands))[..., :1]
    return np.asarray(np.einsum(subscripts, *operands))


@dataclass(frozen=True)
class Courses:
    """Sums of products of the courses of time over visits, about their means; leading axes are starting visits or none.

    n: visits; mt, mc, ms: means; tt, tc, ts, cc, cs, ss (..., B); tt_raw: not about means.
    """

    n: Array
    mt: Array
    mc: Array
    ms: Array
    tt: Array
    tc: Array
    ts: Array
    cc: Array
    cs: Array
    ss: Array
    tt_raw: Array


@dataclass(frozen=True)
class Moments(Courses):
    """The same with the readings: mean my and ty, cy, sy (..., M, B)."""

    my: Array
    ty: Array
    cy: Array
    sy: Array


def whole(of: Turned) -> Moments:
    """Over all visits."""
    n = np.float64(len(of.t))
    courses = (of.t, of.c, of.s)
    mt, mc, ms = (course.mean(axis=0) for course in courses)
    my = of.y.mean(axis=0)
    t, c, s = of.t - mt, of.c - mc, of.s - ms
    pairs = {"tt": (t, t), "tc": (t, c), "ts": (t, s), "cc": (c, c), "cs": (c, s), "ss": (s, s)}
    products = {name: (x * y).sum(axis=0) for name, (x, y) in pairs.items()}
    with_y = {f"{a}y": by_case("vb,vmb->mb", x, of.y) for a, x in (("t", t), ("c", c), ("s", s))}
    return Moments(n=np.asarray(n), mt=mt, mc=mc, ms=ms, my=my, **products, **with_y, tt_raw=(of.t**2).sum(axis=0))


def from_each_start(of: Turned) -> Moments:
    """Over each visit but the newest (the first, where it is the only one) and all later ones, shapes (V - 1, ...)."""
    starts = max(1, len(of.t) - 1)
    over = courses(of.t, of.c, of.s, np.ones((len(of.t), 1)), starts)
    my = _later(of.y)[:starts] / over.n[..., None]
    with_y = {
        f"{a}y": _later(x[:, None] * of.y)[:starts] - (mean * over.n)[:, None] * my
        for a, x, mean in (("t", of.t, over.mt), ("c", of.c, over.mc), ("s", of.s, over.ms))
    }
    return Moments(**vars(over), my=my, **with_y)


def courses(t: Array, c: Array, s: Array, counts: Array, starts: int) -> Courses:
    """Over each of the first so many visits and all later ones that count (V, B or 1), 1 or 0; nothing over none."""
    n = _later(counts)[:starts]
    t, c, s = t * counts, c * counts, s * counts
    total = {name: _later(x)[:starts] for name, x in (("t", t), ("c", c), ("s", s))}
    mean = {name: value / np.maximum(n, 1.0) for name, value in total.items()}
    pairs = {"tt": (t, t), "tc": (t, c), "ts": (t, s), "cc": (c, c), "cs": (c, s), "ss": (s, s)}
    raw = {name: _later(x * y)[:starts] for name, (x, y) in pairs.items()}
    about = {name: value - total[name[0]] * mean[name[1]] for name, value in raw.items()}
    return Courses(n=n, mt=mean["t"], mc=mean["c"], ms=mean["s"], tt_raw=raw["tt"], **about)


def _later(values: Array) -> Array:
    """For each visit (V, ...) the sum of it and all later ones."""
    out = np.empty_like(values)
    out[-1] = values[-1]
    for visit in range(len(values) - 2, -1, -1):
        np.add(out[visit + 1], values[visit], out=out[visit])
    return out


@dataclass(frozen=True)
class Prior:
    """What is known before: season_mean (2, B), season_precision (2, 2, B), and of beta its precision (r, r, B)."""

    season_mean: Array
    season_precision: Array
    rates: Array | None = None


@dataclass(frozen=True)
class Solved:
    """Cycle and beta with their errors, and what each direction and mark makes of them.

    at: the moments solved; tau (B,): variance of the local deviations; lower: Cholesky factor of the information of
    (c, d, beta), by rows; x: their estimates; right: the right-hand side; known (r, ..., B): whether a pivot of beta
    holds information; answer (..., M, B): w / (1 + tau w S_tt); answered: that times S_ty.
    """

    of: Turned
    at: Moments
    tau: Array
    lower: list[list[Array]]
    x: list[Array]
    right: list[Array]
    known: Flags
    answer: Array
    answered: Array

    @property
    def told_apart(self) -> Flags:
        """Whether there is a beta, and all of it is known (..., B)."""
        return np.asarray(self.known.all(axis=0) & (len(self.known) > 0))

    def inverse_lower(self) -> list[list[Array]]:
        """lower^-1 by rows."""
        size = len(self.lower)
        found: list[list[Array]] = []
        for i in range(size):
            row = []
            for j in range(i):
                row.append(-sum(self.lower[i][k] * found[k][j] for k in range(j, i)) / self.lower[i][i])
            found.append([*row, 1 / self.lower[i][i]])
        return found

    @property
    def slack(self) -> Array:
        """Variance of the rate of each direction where cycle and beta are given (..., M, B)."""
        return self.answer * (self.tau / self.of.w)

    @property
    def told(self) -> Array:
        """The rate of each direction where cycle and beta are nothing (..., M, B)."""
        return self.tau * self.answered

    @property
    def by_cycle(self) -> Array:
        """What S_tc and S_ts times c and d add to it (..., M, B)."""
        return self.answer * (-self.tau * self.of.b)

    def by_beta(self, turned: Array | None = None) -> list[Array]:
        """What each beta adds to it (..., M, B); by mark where the directions' matrix (M, M, B) is given."""
        found = []
        for shape, known in zip(self.of.shape, self.known, strict=True):
            pull = self.answer * (shape / self.of.w)
            pull = pull if turned is None else turn(turned, pull)
            found.append(pull if known.all() else pull * known[..., None, :])
        return found

    def summed(self, told: Array, by_cycle: Array, by_beta: list[Array]) -> Array:
        """A rate (..., M, B) of what is told of it and what cycle and beta add."""
        cycle = self.at.tc * self.x[0] + self.at.ts * self.x[1]
        out = told + by_cycle * cycle[..., None, :]
        for pull, x in zip(by_beta, self.x[2:], strict=True):
            out += pull * x[..., None, :]
        return np.asarray(out)

    def rate(self) -> Array:
        """The rate of each direction (..., M, B)."""
        return self.summed(self.told, self.by_cycle, self.by_beta())

    @cached_property
    def by_mark(self) -> tuple[Array, list[Array]]:
        """Rates of the marks (..., M, B), and what their errors share: arrays alike that their covariance is made of.

        The covariance of marks p and m is the sum of the arrays' products there, and of the directions' slack.
        """
        by_cycle, by_beta = self.of.back(self.by_cycle), self.by_beta(self.of.q)
        inverse = self.inverse_lower()
        on_cycle = [row[0] * self.at.tc + (row[1] * self.at.ts if len(row) > 1 else 0.0) for row in inverse]
        shared = [by_cycle * np.hypot(on_cycle[0], on_cycle[1])[..., None, :]]
        for j, row in enumerate(inverse[2:]):
            part = by_cycle * on_cycle[2 + j][..., None, :]
            for pull, entry in zip(by_beta, row[2:], strict=False):
                part += pull * entry[..., None, :]
            shared.append(part)
        return self.summed(self.of.back(self.told), by_cycle, by_beta), shared

    def own_by_mark(self) -> Array:
        """What the directions' slack makes of the marks' variances (..., M, B)."""
        return turn(self.of.q**2, self.slack)


def solve(of: Turned, at: Moments, tau: Array, prior: Prior) -> Solved:
    """Solve for the cycle and beta. tau (B,): variance of the local deviations."""
    rank = len(of.shape)
    answer = of.w / (1 + (tau * of.w) * at.tt[..., None, :])
    answered = answer * at.ty
    bow = of.w * of.b
    bow_bow = (bow * of.b).sum(axis=-2)
    cycle = tau * over_marks(answer, bow * of.b)
    system: list[list[Array]] = [
        [at.cc * bow_bow - at.tc**2 * cycle + prior.season_precision[0, 0]],
        [
            at.cs * bow_bow - at.tc * at.ts * cycle + prior.season_precision[0, 1],
            at.ss * bow_bow - at.ts**2 * cycle + prior.season_precision[1, 1],
        ],
    ]
    for j in range(rank):
        own = [at.tt * over_marks(answer, of.shape[j] * of.shape[k]) for k in range(j + 1)]
        if prior.rates is not None:
            own = [value + prior.rates[j, k] for k, value in enumerate(own)]
        bow_shape = over_marks(answer, of.b * of.shape[j])
        system.append([at.tc * bow_shape, at.ts * bow_shape, *own])
    told_by_cycle = tau * over_marks(answered, bow)
    known_before = [
        prior.season_precision[0, 0] * prior.season_mean[0] + prior.season_precision[0, 1] * prior.season_mean[1],
        prior.season_precision[0, 1] * prior.season_mean[0] + prior.season_precision[1, 1] * prior.season_mean[1],
    ]
    right = [
        over_marks(at.cy, bow) - at.tc * told_by_cycle + known_before[0],
        over_marks(at.sy, bow) - at.ts * told_by_cycle + known_before[1],
        *(over_marks(answered, shape) for shape in of.shape),
    ]
    least = [KEPT * at.tt_raw * (of.w * shape**2).sum(axis=-2) for shape in of.shape]
    lower, known = _cholesky(system, least if prior.rates is None else None)
    for j in range(rank):
        right[2 + j] = np.where(known[j], right[2 + j], 0.0)
    return Solved(of, at, tau, lower, _solved(lower, right), right, known, answer, answered)


def _cholesky(system: list[list[Array]], least: list[Array] | None) -> tuple[list[list[Array]], Flags]:
    """Factor by rows; a pivot of beta not above its least (where given) is not known and taken as 1, its row as 0."""
    lower: list[list[Array]] = []
    known = []
    for i, row in enumerate(system):
        made: list[Array] = []
        for j in range(i):
            rest = row[j] - sum(made[k] * lower[j][k] for k in range(j))
            made.append(rest / lower[j][j])
        pivot = row[i] - sum(value**2 for value in made)
        if i >= 2:
            there = np.broadcast_to(np.asarray(True) if least is None else pivot > least[i - 2], pivot.shape)
            known.append(there)
            made = [np.where(there, value, 0.0) for value in made]
            pivot = np.where(there, pivot, 1.0)
        lower.append([*made, np.sqrt(pivot)])
    return lower, np.stack(known) if known else np.zeros((0, *lower[0][0].shape), dtype=bool)


def _solved(lower: list[list[Array]], right: list[Array]) -> list[Array]:
    """lower lower' x = right."""
    size = len(lower)
    half: list[Array] = []
    for i in range(size):
        half.append((right[i] - sum(lower[i][k] * half[k] for k in range(i))) / lower[i][i])
    x: list[Array] = [np.zeros(())] * size
    for i in reversed(range(size)):
        x[i] = (half[i] - sum(lower[k][i] * x[k] for k in range(i + 1, size))) / lower[i][i]
    return x
