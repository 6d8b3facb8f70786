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
    out = q[:, 0] * values[..., :1, :]
    for m in range(1, q.shape[1]):
        out += q[:, m] * values[..., m : m + 1, :]
    return out


@dataclass(frozen=True)
class Moments:
    """Sums of products over visits, about their means; leading axes are starting visits or none.

    n: visits; mt, mc, ms, my: means; tt, tc, ts, cc, cs, ss (..., B); ty, cy, sy (..., M, B); tt_raw: not about means.
    """

    n: Array
    mt: Array
    mc: Array
    ms: Array
    my: Array
    tt: Array
    tc: Array
    ts: Array
    cc: Array
    cs: Array
    ss: Array
    ty: Array
    cy: Array
    sy: Array
    tt_raw: Array


def whole(of: Turned) -> Moments:
    """Over all visits."""
    n = np.float64(len(of.t))
    courses = (of.t, of.c, of.s)
    mt, mc, ms = (course.mean(axis=0) for course in courses)
    my = of.y.mean(axis=0)
    t, c, s = of.t - mt, of.c - mc, of.s - ms
    products = {
        f"{a}{b}": (x * y).sum(axis=0)
        for a, b, x, y in (
            ("t", "t", t, t),
            ("t", "c", t, c),
            ("t", "s", t, s),
            ("c", "c", c, c),
            ("c", "s", c, s),
            ("s", "s", s, s),
        )
    }
    with_y = {f"{a}y": (x[:, None] * of.y).sum(axis=0) for a, x in (("t", t), ("c", c), ("s", s))}
    return Moments(n=np.asarray(n), mt=mt, mc=mc, ms=ms, my=my, **products, **with_y, tt_raw=(of.t**2).sum(axis=0))


def from_each_start(of: Turned) -> Moments:
    """Over each visit but the newest (the first, where it is the only one) and all later ones, shapes (V - 1, ...)."""
    visits = len(of.t)
    starts = slice(0, max(1, visits - 1))
    n = np.arange(visits, 0, -1, dtype=np.float64)[starts, None]

    def sums(values: Array) -> Array:
        out = np.empty_like(values)
        out[-1] = values[-1]
        for visit in range(visits - 2, -1, -1):
            np.add(out[visit + 1], values[visit], out=out[visit])
        return out[starts]

    t, c, s, y = (sums(values) for values in (of.t, of.c, of.s, of.y))
    mt, mc, ms, my = t / n, c / n, s / n, y / n[..., None]
    pairs = (("t", "t", of.t, of.t, t, mt), ("t", "c", of.t, of.c, t, mc), ("t", "s", of.t, of.s, t, ms),
             ("c", "c", of.c, of.c, c, mc), ("c", "s", of.c, of.s, c, ms), ("s", "s", of.s, of.s, s, ms))  # fmt: skip
    raw = {f"{a}{b}": sums(x * y) for a, b, x, y, _, _ in pairs}
    products = {f"{a}{b}": raw[f"{a}{b}"] - total * mean for a, b, _, _, total, mean in pairs}
    with_y = {
        f"{a}y": sums(x[:, None] * of.y) - total[:, None] * my
        for a, x, total in (("t", of.t, t), ("c", of.c, c), ("s", of.s, s))
    }
    return Moments(n=n, mt=mt, mc=mc, ms=ms, my=my, **products, **with_y, tt_raw=raw["tt"])


@dataclass(frozen=True)
class Prior:
    """What is known before: season_mean (2, B), season_precision (2, 2, B), and of beta its precision (r, r, B)."""

    season_mean: Array
    season_precision: Array
    rates: Array | None = None


