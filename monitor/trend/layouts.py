"""Complete cases of one shape, and the distinct layouts of marks and set-ups among them, turned (rotated).

A case is complete where each visit read the same marks once, by one method of no free offset, with the same set-ups,
steps and doubts, and each mark stands on one level.
"""

from collections.abc import Iterator

import numpy as np

from monitor.records import dataclass
from monitor.trend.blocks import Packer
from monitor.trend.cases import packed
from monitor.trend.columns import Whole, different
from monitor.trend.information import KEPT
from monitor.trend.rotated import Turned, turn
from monitor.trend.shapes import BOW, Array, Flags
from monitor.units import DAYS_PER_YEAR

BLOCK_READINGS = 50_000
"""Readings side by side: few enough that their arrays stay within a processor's cache, enough for few calls."""


@dataclass(frozen=True)
class Layouts:
    """Distinct layouts of marks and set-ups (D of one size): shapes and covariance of a visit, turned.

    variance, bow (D, M): of single readings, and the bow as seen; wobble (D, M): the wobble's column; phi (D, M, 3);
    w (D, M), q (D, M, M): of the covariance; basis (D, 3, r): rates = what beta tells of them, so that phi . rates =
    (phi basis^-) beta; shape (D, M, r): phi in beta, by mark; inside (D, 3): components that are determined by beta.
    """

    variance: Array
    bow: Array
    wobble: Array
    phi: Array
    w: Array
    q: Array
    basis: Array
    spread: Array
    shape: Array
    inside: Flags
    rank: Whole


def _layouts(variance: Array, columns: Array, phi: Array) -> Layouts:
    """variance (D, M), columns (D, M, K) of the set-up errors times their sds, phi (D, M, 3)."""
    size = variance.shape[-1]
    covariance = columns @ np.swapaxes(columns, -1, -2)
    covariance[..., np.arange(size), np.arange(size)] += variance
    values, q = np.linalg.eigh(covariance)
    w = 1 / values
    turned = np.sqrt(w)[..., None] * (np.swapaxes(q, -1, -2) @ phi)
    length = np.sqrt((turned**2).sum(axis=-2))
    spread = np.where(length > 0, length, 1.0)
    scaled = turned / spread[..., None, :]
    kept, vectors = np.linalg.eigh(np.swapaxes(scaled, -1, -2) @ scaled)
    there = kept > KEPT
    basis = np.where(there[..., None, :], vectors, 0.0)[..., ::-1]  # the kept ones first
    inside = (1 - (basis**2).sum(axis=-1) < 1e-8) & (length > 0)
    shape = (phi / spread[..., None, :]) @ basis
    return Layouts(
        variance, phi[..., BOW], columns[..., 0], phi, w, q, basis, spread, shape, inside, there.sum(axis=-1)
    )


def _distinct(rows: Array) -> tuple[Whole, Whole]:
    """First row of each distinct one, and which of them each row is: by a sum of its numbers, then number by number."""
    mixed = rows @ np.sqrt(np.arange(2.0, rows.shape[1] + 2))
    _, first, number = np.unique(mixed, return_index=True, return_inverse=True)
    if not np.array_equal(rows[first][number], rows):  # two that differ have one sum: each row by itself
        return np.arange(len(rows)), np.arange(len(rows))
    return first, number


@dataclass(frozen=True)
class Alike:
    """B complete cases of V visits, M marks and rank r; which (B,): the layout of each."""

    cases: Whole
    visits: int
    layouts: Layouts
    which: Whole
    rank: int

    @property
    def marks(self) -> int:
        """M."""
        return int(self.layouts.w.shape[-1])

    def turned(self, day: Array, time0: Array, read: Array) -> Turned:
        """The cases by direction. day (V, B); time0 (B,): day that times count from; read (V, M, B): readings."""
        cycle = 2 * np.pi * day / DAYS_PER_YEAR
        layouts, which = self.layouts, self.which
        q = np.ascontiguousarray(np.moveaxis(layouts.q[which], 0, -1))
        by_direction = np.swapaxes(q, 0, 1)
        shapes = [turn(by_direction, np.moveaxis(layouts.shape[which][..., j], 0, -1)) for j in range(self.rank)]
        return Turned(
            y=turn(by_direction, read),
            t=(day - time0) / DAYS_PER_YEAR,
            c=np.cos(cycle),
            s=np.sin(cycle),
            w=np.ascontiguousarray(layouts.w[which].T),
            b=turn(by_direction, np.moveaxis(layouts.bow[which], 0, -1)),
            shape=np.stack(shapes) if shapes else np.zeros((0, self.marks, len(which))),
            q=q,
        )


def alike(packer: Packer, wanted: Whole) -> Iterator[Alike]:
    """The wanted cases, all of them complete, by number of visits, marks, and rank of their shapes."""
    sizes = packer.sizes[wanted][:, [0, 4]]
    _, first, group = np.unique(packed(*sizes.T), return_index=True, return_inverse=True)
    for number, (visits, marks) in enumerate(sizes[first]):
        cases, at_once = wanted[group == number], max(1, BLOCK_READINGS // int(visits * marks))
        variance, columns, phi = packer.layout_of(cases, int(marks))
        rows = np.concatenate([each.reshape(len(cases), -1) for each in (variance, columns, phi)], axis=1)
        model, which = _distinct(rows)
        layouts = _layouts(variance[model], columns[model], phi[model])
        for rank in different(layouts.rank[which]):
            of_rank = np.flatnonzero(layouts.rank[which] == rank)
            for start in range(0, len(of_rank), at_once):
                some = of_rank[start : start + at_once]
                yield Alike(cases[some], int(visits), layouts, which[some], int(rank))
