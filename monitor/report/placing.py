"""Where each wall stands on the monthly list: one section each, by a written rule from verdict and findings."""

from bisect import bisect_left
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.records import dataclass, replace
from monitor.report.context import Key, Row
from monitor.results import QUIET, Assessment
from monitor.terms import URGENCIES, Outcome, Rule, Urgency, Verdict

Flags = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
Numbers = npt.NDArray[np.int64]

HARD = (Rule.TOTAL, Rule.JUMP, Rule.SEEN)
SECTIONS = (
    ("hard", "Hard limits", "cross", "Act on one reading, whatever the trend says."),
    ("moving", "Moving", "triangle", "The readings show a rate above the threshold."),
    ("again", "Look again", "diamond", "Not shown, not ruled out: a confirming visit with two set-ups."),
    ("held", "Held readings", "ring", "Readings wait for somebody to release, correct or reject them."),
    ("overdue", "Overdue", "clock", "Nothing is known since the last visit."),
    ("newly", "Newly holding", "square", "Holding now, not holding on the last list; it asks for nobody."),
)
"""(name, heading, shape, what it holds), in the order in which a wall is placed: the first that fits."""
REST = {"holding": "Holding, nothing asked", "early": "Too early to say, nothing asked"}
"""Walls that stand in no section."""
OPEN = ("hard", "moving", "again", "held", "overdue")
"""Sections whose walls ask for somebody."""
SPOKEN: Mapping[str, str] = {name: heading.lower() for name, heading, *_ in SECTIONS} | {
    "holding": "holding",
    "early": "too early to say",
}
"""Every place on the list by name, as a sentence names it."""
_NAMES = tuple(SPOKEN)
_AT_ONCE = 1024
"""Walls of which rows are made at a time."""
_WALL = ["house", "wall"]
_HIDES = (Urgency.KEEP_OUT, Urgency.SAME_DAY)
"""A held reading that is so urgent could hide a hard limit."""

_ASKS = (pc.field("outcome") == Outcome.YES.value) | (
    (pc.field("outcome") == Outcome.UNDECIDED.value) & (pc.field("urgency") != Urgency.NONE.value)
)
"""Findings that ask for somebody: those that came out yes, or are undecided and still have an urgency."""
_HOLDS = pc.field("verdict") == Verdict.HOLDING.value
_IS_CURRENT = pc.field("is_current")
_SHOWS = pc.field("verdict").isin([Verdict.MOVING.value, Verdict.LOOK_AGAIN.value]) | (
    (pc.field("readings_held") != 0) | (pc.field("overdue_days") != 0)
)
"""Results of a newest period that by themselves make a wall ask for somebody; what is not known does not."""
COLUMNS: Mapping[str, Sequence[str]] = {
    "wall_results": ("house", "wall", "period", "is_current", "verdict", "readings_held", "overdue_days"),
    "findings": ("house", "wall", "period", "rule", "outcome", "urgency"),
}
"""What of an assessment's tables tells where walls stand."""
HAVING = {"wall_results": _IS_CURRENT, "findings": _ASKS}
"""Their rows that tell it."""


@dataclass(frozen=True, slots=True)
class Item:
    """One wall's place on a list; alarms: findings of its newest period that ask for somebody, most urgent first."""

    section: str
    result: Row | None
    alarms: Sequence[Row]

    @property
    def is_open(self) -> bool:
        """Whether the wall asks for somebody."""
        return self.section in OPEN


