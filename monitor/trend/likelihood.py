"""The restricted likelihood of all walls and its gradient in the logarithms of the model's sds.

The gradient is exact, by Fisher's identity: the score of a random effect's log sd is the sum over its draws of
(mean^2 + variance) / sd^2 - 1 given all readings, fixed effects taken out. With P of the whole wall, a = P y and one
visit's part of both: of a set-up error with column u (times its sd) that is (u'a)^2 - u'Pu, of a reading error
sd^2 (a_i^2 - P_ii). The yearly cycle is a chain over a wall's periods: each period takes the cycle from the one before,
and a pass backwards gives every period what the later ones say of it. How fast each wall moves, which sizes its local
deviations, is given from outside.
"""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from monitor.config import Variances
from monitor.records import dataclass, replace
from monitor.trend import fit as fits
from monitor.trend import parameters
from monitor.trend.blocks import Block, Packer
from monitor.trend.cases import Cases
from monitor.trend.fit import Estimate, Season, carried, unknown_season
from monitor.trend.information import Sums, accumulate
from monitor.trend.shapes import Array
from monitor.trend.variances import LEAST, METHODS, reading_variance, season_variance

Whole = npt.NDArray[np.intp]


@dataclass(frozen=True)
class At:
    """At some sds: restricted log-likelihood up to a constant of the design, and its gradient, by wall; q, d by case.

    log_likelihood (walls,), score (walls, parameters.SIZE), q and d (cases,), d 0 where a case has no counting reading.
    """

    log_likelihood: Array
    score: Array
    q: Array
    d: Array


@dataclass(frozen=True)
class _Part:
    """A block at some sds: visits' sums over [each reading, parameters, reading], estimate, the cycle before it."""

    block: Block
    own: Array
    visits: Sums
    estimate: Estimate
    prior: Season
    carry: Array
    local_variance: Array


class Likelihood:
    """The cases laid out once; asked at many sds."""

    def __init__(self, cases: Cases, variances: Variances) -> None:
        packer = Packer(cases, variances)
        self._variances = variances
        self._method, self._step = cases.rows.method, cases.rows.step_mm
        self._factor = cases.rows.error_factor
        self._base = parameters.to_vector(variances)
        self._wall, period = cases.table.wall, cases.table.period
        self._periods = [(int(now), list(packer.blocks(np.flatnonzero(period == now)))) for now in np.unique(period)]
        self.walls = len(cases.walls.row)
        self.speed = np.zeros(len(self._wall))
        """Square of each case's largest mark rate, less its squared error, mm^2/yr^2 (cases,)."""

    def blocks(self) -> Iterator[Block]:
        """All blocks, oldest period first."""
        for _, blocks in self._periods:
            yield from blocks

    def at(self, sds: Array) -> At:
        """Likelihood and gradient at a vector of sds (parameters)."""
        parts = list(self._forward(sds))
        log_likelihood, q, d = np.zeros(self.walls), np.zeros(len(self._wall)), np.zeros(len(self._wall))
        for part in parts:
            cases = part.block.cases
            np.add.at(log_likelihood, self._wall[cases], part.estimate.log_likelihood)
            q[cases], d[cases] = part.estimate.q, part.estimate.d
        return At(log_likelihood, self._score(parts, sds), q, d)

    def refresh_speed(self, sds: Array) -> None:
        """Take each case's speed from a first pass at these sds, as the fit does."""
        variances = parameters.from_vector(self._variances, sds)
        share = variances.local_share**2
        if share <= 0:
            return
        for part in self._forward(sds):
            block = part.block
            slots = block.weight.shape[-1]
            total = _after(part.visits, slots).total()
            found = fits.fit(total, block.layout, block.phi, part.prior, variances)
            own = max(variances.local_mm_per_year**2, LEAST)
            self.speed[block.cases] = (found.local_variance - own) / share

    def _forward(self, sds: Array) -> Iterator[_Part]:
        variances = parameters.from_vector(self._variances, sds)
        known = unknown_season(variances, self.walls)
        known_in = np.full(self.walls, -1)
        local = max(sds[parameters.LOCAL] ** 2, LEAST) + sds[parameters.SHARE] ** 2 * self.speed
        for now, blocks in self._periods:
            for laid in blocks:
                block, own = self._with(laid, variances, sds)
                of = self._wall[block.cases]
                gap = np.where(known_in[of] < 0, 0, now - known_in[of])
                carry = np.where(known_in[of] < 0, 0.0, variances.season_carry ** gap.astype(np.float64))
                prior = carried(Season(known.mean[of], known.covariance[of]), variances, gap)
                slots = block.weight.shape[-1]
                each = np.broadcast_to(np.eye(slots), (*block.weight.shape, slots))
                regressors = np.concatenate([each, block.design, block.deflection[..., None]], axis=-1)
                visits = accumulate(regressors, block.weight, block.columns, block.free)
                total = _after(visits, slots).total()
                found = fits.estimate(total, block.layout, prior, local[block.cases])
                left = fits.season_of(found, block.layout)
                known.mean[of], known.covariance[of], known_in[of] = left.mean, left.covariance, now
                yield _Part(block, own, visits, found, prior, carry, local[block.cases])

    def _with(self, block: Block, variances: Variances, sds: Array) -> tuple[Block, Array]:
        """The block at those sds, and each reading's variance without its rounding."""
        method, step, factor = self._method[block.rows], self._step[block.rows], self._factor[block.rows]
        weight, own = np.zeros_like(block.weight), np.zeros_like(block.weight)
        weight[block.place] = 1 / reading_variance(variances, method, step, factor)
        own[block.place] = reading_variance(variances, method, np.zeros_like(step), factor)
        ratio = np.ones_like(sds)
        np.divide(sds, self._base, out=ratio, where=self._base > 0)
        scaled = np.where(block.free | (block.error < 0), 1.0, ratio[block.error])
        return replace(block, weight=weight, columns=block.columns * scaled[..., None, :]), own

    def _score(self, parts: list[_Part], sds: Array) -> Array:
        """Gradient by wall, newest period first: each hands the one before it what is known of the cycle."""
        score = np.zeros((self.walls, parameters.SIZE))
        known = Season(np.zeros((self.walls, 2)), np.zeros((self.walls, 2, 2)))
        carry, seen = np.zeros(self.walls), np.zeros(self.walls, dtype=bool)
        fresh = season_variance(parameters.from_vector(self._variances, sds))
        for part in reversed(parts):
            of = self._wall[part.block.cases]
            own = fits.season_of(part.estimate, part.block.layout)
            later = Season(known.mean[of], known.covariance[of])
            k = np.where(seen[of], carry[of], 0.0)
            smooth, step = _smoothed(own, later, k, fresh)
            score[of, parameters.SEASON] += np.where(k > 0, _chain_score(smooth, later, step, k, fresh), 0.0)
            first = part.carry == 0
            score[of, parameters.SEASON] += np.where(first, _square(smooth) / fresh - 2, 0.0)
            theta, covariance = _told(part, own, smooth)
            self._add(score, of, part, theta, covariance, sds)
            known.mean[of], known.covariance[of], carry[of], seen[of] = smooth.mean, smooth.covariance, part.carry, True
        return score * parameters.free(self._variances)

    def _add(
        self, score: Array, of: npt.NDArray[np.integer], part: _Part, theta: Array, covariance: Array, sds: Array
    ) -> None:
        """Add what the block's readings, set-ups and local deviations say."""
        block, slots, size = part.block, part.block.weight.shape[-1], part.block.layout.size
        cross = part.visits.cross[..., :slots, :]
        inverse, on_theta, on_y = cross[..., :slots], cross[..., slots : slots + size], cross[..., -1]
        p = inverse - on_theta @ covariance[:, None] @ np.swapaxes(on_theta, -1, -2)
        a = on_y - (on_theta @ theta[:, None, :, None])[..., 0]
        reading = part.own * (a**2 - np.diagonal(p, axis1=-2, axis2=-1))
        method = parameters.READING + self._method[block.rows]
        np.add.at(score, (of[block.place[0]], method), reading[block.place])
        u = block.columns
        said = (np.swapaxes(u, -1, -2) @ a[..., None])[..., 0] ** 2 - ((p @ u) * u).sum(axis=-2)
        at = np.nonzero((block.error >= 0) & ~block.free)
        np.add.at(score, (of[at[0]], block.error[at]), said[at])
        local = block.layout.local
        square = theta[:, local] ** 2 + np.diagonal(covariance, axis1=-2, axis2=-1)[:, local]
        more = (square / part.local_variance[:, None] - 1).sum(axis=-1) / part.local_variance
        score[of, parameters.LOCAL] += more * sds[parameters.LOCAL] ** 2
        score[of, parameters.SHARE] += more * sds[parameters.SHARE] ** 2 * self.speed[block.cases]


