"""The company's own repeatability: variances estimated from its stored walls, kept in the store as a fact."""

import json
from datetime import date, datetime
from random import Random
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
from msgspec import structs

from monitor import schema
from monitor.config import Settings
from monitor.documents import checked, to_json, values_of
from monitor.pipeline.assessing import of_walls, settings_on
from monitor.records import dataclass
from monitor.store import Store
from monitor.terms import State
from monitor.trend import reml, screening, suspects, technicians
from monitor.trend.cases import Cases, build
from monitor.trend.portfolio import fitted

SEED = 1
"""Of the sample of walls: the same facts give the same estimates."""

_REGISTER = ("walls", "marks", "events")


@dataclass(frozen=True)
class Sample:
    """Cases of a random sample of the walls read, their readings, and the company's settings without estimates."""

    cases: Cases
    readings: pa.Table
    settings: Settings


def estimate(store: Store, *, judged_on: date, known_on: datetime, made_at: datetime) -> bool:
    """Estimate the variances from visits up to a day, as known at `known_on`, and keep them as known since `made_at`.

    False, and nothing is kept, where no reading counts yet: the defaults go on.
    """
    drawn = sample(store, judged_on=judged_on, known_on=known_on)
    if drawn is None:
        return False
    defaults = drawn.settings.variances
    found = reml.estimate(
        drawn.cases,
        defaults,
        seed=SEED,
        ruled=suspects.ruled(drawn.cases, drawn.readings),
        technician=technicians.technicians_of(drawn.cases, drawn.readings),
    )
    if not found.walls:
        return False
    behind = {
        "defaults": values_of(defaults),
        "by_method": {method: {"walls": walls, "setups": n} for method, (walls, n) in found.by_method.items()},
        "log_se": {name: round(se, 4) for name, se in found.log_se.items()},
    }
    row = {
        "estimated_on": judged_on,
        "walls": found.walls,
        "readings": found.readings,
        "values": to_json(checked(found.variances)),
        "behind": json.dumps(behind),
        "known_at": made_at,
    }
    store.add("variances", pa.Table.from_pylist([row], schema=schema.VARIANCES))
    return True


def sample(store: Store, *, judged_on: date, known_on: datetime, most: int = reml.SAMPLE) -> Sample | None:
    """A random sample of at most so many walls with a used reading; None where no wall has one."""
    registered = store.current("walls", known_on=known_on)
    every = sorted(zip(registered["house"].to_pylist(), registered["wall"].to_pylist(), strict=True))
    Random(SEED).shuffle(every)
    parts: list[pa.Table] = []
    found: set[tuple[str, str]] = set()
    for start in range(0, len(every), most):
        keys = every[start : start + most]
        rows = store.readings(known_on=known_on, walls=keys)
        rows = rows.filter(pc.less_equal(rows["visit_date"], pa.scalar(judged_on, pa.date32())))
        used = rows.filter(pc.equal(rows["state"], State.USED.value))
        read = set(zip(used["house"].to_pylist(), used["wall"].to_pylist(), strict=True))
        taken = [key for key in keys if key in read][: most - len(found)]
        found |= set(taken)
        parts.append(of_walls(rows, taken))
        if len(found) >= most:
            break
    if not found:
        return None
    settings = structs.replace(store.settings(), rules=store.rules_on(judged_on, known_on=known_on))
    readings = pa.concat_tables(parts)
    walls, marks, events = (store.current(name, known_on=known_on, walls=sorted(found)) for name in _REGISTER)
    return Sample(build(readings, walls, marks, events, settings.rules, judged_on), readings, settings)


def by_technician(store: Store, *, judged_on: date, known_on: datetime) -> list[dict[str, Any]]:
    """How far each technician's set-ups stand from the others' on the same walls, as technicians.table; private."""
    drawn = sample(store, judged_on=judged_on, known_on=known_on)
    if drawn is None:
        return []
    variances = settings_on(store, judged_on, known_on).variances
    screened = screening.screen(drawn.cases, variances, suspects.ruled(drawn.cases, drawn.readings))
    cases = screening.without(drawn.cases, screened)
    who = technicians.technicians_of(cases, drawn.readings)
    told = technicians.joined([technicians.sums(cases, done, who) for done in fitted(cases, variances)])
    rows: list[dict[str, Any]] = technicians.table(cases, told, technicians.names(drawn.readings)).to_pylist()
    return rows
