"""Cases of equal shape, laid side by side in padded arrays: what the batched engine works on.

Padding readings have weight 0, padding set-up columns are 0 with a proper prior, padding parameters have no
information: they change no number.
"""

from collections.abc import Iterator
from functools import cached_property

import numpy as np
import numpy.typing as npt

from monitor.config import Variances
from monitor.records import dataclass
from monitor.trend import parameters
from monitor.trend import variances as sds
from monitor.trend.cases import Cases, Rows, latest_method, packed, runs, seen_by
from monitor.trend.columns import Whole
from monitor.trend.shapes import BOW, COMPONENTS, Array
from monitor.units import DAYS_PER_YEAR

RATES = len(COMPONENTS)
SEASON = 2
BLOCK_CASES = 500
BLOCK_NUMBERS = 4_000_000
"""Most numbers in the largest array of a block; keeps the memory of large walls bounded."""

_SIZES = np.array([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 24, 28, 32])


@dataclass(frozen=True)
class Layout:
    """Where the parameters of a block stand: levels, local deviations, the cycle's two coefficients, rates."""

    levels: int
    marks: int

    @property
    def local(self) -> slice:
        """Local deviations, one per mark."""
        return slice(self.levels, self.levels + self.marks)

    @property
    def season(self) -> slice:
        """Cosine and sine coefficients of the yearly cycle."""
        return slice(self.levels + self.marks, self.others)

    @property
    def rates(self) -> slice:
        """Rates of the components."""
        return slice(self.others, self.size)

    @property
    def others(self) -> int:
        """Number of parameters that are no rates."""
        return self.levels + self.marks + SEASON

    @property
    def size(self) -> int:
        """Number of parameters."""
        return self.others + RATES


@dataclass(frozen=True)
class Block:
    """B cases of V visits of at most N readings and K set-up columns.

    cases: numbers of the cases (B,). design: (B, V, N, P) of the layout's parameters. deflection, weight (1 / reading
    variance, 0 where there is no reading), bow (the bow shape as seen): (B, V, N). columns: set-up columns times their
    sds (B, V, N, K); free: the columns of unknown size (B, V, K); error: which entry of the vector of sds each column
    has (parameters), -1 for padding (B, V, K). last: the newest visit (B,). phi: shapes at the
    marks as the newest visit's method sees them (B, M, 3); center: what was taken off each level (B, L).
    rows, place: the rows of Cases.rows in the block, and the (case, visit, reading) where each stands.
    level, mark: number of each such row's level and mark within its case. time0: day that times count from (B,).
    """

    layout: Layout
    cases: Whole
    design: Array
    deflection: Array
    weight: Array
    bow: Array
    columns: Array
    free: npt.NDArray[np.bool_]
    error: Whole
    last: Whole
    phi: Array
    center: Array
    rows: Whole
    place: tuple[Whole, Whole, Whole]
    level: Whole
    mark: Whole
    time0: npt.NDArray[np.int64]


def within(group: Whole, key: Whole) -> Whole:
    """Number the distinct keys 0, 1, ... inside each group, in ascending order."""
    pairs, first, place = np.unique(packed(group, key), return_index=True, return_inverse=True)
    of = group[first]
    return np.asarray((np.arange(len(pairs)) - np.searchsorted(of, of))[place])


def _most(first: Whole, number: Whole) -> Whole:
    """One more than the largest number in each group: the size of a group numbered from 0.

    first: the groups' first rows, and the number of rows; a group without rows has 0.
    """
    there = np.flatnonzero(np.diff(first))
    size = np.zeros(len(first) - 1, dtype=np.intp)
    size[there] = np.maximum.reduceat(number, first[there]) + 1 if len(there) else 0
    return size


def _rounded(sizes: Whole) -> Whole:
    """The next size of the ladder: few shapes, little padding. Above the ladder the size itself."""
    return np.asarray(np.where(sizes > _SIZES[-1], sizes, _SIZES[np.searchsorted(_SIZES[:-1], sizes)]))


def _marks_within(cases: Cases, rows: Rows) -> Whole:
    """Number the marks that are read within each case 0, 1, ... in their order (rows,)."""
    wall = cases.table.wall
    first = np.searchsorted(cases.marks.wall, np.arange(len(cases.walls.row) + 1))
    size = np.diff(first)[wall]
    base = np.cumsum(size) - size
    place = base[rows.case] + rows.mark - first[wall[rows.case]]
    there = np.zeros(int(size.sum()) + 1, dtype=np.intp)
    there[place + 1] = 1
    before = np.cumsum(there)
    return np.asarray(before[place] - before[base[rows.case]])


def _first_of(numbers: Whole) -> tuple[Whole, Whole]:
    """The first row of each number that there is, in the order of numbers, and which of them each row has."""
    first = np.full(int(numbers.max(initial=-1)) + 1, -1)
    first[numbers[::-1]] = np.arange(len(numbers) - 1, -1, -1)
    there = first >= 0
    return first[there], (np.cumsum(there) - 1)[numbers]


