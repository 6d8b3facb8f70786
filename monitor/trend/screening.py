"""Misreads: readings that fit neither the other readings nor anything their whole visit could have done.

With P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1 the inverse covariance of a period's readings, fixed effects taken out, and
a = P y, reading i stands a_i / P_ii off what all others foretell, with sd 1 / sqrt(P_ii). It is set aside where that is
beyond LIMIT sds and still beyond LIMIT_ALONE once its visit is given a free offset and bow-shaped movement (P and a
with B = [1, bow] of the visit projected out): a step of the whole visit is the set-up's or the wall's, never a misread.
Each is taken over the residual scale without it. The largest goes first, one per wall and refit.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from monitor.config import Variances
from monitor.records import dataclass, replace
from monitor.trend import special
from monitor.trend.cases import Cases
from monitor.trend.columns import Whole
from monitor.trend.forecast import MOST_SCALE_DOF
from monitor.trend.information import KEPT
from monitor.trend.parts import Part
from monitor.trend.portfolio import parts
from monitor.trend.shapes import Array, Flags

LIMIT = 4.0
LIMIT_ALONE = 3.5

_TIES = 6
"""Decimals of |z| to which two readings are alike: of two alike the later is set aside, for it can be read again."""


@dataclass(frozen=True)
class Outliers:
    """Readings set aside: row (of Cases.rows), z, off_mm (inward positive), sd_mm, in the order they were set aside."""

    row: Whole
    z: Array
    off_mm: Array
    sd_mm: Array

    def __len__(self) -> int:
        return len(self.row)


@dataclass(frozen=True)
class Doubts:
    """Readings that ask for a confirming visit: row (of Cases.rows), together.

    Those beyond LIMIT that what else was read at their visit, one or two marks, cannot tell from what the visit did
    (together False), and those of a newest visit that stands apart as a whole (together True).
    """

    row: Whole
    together: Flags

    def __len__(self) -> int:
        return len(self.row)


@dataclass(frozen=True)
class Screened:
    """What was found, and the fits it was found by: each part with which of its cases are settled by it (B,)."""

    outliers: Outliers
    doubts: Doubts
    settled: list[tuple[Part, Flags]]


@dataclass(frozen=True)
class Residuals:
    """Leave-one-out residuals of a part's readings, all (R,): off_mm and sd_mm, z over the scale without the reading.

    alone: the same z with the visit free, NaN where under a twentieth of P_ii is kept; NaN where nothing can be said.
    apart: whether the reading is of a newest visit that as a whole stands off as far as a reading beyond LIMIT.
    """

    off_mm: Array
    sd_mm: Array
    z: Array
    alone: Array
    apart: Flags


def screen(cases: Cases, variances: Variances, ruled: Flags) -> Screened:
    """Screen all counting readings. ruled: rows of Cases.rows that a person has decided on, never set aside (rows,)."""
    wall = cases.table.wall
    left = np.ones(len(cases.table), dtype=bool)
    counts = cases.rows.counts.copy()
    none = np.zeros(0, dtype=np.intp)
    outliers = [Outliers(none, np.zeros(0), np.zeros(0), np.zeros(0))]
    doubts, settled = [Doubts(none, np.zeros(0, dtype=bool))], list[tuple[Part, Flags]]()
    while left.any():
        found = [(part, residuals(part, variances)) for part in parts(_part(cases, left, counts), variances)]
        rows = _Rows.of(found, cases, ruled)
        worst = rows.take(rows.worst())
        again = np.zeros(len(cases.walls.row), dtype=bool)
        again[worst.wall] = True
        settled += [(part, ~again[wall[part.cases]]) for part, _ in found]
        doubts.append(rows.take(~again[rows.wall]).doubts())
        outliers.append(Outliers(worst.row, worst.z, worst.off_mm, worst.sd_mm))
        counts[worst.row] = False
        left = again[wall]
    return Screened(
        Outliers(*(np.concatenate(column) for column in zip(*(vars(one).values() for one in outliers), strict=True))),
        Doubts(*(np.concatenate(column) for column in zip(*(vars(one).values() for one in doubts), strict=True))),
        settled,
    )


def without(cases: Cases, found: Screened) -> Cases:
    """The cases with the readings set aside no longer counting."""
    counts = cases.rows.counts.copy()
    counts[found.outliers.row] = False
    return replace(cases, rows=replace(cases.rows, counts=counts))


def without_apart(cases: Cases, found: Screened) -> Cases:
    """The cases with newest visits that stand apart as a whole no longer counting: a step of one wall is no noise."""
    of_step = np.isin(cases.rows.visit, cases.rows.visit[found.doubts.row[found.doubts.together]])
    return replace(cases, rows=replace(cases.rows, counts=cases.rows.counts & ~of_step))


def residuals(part: Part, variances: Variances) -> Residuals:
    """Leave-one-out residuals of the part's readings."""
    found, of = part.left(), part.of
    prior_dof = min(variances.scale_dof, MOST_SCALE_DOF)
    own = part.scale.dof - variances.scale_dof
    total = prior_dof * variances.scale + part.scale.sum - variances.scale_dof * variances.scale
    dof = prior_dof + own
    z = found.a / np.sqrt(found.own)
    scale = np.sqrt(np.maximum(total[of] - z**2, KEPT) / np.maximum(dof - 1, 1.0)[of])
    apart = _apart(found.explained, found.rank, total, dof)
    return Residuals(
        off_mm=found.a / found.own,
        sd_mm=scale / np.sqrt(found.own),
        z=z / scale,
        alone=found.alone / np.sqrt(found.kept) / scale,
        apart=apart[of] & (part.visit == part.last[of]),
    )


