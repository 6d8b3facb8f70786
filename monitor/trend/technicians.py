"""Whose set-ups stand apart: what each technician's set-ups read further in than the others' on the same walls.

Beside the wall's whole model stands one column c: 1 where the technician read by the method. With P of the wall's
readings (levels, rates, local deviations and cycle taken out) c'Py / c'Pc estimates by how much those set-ups stand
further in than all others by that method, with variance 1 / c'Pc. Sums of c'Py and c'Pc over walls, each over its own
residual scale, merge by adding. What cannot be told has c'Pc = 0 by the algebra: a constant bias of the only reader of
a wall drops into the levels, and offsets of unknown size (plumb, laser) take up any bias of the person.
"""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from monitor.records import dataclass, fields, replace
from monitor.schema.arrays import array_of
from monitor.terms import Method
from monitor.trend import columns, special
from monitor.trend.cases import Cases, packed
from monitor.trend.coded import method_words
from monitor.trend.columns import Array, Flags, Whole
from monitor.trend.information import KEPT, accumulate
from monitor.trend.portfolio import Fitted
from monitor.trend.variances import METHODS

NOTE_MM = 1.0
"""Set-ups that stand apart by less are not mentioned (common practice, no source)."""
NOTE_CHANCE = 0.01
"""Chance that a wall read by technicians who are all alike is given a note, shared by all of its pairs."""
LEAST_SHARE = 0.05
"""A technician of whom a wall keeps less of the information than its bare set-ups hold is not told apart there."""
LEAST_SETUPS = 2
"""A note asks for this many set-ups by the technician and by others: one alone is as well a bad set-up as a habit."""
LEAST_CHANCE = 1e-300
"""Chances below this are all alike."""
_TIES = 6

_BY = {Method.STRING: "string line", Method.PLUMB: "plumb line", Method.LASER: "laser", Method.METER: "distance meter"}


@dataclass(frozen=True)
class Told:
    """What walls tell of technicians: one entry per case, method and technician that can be told apart; all (told,).

    setups, others: set-ups by the technician, and by others of the same method; information c'Pc and told c'Py before
    moderation (1/mm^2 and 1/mm); scale_sum and dof of the case's residual scale.
    """

    case: Whole
    method: Whole
    technician: Whole
    setups: Whole
    others: Whole
    information: Array
    told: Array
    scale_sum: Array
    dof: Array

    def __len__(self) -> int:
        return len(self.case)

    def take(self, which: Whole | Flags) -> "Told":
        """Some of them."""
        return replace(self, **{each.name: getattr(self, each.name)[which] for each in fields(self)})


@dataclass(frozen=True)
class Apart:
    """How far set-ups stand apart: offset_mm, its se_mm and the two-sided chance `p` of as much; all (told,)."""

    offset_mm: Array
    se_mm: Array
    p: Array


def names(readings: pa.Table) -> pa.Array:
    """Technicians of the readings, by number."""
    return columns.distinct(readings["technician"])


def technicians_of(cases: Cases, readings: pa.Table) -> Whole:
    """Number of the technician of each row of Cases.rows, -1 where none is named."""
    number = columns.codes(readings["technician"], names(readings))[cases.rows.reading]
    unnamed = columns.is_text(readings["technician"], "")[cases.rows.reading]
    return np.where(unnamed, -1, number)


def shared(cases: Cases, technician: Whole) -> Flags:
    """Whether several people, or a named one and nobody, read a case by one method (cases,): else nothing is told."""
    rows, count = cases.rows, len(cases.table)
    if not len(rows) or technician.min() == technician.max():
        return np.zeros(count, dtype=bool)
    of = rows.case * len(METHODS) + rows.method
    least, most = np.full(count * len(METHODS), np.iinfo(np.intp).max), np.full(count * len(METHODS), -2)
    np.minimum.at(least, of[rows.counts], technician[rows.counts])
    np.maximum.at(most, of[rows.counts], technician[rows.counts])
    return np.asarray((least < most).reshape(count, len(METHODS)).any(axis=1))


