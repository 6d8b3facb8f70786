"""What an alert can be about, as an assessment and the held readings show it now; nothing here knows what was told.

A thing to tell has a **place** (wall and kind) and an **about** (a period, a visit), which together name it whenever
somebody looks. It is **so**, **not so**, or undecided, as its rule came out; only what is shown not to be so is over.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date
from functools import cached_property
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from monitor.config import Rules
from monitor.pipeline.as_judged import as_judged
from monitor.records import dataclass, replace
from monitor.results import Assessment
from monitor.store import Store
from monitor.store.again import Again
from monitor.store.generations import Wall
from monitor.store.office import Row
from monitor.terms import AlertKind, LengthUnit, Outcome, Rule, State, Urgency
from monitor.trend.findings.waiting import far_inward
from monitor.trend.signs import held_by_visit

COLUMNS: Mapping[str, Sequence[str]] = {
    "wall_results": ("house", "wall", "period", "is_current", "last_visit", "due_on"),
    "findings": ("house", "wall", "period", "rule", "outcome", "urgency", "reason", "next_step"),
    "plan": ("house", "wall", "visit_on", "before_frost"),
}
"""Of the tables of an assessment what tells what there is."""
_KIND = {
    Rule.TOTAL: AlertKind.TOTAL,
    Rule.JUMP: AlertKind.JUMP,
    Rule.SEEN: AlertKind.SEEN,
    Rule.FAST: AlertKind.FAST,
    Rule.OVERDUE: AlertKind.OVERDUE,
}

Place = tuple[Wall, AlertKind]


@dataclass(frozen=True)
class Event:
    """One thing to tell: what it is about, the visit by which it came out, how urgent, what there is and what to do."""

    place: Place
    about: str
    began: date | None
    urgency: Urgency
    what: str
    next_step: str


@dataclass(frozen=True)
class Seen:
    """What was looked at: events that are so, and places at which it is shown that nothing is."""

    events: Mapping[tuple[Place, str], Event]
    over: frozenset[Place]
    whole: frozenset[AlertKind] = frozenset()
    """Kinds of which every place was looked at, so that what is not among the events is over."""

    def without(self, walls: Collection[Wall]) -> "Seen":
        """The same, but that some walls were not looked at."""
        events = {key: event for key, event in self.events.items() if event.place[0] not in walls}
        return replace(self, events=events, over=frozenset(place for place in self.over if place[0] not in walls))

    def ends(self, place: Place, about: str) -> bool:
        """Whether what was told of that place and about is no longer so, or something else of its kind is."""
        if (place, about) in self.events:
            return False
        return place in self._places or place in self.over or place[1] in self.whole

    @cached_property
    def _places(self) -> frozenset[Place]:
        return frozenset(place for place, _ in self.events)


def like(houses: Collection[str]) -> Mapping[str, pc.Expression]:
    """What the rows of an assessment are to be like that `of_assessment` looks at.

    houses: with alerts on record; of others it is nothing to know that something is not so.
    """
    outcome = pc.field("outcome")
    told = pc.field("house").isin(pa.array(sorted(houses), pa.string()))
    return {
        "wall_results": pc.field("is_current"),
        "findings": (outcome == Outcome.YES.value) | ((outcome == Outcome.NO.value) & told),
        "plan": pc.field("before_frost"),
    }


def of_assessment(assessment: Assessment, houses: Collection[str]) -> Seen:
    """Hard limits, movement shown and visits overdue before the frost, on the walls' newest periods.

    houses: as for `like`. Of the tables no more than COLUMNS is needed.
    """
    tables = {name: getattr(assessment, name).filter(rows) for name, rows in like(houses).items()}
    findings = tables["findings"].to_pylist()
    named = pa.array(sorted({finding["house"] for finding in findings}), pa.string())
    results = tables["wall_results"].filter(pc.field("house").isin(named)).to_pylist()
    frost = {(row["house"], row["wall"]): row["visit_on"] for row in tables["plan"].to_pylist()}
    return _seen(findings, results, frost)


def of_again(some: Sequence[Again]) -> Seen:
    """The same of walls that were assessed again, but for what the visit plan of all walls tells."""
    found = [row for each in some for row in each.table("findings").to_pylist()]
    findings = [row for row in found if row["outcome"] != Outcome.UNDECIDED]
    results = [row for each in some for row in each.table("wall_results").to_pylist() if row["is_current"]]
    return _seen(findings, results, {})


def _seen(findings: Sequence[Row], results: Sequence[Row], frost: Mapping[Wall, date]) -> Seen:
    current = {(row["house"], row["wall"]): row for row in results}
    found: list[Event] = []
    over: set[Place] = set()
    for finding in findings:
        key = (finding["house"], finding["wall"])
        row = current.get(key)
        if row is None or row["period"] != finding["period"]:
            continue
        rule = Rule(finding["rule"])
        if finding["outcome"] == Outcome.NO:
            over |= {(key, kind) for kind in _kinds(rule)}
        elif rule is not Rule.HELD and (rule is not Rule.OVERDUE or key in frost):
            found.append(_event(rule, finding, row, frost.get(key)))
    return Seen({(event.place, event.about): event for event in found}, frozenset(over))


def _kinds(rule: Rule) -> tuple[AlertKind, ...]:
    if rule is Rule.TREND:
        return (AlertKind.MOVING, AlertKind.REPAIR)
    return (_KIND[rule],) if rule in _KIND else ()


def _event(rule: Rule, finding: Row, row: Row, frost: date | None) -> Event:
    key = (row["house"], row["wall"])
    of_trend = AlertKind.REPAIR if row["period"] else AlertKind.MOVING
    kind = of_trend if rule is Rule.TREND else _KIND[rule]
    visit, began = f"visit {row['last_visit']}", row["last_visit"]
    about = {
        AlertKind.MOVING: f"period {row['period']}",
        AlertKind.REPAIR: f"period {row['period']}",
        AlertKind.FAST: f"period {row['period']}",
        AlertKind.JUMP: visit,
        AlertKind.SEEN: visit,
    }.get(kind, "")
    if kind is AlertKind.OVERDUE and frost is not None:
        about, began = f"{visit}, frost of {frost.year}", row["due_on"]
    return Event((key, kind), about, began, Urgency(finding["urgency"]), finding["reason"], finding["next_step"])


def of_held(store: Store, assessment: Assessment | None, rules: Rules, walls: Collection[Wall] | None = None) -> Seen:
    """Held readings that would lie far inward, one event a wall and visit, from all that is known now.

    assessment: the one whose likely misreads are held with those of the intake. walls: those to look at, where not all.
    """
    held = store.walls_with("readings", "state", [State.HELD.value], walls)  # maybe ruled on since: their readings tell
    held |= set(_walls(assessment.suspects)) if assessment else set()
    if walls is not None:
        looked = Seen({}, frozenset((wall, AlertKind.HELD) for wall in walls))
    else:
        looked = Seen({}, frozenset(), frozenset({AlertKind.HELD}))
    if not held:
        return looked
    readings = store.readings(walls=held)
    readings = as_judged(readings, assessment) if assessment else readings
    units = {(row["house"], row["wall"]): row["unit"] for row in store.current("walls", walls=held).to_pylist()}
    events = {}
    for (key, day), found in sorted(held_by_visit(readings).items(), key=str):
        far = far_inward(found, rules, units.get(key) or LengthUnit.INCH)
        if far is not None:
            what = f"Held and not used: {far.what}."
            event = Event((key, AlertKind.HELD), f"visit {day}", day, far.urgency, what, far.next_step)
            events[event.place, event.about] = event
    return replace(looked, events=events)


def _walls(rows: pa.Table) -> Iterator[Any]:
    return zip(rows["house"].to_pylist(), rows["wall"].to_pylist(), strict=True)