def _apart(explained: Array, rank: Array, total: Array, dof: Array) -> Flags:
    """Whether what the newest visit's freedom explains is as rare as one reading beyond LIMIT."""
    rest = np.maximum(total - explained, KEPT)
    left = np.maximum(dof - rank, 1.0)
    ratio = np.where(rank > 0, explained / np.maximum(rank, 1) / (rest / left), 0.0)
    chance = special.fdtrc(np.maximum(rank, 1), left, ratio)
    return np.asarray(chance < 2 * special.stdtr(np.maximum(dof - 1, 1.0), -LIMIT))


def _part(cases: Cases, wanted: Flags, counts: Flags) -> Cases:
    """The cases with those readings counting that are of a wanted case."""
    return replace(cases, rows=replace(cases.rows, counts=counts & wanted[cases.rows.case]))


@dataclass(frozen=True)
class _Rows:
    """Readings of all parts that nobody has decided on, with their residuals."""

    row: Whole
    wall: Whole
    day: Whole
    off_mm: Array
    sd_mm: Array
    z: Array
    alone: Array
    apart: Flags

    @classmethod
    def of(cls, found: list[tuple[Part, Residuals]], cases: Cases, ruled: Flags) -> "_Rows":
        row = _joined([part.rows for part, _ in found], np.intp)
        names = ("off_mm", "sd_mm", "z", "alone")
        values = {name: _joined([getattr(each, name) for _, each in found], np.float64) for name in names}
        apart = _joined([each.apart for _, each in found], np.bool_)
        wall, day = cases.table.wall[cases.rows.case[row]], cases.rows.day[row]
        return cls(row, wall, day, **values, apart=apart).take(~ruled[row])

    def take(self, which: Whole | Flags) -> "_Rows":
        return _Rows(**{name: values[which] for name, values in vars(self).items()})

    def worst(self) -> Whole:
        """Of each wall the reading to be set aside, the one furthest off; none where there is none."""
        with np.errstate(invalid="ignore"):
            beyond = np.flatnonzero((np.abs(self.z) > LIMIT) & (np.abs(self.alone) > LIMIT_ALONE))
        size = np.round(np.abs(self.z[beyond]), _TIES)
        beyond = beyond[np.lexsort((self.row[beyond], self.day[beyond], size, self.wall[beyond]))]
        last = np.append(np.diff(self.wall[beyond]) != 0, [True] * min(len(beyond), 1)).astype(bool)
        return np.asarray(beyond[last])

    def doubts(self) -> Doubts:
        """Readings of a newest visit that stands apart, or alike to what their visit did."""
        alike = (np.abs(self.z) > LIMIT) & np.isnan(self.alone)
        together = self.apart & ~alike
        chosen = alike | together
        return Doubts(self.row[chosen], together[chosen])


def _joined(columns: list[npt.NDArray[Any]], kind: type) -> npt.NDArray[Any]:
    return np.concatenate(columns) if columns else np.zeros(0, dtype=kind)