def sums(cases: Cases, done: Fitted, technician: Whole) -> Told:
    """What a block's walls tell of technicians. technician: of each row of Cases.rows."""
    block = done.block
    b, visit, slot = block.place
    who, method, setup = (each[block.rows] for each in (technician, cases.rows.method, cases.rows.setup))
    if not len(who) or who.min() == who.max():
        return joined([])
    key = packed(b, method, who)
    placings = np.unique(packed(key, setup), return_index=True)[1]
    pairs, first, setups = np.unique(key[placings], return_index=True, return_counts=True)
    row = placings[first]
    of_method = np.unique(packed(b[row], method[row]), return_inverse=True)[1]
    others = np.bincount(of_method, setups)[of_method].astype(np.intp) - setups
    shared = (others > 0) & (who[row] >= 0)
    pairs, row, setups, others = pairs[shared], row[shared], setups[shared], others[shared]
    if not len(row):
        return joined([])
    chosen, case = np.unique(b[row], return_inverse=True)
    column = np.arange(len(row)) - np.searchsorted(case, case)
    people = np.zeros((len(chosen), *block.weight.shape[1:], int(column.max()) + 1))
    at = np.searchsorted(pairs, key)
    own = np.append(pairs, -1)[at] == key
    at = at[own]
    people[case[at], visit[own], slot[own], column[at]] = 1
    bare, information, told = (each[case, column] for each in _eliminated(done, chosen, people))
    found = Told(
        case=block.cases[b[row]],
        method=method[row],
        technician=who[row],
        setups=setups,
        others=others,
        information=information,
        told=told,
        scale_sum=done.scale.sum[b[row]],
        dof=done.scale.dof[b[row]],
    )
    return found.take(information > LEAST_SHARE * bare)


def joined(parts: Sequence[Told]) -> Told:
    """The sums of several blocks, of one machine or of several, in one."""
    none = np.zeros(0, dtype=np.intp)
    nothing = Told(none, none, none, none, none, *(np.zeros(0) for _ in range(4)))
    every = {each.name: [getattr(part, each.name) for part in (nothing, *parts)] for each in fields(Told)}
    return Told(**{name: np.concatenate(values) for name, values in every.items()})


def _eliminated(done: Fitted, chosen: Whole, people: Array) -> tuple[Array, Array, Array]:
    """Of the chosen cases c'R^-1 c, c'Pc and c'Py for each column c of `people` (chosen, V, N, K)."""
    block, estimate, k = done.block, done.fit.estimate, people.shape[-1]
    stacked = np.concatenate([people, block.design[chosen], block.deflection[chosen][..., None]], axis=-1)
    cross = accumulate(stacked, block.weight[chosen], block.columns[chosen], block.free[chosen]).total().cross
    bare, on_theta = np.diagonal(cross[:, :k, :k], axis1=-2, axis2=-1), cross[:, :k, k:-1]
    used = ((on_theta @ estimate.covariance[chosen]) * on_theta).sum(axis=-1)
    told = cross[:, :k, -1] - (on_theta @ estimate.theta[chosen][..., None])[..., 0]
    return bare, bare - used, told


def apart(told: Told) -> Apart:
    """How far each stands apart.

    The residual scale is that without what the technician explains, so that a true habit does not hide itself.
    """
    offset = told.told / told.information
    rest = np.maximum(told.scale_sum - told.told**2 / told.information, KEPT)
    se = np.sqrt(rest / (told.dof - 1) / told.information)
    return Apart(offset, se, np.asarray(2 * special.stdtr(told.dof - 1, -np.abs(offset / se))))