class Places(Mapping[Key, Item]):
    """Where walls stand on a list, in the order of their keys: columns of all, and an `Item` of whichever is asked for.

    walls: their houses and names, a row each. section: numbers of places in SPOKEN. true: whether each is 'moving',
    'held' and 'overdue', whatever section it stands in. urgency: the place of its most urgent finding in URGENCIES,
    their number where there is none.
    """

    def __init__(self, results: pa.Table, asks: pa.Table, is_new: pa.Array) -> None:
        """results, asks: rows of the newest periods and findings that ask; is_new: which of results newly hold."""
        self._results, self._asks = results, asks
        told, rows = results.select(COLUMNS["wall_results"]), asks.select(COLUMNS["findings"])
        self.walls = pa.concat_tables([each.select(_WALL) for each in (told, rows)]).group_by(_WALL).aggregate([])
        self.walls = self.walls.sort_by([(name, "ascending") for name in _WALL]).combine_chunks()
        keys = schema.wall_keys(self.walls)
        self._result = numbers(pc.index_in(keys, value_set=schema.wall_keys(told)))
        self._alarm, self._begins, self.urgency = _sorted(rows, keys, told, self._result)
        self.true, self.section = _sections(told, rows, is_new, self._result, self._alarm, self._begins)

    def __len__(self) -> int:
        """How many walls are placed."""
        return int(self.walls.num_rows)

    def __iter__(self) -> Iterator[Key]:
        """Their keys in order."""
        for start in range(0, len(self), _AT_ONCE):
            some = self.walls.slice(start, _AT_ONCE)
            yield from zip(some["house"].to_pylist(), some["wall"].to_pylist(), strict=True)

    def __getitem__(self, key: Key) -> Item:
        """The place of one wall, looked up alone; KeyError where it is not placed."""
        return self.at(np.array([self.number_of(key)]))[0][1]

    def pairs(self) -> Iterator[tuple[Key, Item]]:
        """Every wall with its place; some in memory at a time."""
        for start in range(0, len(self), _AT_ONCE):
            yield from self.at(np.arange(start, min(start + _AT_ONCE, len(self))))

    def number_of(self, key: Key) -> int:
        """The number of a wall among these; KeyError where it is not placed."""
        houses, walls = self.walls["house"], self.walls["wall"]
        at = bisect_left(range(len(self)), key, key=lambda number: (houses[number].as_py(), walls[number].as_py()))
        if at == len(self) or (houses[at].as_py(), walls[at].as_py()) != key:
            raise KeyError(key)
        return int(at)

    def numbers_of(self, others: pa.Table) -> Numbers:
        """For each row of a table with house and wall the number of its wall among these, -1 for one not placed."""
        return numbers(pc.index_in(schema.wall_keys(others), value_set=schema.wall_keys(self.walls)))

    def at(self, numbers: Numbers) -> list[tuple[Key, Item]]:
        """Some walls with their places."""
        keys = self.walls.take(pa.array(numbers)).to_pydict()
        at = self._result[numbers]
        results = iter(schema.rows(self._results.take(pa.array(at[at >= 0]))))
        spans = list(zip(self._begins[numbers].tolist(), self._begins[numbers + 1].tolist(), strict=True))
        alarms = schema.rows(self._asks.take(pa.array(_of_spans(self._alarm, spans))))
        found, done = [], 0
        for house, wall, number, row, (start, end) in zip(
            keys["house"], keys["wall"], self.section[numbers].tolist(), at.tolist(), spans, strict=True
        ):
            mine = alarms[done : done + end - start]
            done += end - start
            found.append(((house, wall), Item(_NAMES[number], next(results) if row >= 0 else None, mine)))
        return found

    @property
    def is_open(self) -> Flags:
        """Which walls ask for somebody."""
        found: Flags = self.section < len(OPEN)
        return found

    def standing(self, section: str) -> Numbers:
        """The numbers of the walls that stand in one place."""
        found: Numbers = np.flatnonzero(self.section == _NAMES.index(section))
        return found

    def sections(self, which: Flags) -> dict[Key, str]:
        """Some of the walls, and where they stand."""
        some = self.walls.filter(pa.array(which))
        names = [_NAMES[number] for number in self.section[which].tolist()]
        return dict(zip(zip(some["house"].to_pylist(), some["wall"].to_pylist(), strict=True), names, strict=True))

    def count(self) -> dict[str, int]:
        """How many walls stand in each place that any stands in."""
        numbers = np.bincount(self.section, minlength=len(_NAMES)).tolist()
        return {name: number for name, number in zip(_NAMES, numbers, strict=True) if number}

    def of_results(self, column: str) -> list[Any]:
        """A column of the walls' results, None where a wall has none."""
        at = pa.array(self._result, mask=self._result < 0)
        found: list[Any] = self._results[column].take(at).to_pylist()
        return found

    def consequence(self) -> Floats:
        """Share of the limit of total deflection used a year from now at the rate shown; orders a list, no more."""
        total, limit, rate = (
            _floats(self._results[name]) for name in ("total_mm", "total_limit_mm", "rate_mm_per_year")
        )
        known = limit != 0.0
        used = np.zeros(len(limit))
        np.divide(np.maximum(total, 0.0) + np.maximum(rate, 0.0), limit, out=used, where=known)
        return np.append(used, 0.0)[self._result]  # the last one is that of walls without a result