@dataclass(frozen=True)
class Solved:
    """Cycle and beta with their errors, and what each direction makes of them.

    lower: Cholesky factor of the information of (c, d, beta), by rows; x: their estimates; right: the right-hand side;
    known (r, ..., B): whether a pivot of beta holds information; slack v and pull K by direction: rate_m = told_m +
    K_m . x, with variance v_m given x; told (..., M, B).
    """

    lower: list[list[Array]]
    x: list[Array]
    right: list[Array]
    known: Flags
    slack: Array
    pull: list[Array]
    told: Array
    answer: Array

    @property
    def told_apart(self) -> Flags:
        """Whether there is a beta, and all of it is known (..., B)."""
        return np.asarray(self.known.all(axis=0) & (len(self.known) > 0))

    def forward(self, values: list[Array]) -> list[Array]:
        """lower^-1 values, the leading axis as a list; values (..., M, B) against lower (..., B)."""
        found: list[Array] = []
        for row, value in zip(self.lower, values, strict=True):
            rest = value
            for entry, earlier in zip(row, found, strict=False):
                rest = rest - entry[..., None, :] * earlier
            found.append(rest / row[len(found)][..., None, :])
        return found

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

    def rate(self) -> Array:
        """The rate of each direction (..., M, B)."""
        return self.told + sum(pull * x[..., None, :] for pull, x in zip(self.pull, self.x, strict=True))


def solve(of: Turned, at: Moments, tau: Array, prior: Prior) -> Solved:
    """Solve for the cycle and beta. tau (B,): variance of the local deviations."""
    rank = len(of.shape)
    tw = tau * of.w
    answer = of.w / (1 + tw * at.tt[..., None, :])  # w / (1 + tau w S_tt)
    by_bow = answer * of.b
    bow_bow = (of.w * of.b**2).sum(axis=-2)
    cycle = tau * (by_bow * (of.w * of.b)).sum(axis=-2)
    bow_shape = [(by_bow * shape).sum(axis=-2) for shape in of.shape]
    system: list[list[Array]] = [
        [at.cc * bow_bow - at.tc**2 * cycle + prior.season_precision[0, 0]],
        [
            at.cs * bow_bow - at.tc * at.ts * cycle + prior.season_precision[0, 1],
            at.ss * bow_bow - at.ts**2 * cycle + prior.season_precision[1, 1],
        ],
    ]
    answers = [answer * shape for shape in of.shape]
    for j in range(rank):
        own = [at.tt * (answers[j] * of.shape[k]).sum(axis=-2) for k in range(j + 1)]
        if prior.rates is not None:
            own = [value + prior.rates[j, k] for k, value in enumerate(own)]
        system.append([at.tc * bow_shape[j], at.ts * bow_shape[j], *own])
    weighted_bow = of.w * of.b
    told_by_cycle = tau * (by_bow * of.w * at.ty).sum(axis=-2)
    known_before = [
        prior.season_precision[0, 0] * prior.season_mean[0] + prior.season_precision[0, 1] * prior.season_mean[1],
        prior.season_precision[0, 1] * prior.season_mean[0] + prior.season_precision[1, 1] * prior.season_mean[1],
    ]
    right = [
        (weighted_bow * at.cy).sum(axis=-2) - at.tc * told_by_cycle + known_before[0],
        (weighted_bow * at.sy).sum(axis=-2) - at.ts * told_by_cycle + known_before[1],
        *((answers[j] * at.ty).sum(axis=-2) for j in range(rank)),
    ]
    least = [KEPT * at.tt_raw * (of.w * shape**2).sum(axis=-2) for shape in of.shape]
    lower, known = _cholesky(system, least if prior.rates is None else None)
    for j in range(rank):
        right[2 + j] = np.where(known[j], right[2 + j], 0.0)
    x = _solved(lower, right)
    held = tau * answer  # tau w / (1 + tau w S_tt)
    stays = 1 - held * at.tt[..., None, :]
    of_cycle = -held * of.b
    pull = [
        of_cycle * at.tc[..., None, :],
        of_cycle * at.ts[..., None, :],
        *(stays * np.where(known[j][..., None, :], of.shape[j], 0.0) for j in range(rank)),
    ]
    return Solved(lower, x, right, known, tau * stays, pull, held * at.ty, answer)


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