def notes(cases: Cases, told: Told) -> pa.Array:
    """One sentence for each case where one technician's set-ups stand apart, '' for the others (cases,).

    From the wall's own readings only, so that no other wall changes it; role words, no person.
    """
    found, by = shown(told)
    said = np.full(len(cases.table), "", dtype=object)
    said[found.case] = [
        _sentence(*row) for row in zip(found.method, by.offset_mm, by.se_mm, found.setups, found.others, strict=True)
    ]
    return pa.array(said.tolist(), pa.string())


def shown(told: Told) -> tuple[Told, Apart]:
    """Of each case the technician whose set-ups are shown to stand apart, and how far; nobody where nobody's are."""
    by = apart(told)
    far = (np.abs(by.offset_mm) >= NOTE_MM) & (by.p * _asked(told) <= NOTE_CHANCE)
    enough = (told.setups >= LEAST_SETUPS) & (told.others >= LEAST_SETUPS)
    # two by themselves have one p but for its last digits, and either may be named: the one who stands further in
    rarity = np.log(np.maximum(by.p, LEAST_CHANCE)).round(_TIES)
    found = np.flatnonzero(far & enough)
    chosen = found[columns.leaders(told.case[found], rarity[found], -by.offset_mm[found])]
    return told.take(chosen), Apart(by.offset_mm[chosen], by.se_mm[chosen], by.p[chosen])


def _asked(told: Told) -> Whole:
    """Number of questions asked of each one's case: two who differ from each other are one question, asked twice."""
    size = int(told.case.max(initial=-1)) + 1
    methods = np.unique(packed(told.case, told.method), return_index=True)[1]
    asked = np.bincount(told.case, minlength=size) - np.bincount(told.case[methods], minlength=size)
    return np.asarray(np.maximum(asked, 1)[told.case])


def without(cases: Cases, told: Told, technician: Whole) -> Cases:
    """The cases with what is shown of a technician taken off that person's readings: no habit widens set-up errors."""
    habits, by = shown(told)
    rows, count = cases.rows, len(habits)
    key = packed(*(np.append(*both) for both in (
        (habits.case, rows.case), (habits.method, rows.method), (habits.technician, technician)
    )))  # fmt: skip
    found, place = np.unique(key, return_inverse=True)
    off = np.zeros(len(found))
    off[place[:count]] = by.offset_mm
    return replace(cases, rows=replace(rows, deflection_mm=rows.deflection_mm - off[place[count:]]))


def _sentence(method: int, offset_mm: float, se_mm: float, setups: int, others: int) -> str:
    way = "in" if offset_mm > 0 else "out"
    return (
        f"One technician's {setups} set-ups by {_BY[METHODS[method]]} stand {abs(offset_mm):.1f} mm further {way} "
        f"than the others' {others} on this wall (standard error {se_mm:.1f} mm): let two technicians read the same "
        "marks on one day."
    )


def table(cases: Cases, told: Told, names: pa.Array) -> pa.Table:
    """The company's technicians by method: method, technician, offset_mm, se_mm, walls, setups, others.

    offset_mm: how much further in their set-ups read than the others' on the same walls; each wall weighs by what it
    tells over its residual scale. Where somebody never shared a wall with others there is no row: nothing is known.
    names: of the technicians.
    """
    scale = told.scale_sum / told.dof
    group, first = columns.numbered(told.method, told.technician)
    walls = np.unique(packed(group, cases.table.wall[told.case]), return_index=True)[1]
    weight, pull, setups, others = (
        np.bincount(group, each, minlength=len(first))
        for each in (told.information / scale, told.told / scale, told.setups, told.others)
    )
    return pa.table(
        {
            "method": method_words(told.method[first]),
            "technician": names.take(array_of(told.technician[first])),
            "offset_mm": array_of(pull / weight),
            "se_mm": array_of(1 / np.sqrt(weight)),
            "walls": array_of(np.bincount(group[walls], minlength=len(first))),
            "setups": array_of(setups.astype(np.int64)),
            "others": array_of(others.astype(np.int64)),
        }
    )