class Packer:
    """Numbers the counting rows of all cases once, then lays out any of the cases in blocks."""

    def __init__(self, cases: Cases, variances: Variances) -> None:
        self._marks, self._walls = cases.marks, cases.walls
        self._index = np.flatnonzero(cases.rows.counts)
        whole = len(self._index) == len(cases.rows)
        self._rows, self._seen = (
            (cases.rows, cases.seen) if whole else (cases.rows.take(self._index), cases.seen[self._index])
        )
        self._variances, self._sds = variances, sds.setup_sds(variances)
        rows = self._rows
        self._first = np.searchsorted(rows.case, np.arange(len(cases.table) + 1))
        self._mark = _marks_within(cases, rows)
        self._level = within(rows.case, packed(self._mark, rows.stretch)) if rows.stretch.any() else self._mark
        visit = runs(rows.visit)
        starts = np.flatnonzero(np.diff(visit, prepend=-1))
        self._visit = visit - np.append(visit, 0)[self._first[rows.case]]
        self._slot = np.arange(len(rows)) - starts[visit]
        self._offset, self._yaw, self._tilt = self._column_slots(rows.visit)
        self._variance = sds.reading_variance(variances, rows.method, rows.step_mm, rows.error_factor)
        self.sizes = self._shapes()

    @cached_property
    def complete(self) -> npt.NDArray[np.bool_]:
        """Cases whose visits read the same marks once by the same set-ups, none free, each on one level (cases,)."""
        rows, first = self._rows, self._first[:-1]
        model = first[rows.case] + self._mark  # the mark's reading of the first visit, where that one is complete
        model = np.minimum(model, len(rows) - 1)
        same = (self._slot == self._mark) & (self._level == self._mark) & ~self._sds.free[rows.method]
        for own in (rows.method, self._variance, self._offset, self._yaw, self._tilt):
            same &= own == own[model]
        visits, slots, _, levels, marks = self.sizes.T
        odd = np.bincount(rows.case[~same], minlength=len(first))
        count = np.diff(self._first)
        return np.asarray((odd == 0) & (count == visits * marks) & (slots == marks) & (levels == marks) & (count > 0))

    def layout_of(self, cases: Whole, marks: int) -> tuple[Array, Array, Array]:
        """Of complete cases of one size: variances of readings (B, M), set-up columns (B, M, K), shapes (B, M, 3)."""
        rows = (self._first[cases][:, None] + np.arange(marks)).reshape(-1)
        b, mark = np.repeat(np.arange(len(cases)), marks), np.tile(np.arange(marks), len(cases))
        shape = (len(cases), 1, marks, int(self.sizes[cases, 2].max()))
        columns, _, _ = self._columns(rows, (b, np.zeros_like(b), mark), shape)
        whole = (len(cases), marks)
        return self._variance[rows].reshape(whole), columns[:, 0], self._seen[rows].reshape(*whole, RATES)

    def grid(self, cases: Whole, visits: int, marks: int) -> tuple[Whole, Array, Array]:
        """Of complete cases of one size: rows of Cases.rows (R,), days (V, B), deflections (V, M, B)."""
        rows = self._first[cases][:, None] + np.arange(visits * marks)
        read = self._rows.deflection_mm[rows].reshape(len(cases), visits, marks)
        day = self._rows.day[rows[:, ::marks]].T.astype(np.float64)
        return self._index[rows].reshape(-1), day, np.ascontiguousarray(np.moveaxis(read, 0, -1))

    def blocks(self, wanted: Whole) -> Iterator[Block]:
        """Blocks of the wanted cases, those without a counting row left out, grouped by shape."""
        wanted = wanted[self.sizes[wanted, 0] > 0]
        shapes, group = np.unique(_rounded(self.sizes[wanted]), axis=0, return_inverse=True)
        for number, shape in enumerate(shapes):
            same = wanted[group == number]
            visits, _, _, levels, marks = shape
            numbers = visits * (Layout(int(levels), int(marks)).size + 2) ** 2
            step = max(1, min(BLOCK_CASES, BLOCK_NUMBERS // int(numbers)))
            for start in range(0, len(same), step):
                yield self._lay(same[start : start + step], shape)

    def _column_slots(self, visit: Whole) -> tuple[Whole, Whole, Whole]:
        """Column of each row's offset, yaw and tilt within its visit, -1 for none; column 0 is the wobble's."""
        first, of_row = _first_of(self._rows.setup)
        method, visit_of = self._rows.method[first], visit[first]
        has = [(kind > 0)[method] for kind in (self._sds.offset, self._sds.yaw, self._sds.tilt)]
        count = np.sum(has, axis=0)
        before = np.cumsum(count) - count
        slot = 1 + before - before[np.searchsorted(visit_of, visit_of)]
        slots = []
        for kind in has:
            slots.append(np.where(kind, slot, -1)[of_row])
            slot = slot + kind
        return slots[0], slots[1], slots[2]

    def _shapes(self) -> Whole:
        """Visits, readings in a visit, set-up columns in a visit, levels and marks of each case, shape (cases, 5)."""
        columns = np.maximum(np.maximum(self._offset, self._yaw), np.maximum(self._tilt, 0))
        numbers = (self._visit, self._slot, columns, self._level, self._mark)
        return np.stack([_most(self._first, number) for number in numbers], axis=1)

    def _lay(self, cases: Whole, shape: Whole) -> Block:
        """Lay the cases out in arrays of the given shape."""
        visits, slots, columns, levels, marks = (int(size) for size in shape)
        layout, count = Layout(levels, marks), len(cases)
        lengths = self._first[cases + 1] - self._first[cases]
        b = np.repeat(np.arange(count), lengths)
        rows = np.arange(len(b)) + np.repeat(self._first[cases] - (np.cumsum(lengths) - lengths), lengths)
        place = (b, self._visit[rows], self._slot[rows])
        whole = (count, visits, slots)
        level, mark, seen = self._level[rows], self._mark[rows], self._seen[rows]
        weight, bow, deflection = np.zeros(whole), np.zeros(whole), np.zeros(whole)
        weight[place] = 1 / self._variance[rows]
        bow[place] = seen[:, BOW]
        raw = self._rows.deflection_mm[rows]
        center = _means(b, level, raw, (count, levels))
        deflection[place] = raw - center[b, level]
        day = self._rows.day[rows]
        time0 = np.rint(np.bincount(b, day, count) / lengths).astype(np.int64)
        design = np.zeros((*whole, layout.size))
        elapsed = (day - time0[b]) / DAYS_PER_YEAR
        cycle = 2 * np.pi * day / DAYS_PER_YEAR
        design[(*place, level)] = 1
        design[(*place, layout.local.start + mark)] = elapsed
        design[(*place, layout.season.start)] = seen[:, BOW] * np.cos(cycle)
        design[(*place, layout.season.start + 1)] = seen[:, BOW] * np.sin(cycle)
        for component in range(RATES):
            design[(*place, layout.others + component)] = seen[:, component] * elapsed
        setup_columns, free, error = self._columns(rows, place, (*whole, columns))
        phi, last = self._phi_now(rows, b, mark, (count, marks, RATES)), self.sizes[cases, 0] - 1
        index = self._index[rows]
        return Block(
            layout, cases, design, deflection, weight, bow, setup_columns, free, error, last, phi, center, index, place,
            level, mark, time0,
        )  # fmt: skip

    def _columns(
        self, rows: Whole, place: tuple[Whole, Whole, Whole], shape: tuple[int, int, int, int]
    ) -> tuple[Array, npt.NDArray[np.bool_], Whole]:
        """Set-up columns times their sds, which of them are free, and whose error each is."""
        columns, free = np.zeros(shape), np.zeros((*shape[:2], shape[3]), dtype=bool)
        error = np.full(free.shape, -1)
        error[place[0], place[1], 0] = parameters.WOBBLE
        method, mark = self._rows.method[rows], self._rows.mark[rows]
        columns[(*place, 0)] = self._variances.wobble_mm * self._seen[rows, BOW]
        marks, length_mm = self._marks, self._walls.length_mm
        x_m = np.nan_to_num(marks.x_mm[mark] - length_mm[marks.wall[mark]] / 2) / 1000
        z_m = np.nan_to_num(marks.z_mm[mark]) / 1000
        kinds = (
            (self._offset, self._sds.offset, 1.0, parameters.OFFSET),
            (self._yaw, self._sds.yaw, x_m, parameters.YAW),
            (self._tilt, self._sds.tilt, z_m, parameters.TILT),
        )
        for slots, sd, lever, code in kinds:
            has = slots[rows] >= 0
            spot = tuple(axis[has] for axis in (*place, slots[rows]))
            columns[spot] = (sd[method] * lever)[has]
            error[spot[0], spot[1], spot[3]] = code + method[has]
        unknown = self._sds.free[method]
        free[place[0][unknown], place[1][unknown], self._offset[rows][unknown]] = True
        return columns, free, error

    def _phi_now(self, rows: Whole, b: Whole, mark: Whole, shape: tuple[int, int, int]) -> Array:
        """Shapes at the marks as the method of the case's newest counting visit sees them."""
        newest = latest_method(b, self._visit[rows], self._rows.method[rows], shape[0])
        phi = np.zeros(shape)
        phi[b, mark] = seen_by(self._marks, self._rows.mark[rows], newest[b])
        return phi


def _means(case: Whole, level: Whole, values: Array, shape: tuple[int, int]) -> Array:
    """Mean of the values on each level: taken off before the fit, as it costs digits and the levels are free."""
    flat = case * shape[1] + level
    count = np.bincount(flat, minlength=shape[0] * shape[1])
    total = np.bincount(flat, values, minlength=shape[0] * shape[1])
    return np.asarray((total / np.maximum(count, 1)).reshape(shape))