def items(
    assessment: Assessment,
    earlier: Assessment | None = None,
    *,
    also: Collection[Key] = (),
    only: Collection[Key] | None = None,
) -> Places:
    """The place on an assessment's list of every wall that may stand in a section; of the others nothing is kept.

    earlier: the last list, which decides what is newly holding. also: judged walls that are wanted wherever they stand.
    only: those alone are wanted, wherever they stand.
    """
    results, asks = assessment.wall_results.filter(_IS_CURRENT), assessment.findings.filter(_ASKS)
    if only is None:
        results = results.filter(_may_stand(results, asks, earlier, also))
    else:
        results, asks = (rows.filter(_is_of(rows, _keys(only))) for rows in (results, asks))
    return Places(results.combine_chunks(), asks.combine_chunks(), _is_new(results, earlier))


def _sorted(asks: pa.Table, keys: pa.Array, results: pa.Table, result: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """Findings by wall, most urgent first: their rows, where those of each wall begin, and its most urgent.

    Of a wall that has a result only findings of the period of that one count.
    """
    urgency = numbers(pc.index_in(asks["urgency"], value_set=pa.array(URGENCIES, pa.string())))
    owner = numbers(pc.index_in(schema.wall_keys(asks), value_set=keys))
    period, newest = (numbers(rows["period"]) for rows in (asks, results))
    of = result[owner]
    counts = np.ones(len(owner), bool) if not len(newest) else (of < 0) | (period == newest[of])
    rows = pa.table({"owner": owner, "urgency": urgency, "rule": asks["rule"]})
    order = np.asarray(pc.sort_indices(rows, sort_keys=[(name, "ascending") for name in rows.column_names]))
    order = order[counts[order]]
    begins = np.searchsorted(owner[order], np.arange(len(keys) + 1))
    most = np.append(urgency[order], 0)[begins[:-1]]
    return order, begins, np.where(np.diff(begins) > 0, most, len(URGENCIES))


def _sections(
    results: pa.Table, asks: pa.Table, is_new: pa.Array, result: Numbers, alarm: Numbers, begins: Numbers
) -> tuple[Mapping[str, Flags], Numbers]:
    """Of what each wall's sections are true, and the one that it stands in: the first that fits."""
    owner = np.repeat(np.arange(len(result)), np.diff(begins))
    asks = asks.take(pa.array(alarm))

    def any_of(rules: Collection[str], column: str, values: Collection[str]) -> Flags:
        """Which walls have a finding by one of the rules with one of the values in a column."""
        found = np.zeros(len(result), bool)
        found[owner[_flags(pc.and_(_is_one(asks["rule"], rules), _is_one(asks[column], values)))]] = True
        return found

    def of_result(flags: pa.Array) -> Flags:
        return np.append(_flags(flags), False)[result]

    yes = ("outcome", (Outcome.YES,))
    moving = of_result(_is_one(results["verdict"], (Verdict.MOVING,)))
    held = any_of((Rule.HELD,), *yes) | of_result(pc.not_equal(results["readings_held"], 0))
    overdue = any_of((Rule.OVERDUE,), *yes) | of_result(pc.not_equal(results["overdue_days"], 0))
    hard = any_of(HARD, *yes) | any_of((Rule.HELD,), "urgency", _HIDES)
    again = of_result(_is_one(results["verdict"], (Verdict.LOOK_AGAIN,)))
    again |= any_of((Rule.FAST,), *yes) | any_of(HARD, "outcome", (Outcome.UNDECIDED,))
    holding = of_result(_is_one(results["verdict"], (Verdict.HOLDING,)))
    first = np.select([hard, moving, again, held, overdue, of_result(is_new), holding], range(7), len(_NAMES) - 1)
    return {"moving": moving, "held": held, "overdue": overdue}, first


def _of_spans(values: Numbers, spans: Sequence[tuple[int, int]]) -> Numbers:
    return np.concatenate([values[start:end] for start, end in spans]) if spans else values[:0]


def _is_one(column: pa.ChunkedArray, values: Collection[str]) -> pa.ChunkedArray:
    return pc.is_in(column, value_set=pa.array([str(value) for value in values], pa.string()))


def numbers(column: pa.Array | pa.ChunkedArray) -> Numbers:
    """Whole numbers, -1 where none is known."""
    return np.asarray(pc.fill_null(column, -1).cast(pa.int64()), dtype=np.int64)


def _floats(column: pa.ChunkedArray) -> Floats:
    """Numbers, 0 where none is known."""
    return np.asarray(pc.fill_null(column, 0.0), dtype=np.float64)


def _flags(column: pa.Array | pa.ChunkedArray) -> Flags:
    """Which are so; what is not known is not."""
    return np.asarray(pc.fill_null(column, False).cast(pa.int8()), dtype=np.int8).astype(bool)


def quiet(assessment: Assessment, placed: Collection[Key]) -> pa.Table:
    """House, wall and verdict of the judged walls of an assessment that are not among those placed (by `items`)."""
    rows = pa.concat_tables([assessment.wall_results.filter(_IS_CURRENT).select(QUIET), assessment.quiet])
    return rows.filter(pc.invert(_is_of(rows, _keys(placed))))


def rest(assessment: Assessment, placed: Collection[Key]) -> dict[str, int]:
    """How many of these walls stand in each of REST."""
    others = quiet(assessment, placed)
    holding = others.filter(_HOLDS).num_rows
    return {"holding": holding, "early": others.num_rows - holding}


def unjudged(registered: pa.Array, assessment: Assessment) -> int:
    """How many of some walls (schema.wall_key) an assessment says nothing of."""
    judged = [schema.wall_keys(quiet(assessment, ())), schema.wall_keys(assessment.findings.filter(_ASKS))]
    return len(registered.filter(pc.invert(pc.is_in(registered, value_set=pa.concat_arrays(judged)))))


def sections(assessment: Assessment, walls: Collection[Key]) -> dict[Key, str]:
    """Where those of some walls stand that were judged, whether or not their rows were left out."""
    left = assessment.quiet.filter(_is_of(assessment.quiet, _keys(walls)))
    found = {(row["house"], row["wall"]): _quiet(row["verdict"]) for row in left.to_pylist()}
    placed = items(assessment, only=walls)
    return found | placed.sections(placed.section >= 0)


def hard_limit(alarms: Sequence[Row]) -> Row | None:
    """The first of a wall's findings that is a hard limit, or a held reading that could hide one; None without one."""
    for row in alarms:
        hides = row["rule"] == Rule.HELD and row["urgency"] in _HIDES
        if hides or (row["rule"] in HARD and row["outcome"] == Outcome.YES):
            return row
    return None


def open_places(assessment: Assessment, only: Collection[Key] | None = None) -> dict[Key, str]:
    """Section of every wall that asks for somebody, or of those of some walls only."""
    placed = items(briefly(assessment), only=only)
    return placed.sections(placed.is_open)


def briefly(assessment: Assessment) -> Assessment:
    """An assessment with no more of its rows than tells where walls stand."""
    return replace(assessment, **{name: getattr(assessment, name).select(names) for name, names in COLUMNS.items()})


def named(assessment: Assessment, earlier: Assessment | None = None, also: Collection[Key] = ()) -> list[Key]:
    """The walls that `items` would place, told without a row made of them."""
    return list(items(briefly(assessment), earlier, also=also))


def _keys(walls: Collection[Key]) -> pa.Array:
    if isinstance(walls, Places):
        return schema.wall_keys(walls.walls)
    return pa.array(map(schema.wall_key, walls), pa.string())


def _is_of(rows: pa.Table, keys: pa.Array) -> pa.Array:
    return pc.is_in(schema.wall_keys(rows), value_set=keys)


def _may_stand(results: pa.Table, asks: pa.Table, earlier: Assessment | None, also: Collection[Key]) -> pa.Array:
    """Which walls may stand in a section, or are wanted; results: of their newest periods."""
    shown = results.select(COLUMNS["wall_results"]).filter(_SHOWS)
    named = pa.concat_arrays([*map(schema.wall_keys, (shown, asks)), _keys(also)])
    return pc.or_(_is_of(results, named), _is_new(results, earlier))


def _is_new(results: pa.Table, earlier: Assessment | None) -> pa.Array:
    """Which walls hold and did not on the last list; none where there was none."""
    if earlier is None:
        return pa.repeat(pa.scalar(False), results.num_rows)
    before = quiet(earlier, ()).filter(_HOLDS)
    held = pc.fill_null(pc.equal(results["verdict"], Verdict.HOLDING.value), False)
    return pc.and_(held, pc.invert(_is_of(results, schema.wall_keys(before)))).combine_chunks()


def _quiet(verdict: str) -> str:
    return "holding" if verdict == Verdict.HOLDING else "early"
