"""What each period hands to the next: the wall's yearly cycle as its readings leave it known."""

import numpy as np

from monitor.config import Variances
from monitor.trend.cases import Cases
from monitor.trend.columns import Whole
from monitor.trend.fit import Season, carried, unknown_season


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
