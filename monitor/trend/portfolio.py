"""All cases through the engine: block by block, and period after period, as each hands its yearly cycle to the next."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from monitor.config import Variances
from monitor.trend.blocks import Block, Packer
from monitor.trend.bounds import Scale, moderated
from monitor.trend.cases import WALL, Cases
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


def fitted(cases: Cases, variances: Variances) -> Iterator[Fitted]:
    """Fit every case that has a counting reading."""
    packer = Packer(cases, variances)
    wall = cases.table.groupby(WALL, sort=True).ngroup().to_numpy(np.intp)
    period = cases.table["period"].to_numpy(np.intp)
    walls = int(wall.max(initial=-1)) + 1
    known = unknown_season(variances, walls)
    known_in = np.full(walls, -1)
    for now in pd.unique(np.sort(period)):
        for block in packer.blocks(np.flatnonzero(period == now)):
            of = wall[block.cases]
            gap = np.where(known_in[of] < 0, 0, now - known_in[of])
            season = carried(Season(known.mean[of], known.covariance[of]), variances, gap)
            visits = sums_of(block)
            found = fit(visits.total(), block.layout, block.phi, season, variances)
            left = season_of(found.estimate, block.layout)
            known.mean[of], known.covariance[of], known_in[of] = left.mean, left.covariance, now
            yield Fitted(block, visits, season, found, moderated(found.estimate.q, found.estimate.d, variances))
