"""All cases through the engine: part by part, and period after period, as each hands its yearly cycle to the next."""

from collections.abc import Iterator

import numpy as np

from monitor.config import Variances
from monitor.records import dataclass
from monitor.trend.blocks import Block, Packer
from monitor.trend.bounds import Scale, moderated
from monitor.trend.cases import Cases
from monitor.trend.columns import Whole, different
from monitor.trend.complete import complete_parts
from monitor.trend.cycles import Cycles
from monitor.trend.fit import Fit, Season, estimate, fit, fit_given, season_of, sums_of
from monitor.trend.information import KEPT, Sums, accumulate, free_offsets, solve
from monitor.trend.parts import LEAST_KEPT, Left, Levels, Part, Step
from monitor.trend.shapes import Array


@dataclass(frozen=True)
class Fitted:
    """A block with the sums of its visits, the prior of its yearly cycles, its fits and moderated scales: a parts.Part.

    Whatever the visits and set-ups, marks lost and methods changed.
    """

    block: Block
    visits: Sums
    season: Season
    fit: Fit
    scale: Scale
    variances: Variances

    @property
    def cases(self) -> Whole:
        """Numbers of the cases (B,)."""
        return self.block.cases

    @property
    def rows(self) -> Whole:
        """Rows of Cases.rows (R,)."""
        return self.block.rows

    @property
    def of(self) -> Whole:
        """Case of each reading within the block (R,)."""
        return self.block.place[0]

    @property
    def visit(self) -> Whole:
        """Visit of each reading (R,)."""
        return self.block.place[1]

    @property
    def mark(self) -> Whole:
        """Mark of each reading (R,)."""
        return self.block.mark

    @property
    def last(self) -> Whole:
        """Newest visit of each case (B,)."""
        return self.block.last

    @property
    def before(self) -> Season:
        """The cycle as it was known before (B,)."""
        return self.season

    @property
    def swing_mm(self) -> Array:
        """Half swing of the yearly cycle (B,)."""
        return np.asarray(np.hypot(*np.moveaxis(self.fit.estimate.theta[:, self.block.layout.season], -1, 0)))

    def left(self) -> Left:
        """What is left of each reading."""
        block, fit, size = self.block, self.fit.estimate, self.block.layout.size
        slots = block.weight.shape[-1]
        each = np.broadcast_to(np.eye(slots), (*block.weight.shape, slots))
        regressors = np.concatenate([each, block.design, block.deflection[..., None]], axis=-1)
        cross = accumulate(regressors, block.weight, block.columns, block.free).cross[..., :slots, :]
        inverse, on_theta, on_reading = cross[..., :slots], cross[..., slots : slots + size], cross[..., -1]
        p = inverse - on_theta @ fit.covariance[:, None] @ np.swapaxes(on_theta, -1, -2)
        a = on_reading - (on_theta @ fit.theta[:, None, :, None])[..., 0]
        whole, own = np.diagonal(inverse, axis1=-2, axis2=-1), np.diagonal(p, axis1=-2, axis2=-1)
        own = np.where(own > KEPT * np.maximum(whole, block.weight), own, np.nan)
        visit = np.stack([np.where(block.weight > 0, 1.0, 0.0), block.bow], axis=-1)
        pull = p @ visit
        gram = np.swapaxes(visit, -1, -2) @ pull
        known = np.diagonal(gram, axis1=-2, axis2=-1) > KEPT * (visit**2 * block.weight[..., None]).sum(axis=-2)
        free = solve(np.where(known[..., :, None] & known[..., None, :], gram, 0.0))
        at = (np.swapaxes(visit, -1, -2) @ a[..., None])[..., 0] * known
        shift = (free.inverse @ at[..., None])[..., 0]
        kept = own - (pull @ free.inverse * pull).sum(axis=-1)
        kept = np.where(kept >= LEAST_KEPT * own, kept, np.nan)
        alone = a - (pull @ shift[..., None])[..., 0]
        newest = (np.arange(len(a)), block.last)
        explained = (at[newest] * shift[newest]).sum(axis=-1)
        a, own, alone, kept = (values[block.place] for values in (a, own, alone, kept))
        return Left(a, own, alone, kept, explained, free.rank[newest])

    def step(self) -> Step:
        """The step of the newest visit."""
        block, variances, size = self.block, self.variances, self.block.layout.size
        prior = variances.jump_rate_mm_per_year**2
        local = np.full(len(block.cases), variances.local_mm_per_year**2 + variances.local_share**2 * prior)
        found = estimate(self.visits.total(), block.layout, self.season, local, rate_precision=1 / prior)
        each = np.arange(len(block.cases))
        newest = self.visits.cross[each, block.last]
        on_theta, on_reading, own = newest[:, :size, size + 1], newest[:, size, size + 1], newest[:, size + 1, size + 1]
        kept = own - (on_theta[:, None, :] @ found.covariance @ on_theta[:, :, None])[:, 0, 0]
        bow = np.where(block.weight > 0, np.abs(block.bow), 0.0)[each, block.last].max(axis=-1)
        shifted = on_reading - (on_theta * found.theta).sum(axis=-1)
        return Step(shifted, np.where(kept > KEPT * own, kept, np.nan), bow, found.q, found.d)

    def from_each_start(self) -> Fit:
        """The fit from each visit on, shapes (B, V, ...)."""
        season = Season(self.season.mean[:, None], self.season.covariance[:, None])
        local_variance = self.fit.local_variance[:, None]
        sums, block = self.visits.from_each_start(), self.block
        return fit_given(sums, block.layout, block.phi[:, None], season, local_variance)

    def levels(self) -> Levels:
        """Levels of the readings."""
        block, theta, b = self.block, self.fit.estimate.theta, self.block.place[0]
        residual = block.deflection - (block.design @ theta[:, None, :, None])[..., 0]
        offset = free_offsets(residual, block.weight, block.columns, block.free)
        level = theta[b, block.level] + block.center[b, block.level]
        return Levels(level, block.time0[b].astype(np.float64), offset[block.place])


def fitted(cases: Cases, variances: Variances) -> Iterator[Fitted]:
    """Fit every case that has a counting reading."""
    packer, cycles = Packer(cases, variances), Cycles(cases, variances)
    for period in different(cases.table.period):
        for block in packer.blocks(np.flatnonzero(cases.table.period == period)):
            yield fitted_block(block, cycles, variances)


def fitted_block(block: Block, cycles: Cycles, variances: Variances) -> Fitted:
    """Fit a block, whose walls' earlier periods were fitted."""
    season = cycles.before(block.cases)
    visits = sums_of(block)
    found = fit(visits.total(), block.layout, block.phi, season, variances)
    cycles.learn(block.cases, season_of(found.estimate, block.layout))
    return Fitted(block, visits, season, found, moderated(found.estimate.q, found.estimate.d, variances), variances)


def parts(cases: Cases, variances: Variances) -> Iterator[Part]:
    """Fit every case that has a counting reading, complete ones the short way."""
    packer, cycles = Packer(cases, variances), Cycles(cases, variances)
    for period in different(cases.table.period):
        wanted = np.flatnonzero((cases.table.period == period) & (packer.sizes[:, 0] > 0))
        short = packer.complete[wanted]
        yield from complete_parts(packer, wanted[short], cycles, variances)
        for block in packer.blocks(wanted[~short]):
            yield fitted_block(block, cycles, variances)