def _after(visits: Sums, slots: int) -> Sums:
    """The sums without the columns of single readings."""
    return replace(visits, cross=visits.cross[..., slots:, slots:])


def _smoothed(own: Season, later: Season, carry: Array, fresh: float) -> tuple[Season, Array]:
    """The cycle given the later periods too, and the step J of the pass backwards; carry 0: nothing is later."""
    k = carry[:, None, None]
    foretold = k**2 * own.covariance + (1 - k**2) * fresh * np.eye(2)
    step = k * own.covariance @ np.linalg.inv(foretold)
    mean = own.mean + (step @ (later.mean - carry[:, None] * own.mean)[..., None])[..., 0]
    covariance = own.covariance + step @ (later.covariance - foretold) @ np.swapaxes(step, -1, -2)
    return Season(mean, covariance), step


def _square(season: Season) -> Array:
    """Expected square of the cycle's coefficients."""
    return np.asarray((season.mean**2).sum(axis=-1) + np.trace(season.covariance, axis1=-2, axis2=-1))


def _chain_score(smooth: Season, later: Season, step: Array, carry: Array, fresh: float) -> Array:
    """Score of log A from what is new in the later period's cycle, later - carry x own."""
    k = carry[:, None, None]
    both = step @ later.covariance
    spread = later.covariance + k**2 * smooth.covariance - k * (both + np.swapaxes(both, -1, -2))
    new = Season(later.mean - carry[:, None] * smooth.mean, spread)
    variance = (1 - carry**2) * fresh
    return np.asarray(np.where(variance > LEAST, _square(new) / np.maximum(variance, LEAST) - 2, 0.0))


def _told(part: _Part, own: Season, smooth: Season) -> tuple[Array, Array]:
    """All parameters of the period given also what the later periods say of the cycle."""
    covariance, s = part.estimate.covariance, part.block.layout.season
    gain = covariance[:, :, s] @ np.linalg.inv(own.covariance)
    theta = part.estimate.theta + (gain @ (smooth.mean - own.mean)[..., None])[..., 0]
    change = gain @ (smooth.covariance - own.covariance) @ np.swapaxes(gain, -1, -2)
    return theta, covariance + change


def setups_by_method(cases: Cases) -> dict[str, tuple[int, int]]:
    """Walls and set-ups of each method among the counting rows."""
    rows = cases.rows.take(cases.rows.counts)
    wall = cases.table.wall[rows.case]
    return {
        str(METHODS[code]): (len(np.unique(wall[rows.method == code])), len(np.unique(rows.setup[rows.method == code])))
        for code in np.unique(rows.method)
    }
