"""What a part of the portfolio, cases of one shape fitted side by side, tells: the same questions to every engine.

B cases of at most V visits and M marks, R counting readings in all. Variances are before moderation of the scale.
"""

from typing import Protocol

import numpy as np

from monitor.records import dataclass
from monitor.trend.bounds import Scale
from monitor.trend.columns import Whole
from monitor.trend.fit import Rates, Season
from monitor.trend.shapes import Array, Flags

LEAST_KEPT = 0.05
"""A reading that keeps less of its P_ii with its visit free cannot be told from what the visit did."""


class Starts(Protocol):
    """Rates of the marks from each visit on, with standard errors before moderation; NaN where not measured."""

    @property
    def mark_rate(self) -> Array:
        """(B, V, M)."""

    @property
    def mark_se(self) -> Array:
        """(B, V, M)."""

    @property
    def mark_seen(self) -> Flags:
        """Marks where the method sees any movement, to be spread to (B, V, M)."""


@dataclass(frozen=True)
class Left:
    """What is left of each reading once all that the model says is taken out, with P and a = Py of the case's readings.

    a, own (P_ii; NaN where the reading tells nothing beside the others), and both with a free offset and bow-shaped
    movement of the visit projected out: alone, kept (NaN where too little is kept to tell); all (R,). explained, rank:
    by how much the freedom of its newest visit would lower the quadratic form, and its dimensions (B,).
    """

    a: Array
    own: Array
    alone: Array
    kept: Array
    explained: Array
    rank: Array


@dataclass(frozen=True)
class Step:
    """A step of the newest visit in the bow shape, the rates random about 0: phi'a and phi'P phi, all (B,).

    bow: the largest bow seen by a reading of that visit; q, d: quadratic form and degrees of freedom of that fit.
    """

    shifted: Array
    kept: Array
    bow: Array
    q: Array
    d: Array


@dataclass(frozen=True)
class Levels:
    """Fitted level of each reading, the day that its times count from, its set-up's free offset; all (R,)."""

    level: Array
    time0: Array
    offset: Array


class Part(Protocol):
    """Fitted cases of one shape."""

    @property
    def cases(self) -> Whole:
        """Numbers of the cases (B,)."""

    @property
    def rows(self) -> Whole:
        """Rows of Cases.rows: the counting readings (R,)."""

    @property
    def of(self) -> Whole:
        """Case of each reading within the part (R,)."""

    @property
    def visit(self) -> Whole:
        """Visit of each reading within its case (R,)."""

    @property
    def mark(self) -> Whole:
        """Mark of each reading within its case (R,)."""

    @property
    def last(self) -> Whole:
        """Newest visit of each case (B,)."""

    @property
    def fit(self) -> Rates:
        """Rates of components (B, 3) and marks (B, M)."""

    @property
    def scale(self) -> Scale:
        """Moderated residual scale (B,)."""

    @property
    def before(self) -> Season:
        """The yearly cycle as it was known before (B,)."""

    @property
    def swing_mm(self) -> Array:
        """Half swing of the yearly cycle (B,)."""

    def left(self) -> Left:
        """What is left of each reading."""

    def step(self) -> Step:
        """The step of the newest visit."""

    def from_each_start(self) -> Starts:
        """The fit from each visit on, with the local deviations' variance of the whole period."""

    def levels(self) -> Levels:
        """Levels of the readings."""


def first_rows(part: Part) -> Whole:
    """One row of Cases.rows for each mark (B, M), -1 where the case has no such mark."""
    rows = np.full(part.fit.mark_rate.shape, -1, dtype=np.intp)
    rows[part.of[::-1], part.mark[::-1]] = part.rows[::-1]
    return rows
