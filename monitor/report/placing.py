"""Where each wall stands on the monthly list: one section each, by a written rule from verdict and findings."""

from collections.abc import Collection, Mapping, Sequence
from functools import cache

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.records import dataclass, replace
from monitor.report.context import Key, Row
from monitor.results import QUIET, Assessment
from monitor.terms import URGENCIES, Outcome, Rule, Urgency, Verdict

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


@dataclass(frozen=True)
class Item:
    """One wall's place on a list; alarms: findings of its newest period that ask for somebody, most urgent first."""

    section: str
    result: Row | None
    alarms: Sequence[Row]

    @property
    def is_open(self) -> bool:
        """Whether the wall asks for somebody."""
        return self.section in OPEN

    @property
    def true(self) -> frozenset[str]:
        """'moving', 'held' and 'overdue' where they are so, whatever section the wall stands in."""
        return _true(self.result or {}, {row["rule"] for row in self.alarms if row["outcome"] == Outcome.YES})

    @property
    def urgency(self) -> int:
        """Place of the most urgent finding; walls without one come last."""
        return min((URGENCIES.index(row["urgency"]) for row in self.alarms), default=len(URGENCIES))

    @property
    def consequence(self) -> float:
        """Share of the limit of total deflection used a year from now at the rate shown; orders a list, no more."""
        row = self.result
        if row is None or not row["total_limit_mm"]:
            return 0.0
        return float(
            (max(row["total_mm"] or 0.0, 0.0) + max(row["rate_mm_per_year"] or 0.0, 0.0)) / row["total_limit_mm"]
        )


def items(
    assessment: Assessment,
    earlier: Assessment | None = None,
    *,
    also: Collection[Key] = (),
    only: Collection[Key] | None = None,
) -> dict[Key, Item]:
    """The place on an assessment's list of every wall that may stand in a section; of the others no row is made.

    earlier: the last list, which decides what is newly holding. also: judged walls that are wanted wherever they stand.
    only: those alone are wanted, wherever they stand.
    """
    results, asks = assessment.wall_results.filter(_IS_CURRENT), assessment.findings.filter(_ASKS)
    if only is None:
        results = results.filter(_may_stand(results, asks, earlier, also))
    else:
        results, asks = (rows.filter(_is_of(rows, _keys(only))) for rows in (results, asks))
    current = {(row["house"], row["wall"]): row for row in schema.rows(results)}
    newly = dict(zip(current, _is_new(results, earlier).to_pylist(), strict=True))
    alarms: dict[Key, list[Row]] = {}
    for row in schema.rows(asks):
        key = (row["house"], row["wall"])
        if key not in current or row["period"] == current[key]["period"]:
            alarms.setdefault(key, []).append(row)
    placed = {}
    for key in sorted(current.keys() | alarms.keys()):
        found = sorted(alarms.get(key, []), key=lambda row: (URGENCIES.index(row["urgency"]), row["rule"]))
        placed[key] = Item(_section(current.get(key), found, newly.get(key, False)), current.get(key), found)
    return placed


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
    return found | {key: item.section for key, item in items(assessment, only=walls).items()}


def hard_limit(alarms: Sequence[Row]) -> Row | None:
    """The first of a wall's findings that is a hard limit, or a held reading that could hide one; None without one."""
    for row in alarms:
        hides = row["rule"] == Rule.HELD and row["urgency"] in (Urgency.KEEP_OUT, Urgency.SAME_DAY)
        if hides or (row["rule"] in HARD and row["outcome"] == Outcome.YES):
            return row
    return None


def open_places(assessment: Assessment, only: Collection[Key] | None = None) -> dict[Key, str]:
    """Section of every wall that asks for somebody, or of those of some walls only."""
    return {key: item.section for key, item in items(briefly(assessment), only=only).items() if item.is_open}


def briefly(assessment: Assessment) -> Assessment:
    """An assessment with no more of its rows than tells where walls stand."""
    return replace(assessment, **{name: getattr(assessment, name).select(names) for name, names in COLUMNS.items()})


def named(assessment: Assessment, earlier: Assessment | None = None, also: Collection[Key] = ()) -> list[Key]:
    """The walls that `items` would place, told without a row made of them."""
    results, asks = assessment.wall_results.filter(_IS_CURRENT), assessment.findings.filter(_ASKS)
    results = results.filter(_may_stand(results, asks, earlier, also))
    rows = pa.concat_tables([rows.select(["house", "wall"]) for rows in (results, asks)]).group_by(["house", "wall"])
    found = rows.aggregate([])
    return sorted(zip(found["house"].to_pylist(), found["wall"].to_pylist(), strict=True))


def _keys(walls: Collection[Key]) -> pa.Array:
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


def _true(row: Row, rules: Collection[str]) -> frozenset[str]:
    held, overdue = Rule.HELD in rules or row.get("readings_held"), Rule.OVERDUE in rules or row.get("overdue_days")
    return _named(row.get("verdict") == Verdict.MOVING, bool(held), bool(overdue))


@cache
def _named(moving: bool, held: bool, overdue: bool) -> frozenset[str]:
    """One set for all walls of which the same is true."""
    return frozenset(name for name, is_so in (("moving", moving), ("held", held), ("overdue", overdue)) if is_so)


def _section(row: Row | None, alarms: Sequence[Row], is_new: bool) -> str:
    rules = {alarm["rule"] for alarm in alarms if alarm["outcome"] == Outcome.YES}
    unclear = any(alarm["rule"] in HARD and alarm["outcome"] == Outcome.UNDECIDED for alarm in alarms)
    verdict, true = row["verdict"] if row else "", _true(row or {}, rules)
    if hard_limit(alarms):
        return "hard"
    if "moving" in true:
        return "moving"
    if verdict == Verdict.LOOK_AGAIN or Rule.FAST in rules or unclear:
        return "again"
    for name in ("held", "overdue"):
        if name in true:
            return name
    return "newly" if is_new else _quiet(verdict)


def _quiet(verdict: str) -> str:
    return "holding" if verdict == Verdict.HOLDING else "early"
