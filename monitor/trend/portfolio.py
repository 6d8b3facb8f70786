"""All cases through the engine: part by part, and period after period, as each hands its yearly cycle to the next."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from monitor.config import Variances
from monitor.trend.blocks import Block, Packer
from monitor.trend.bounds import Scale, moderated
from monitor.trend.cases import Cases
from monitor.trend.columns import Whole
from monitor.trend.fit import Fit, Season, carried, fit, season_of, sums_of, unknown_season
from monitor.trend.information import Sums


@dataclass(frozen=True)
class Fitted:
    """A block with the sums of its visits, the prior of its yearly cycles, its fits and moderated scales."""

    block: Block
    visits: Sums
    season: Season
    fit: Fit
    scale: Scale


class Cycles:
    """What is known of each wall's yearly cycle, from the periods that were fitted so far."""

    def __init__(self, cases: Cases, variances: Variances) -> None:
        self._wall, self._period, self._variances = cases.table.wall, cases.table.period, variances
        self._known = unknown_season(variances, len(cases.walls.row))
        self._in = np.full(len(cases.walls.row), -1)

    def before(self, cases: Whole) -> Season:
        """The prior of cases: what their walls' last fitted period left, damped towards what nothing is known of."""
        of = self._wall[cases]
        gap = np.where(self._in[of] < 0, 0, self._period[cases] - self._in[of])
        return carried(Season(self._known.mean[of], self._known.covariance[of]), self._variances, gap)

    def learn(self, cases: Whole, left: Season) -> None:
        """Keep what cases leave known."""
        of = self._wall[cases]
        self._known.mean[of], self._known.covariance[of] = left.mean, left.covariance
        self._in[of] = self._period[cases]


def fitted(cases: Cases, variances: Variances) -> Iterator[Fitted]:
    """Fit every case that has a counting reading."""
    packer, cycles = Packer(cases, variances), Cycles(cases, variances)
    for period in np.unique(cases.table.period):
        for block in packer.blocks(np.flatnonzero(cases.table.period == period)):
            yield fitted_block(block, cycles, variances)


def fitted_block(block: Block, cycles: Cycles, variances: Variances) -> Fitted:
    """Fit a block, whose walls' earlier periods were fitted."""
    season = cycles.before(block.cases)
    visits = sums_of(block)
    found = fit(visits.total(), block.layout, block.phi, season, variances)
    cycles.learn(block.cases, season_of(found.estimate, block.layout))
    return Fitted(block, visits, season, found, moderated(found.estimate.q, found.estimate.d, variances))
