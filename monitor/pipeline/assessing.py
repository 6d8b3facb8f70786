"""The stored readings to an assessment: the only place where the store meets the trend room."""

from collections.abc import Callable, Iterable
from datetime import date, datetime
from hashlib import sha256

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.config import Settings, Variances
from monitor.errors import NotFoundError
from monitor.pipeline.frames import frame, table
from monitor.results import Assessment
from monitor.store import Store
from monitor.trend import plan
from monitor.trend.assess import assess as assess_walls

Progress = Callable[[int, int], None]

_COLD = ("cold", "frost", "freez")


def assess(
    store: Store, *, judged_on: date, known_on: datetime, save: bool = True, progress: Progress | None = None
) -> Assessment:
    """Assess every wall with a visit up to `judged_on`, from what was known at `known_on`; saved unless told not to."""
    settings = settings_on(store, judged_on, known_on)
    register = {name: store.current(name, known_on=known_on) for name in ("walls", "marks", "events")}
    cold = cold_houses(store.current("houses", known_on=known_on))
    buckets = list(store.buckets())
    parts: dict[str, list[pd.DataFrame]] = {name: [] for name in schema.RESULTS}
    for done, bucket in enumerate(buckets, start=1):
        keys = set(bucket)
        readings = store.readings(known_on=known_on, walls=keys)
        readings = readings.filter(pc.less_equal(readings["visit_date"], pa.scalar(judged_on, pa.date32())))
        walls, marks, events = (frame(of_walls(register[name], keys)) for name in ("walls", "marks", "events"))
        results = assess_walls(frame(readings), walls, marks, events, settings, judged_on, cold=cold)
        for name, part in results.items():
            parts[name].append(part)
        if progress:
            progress(done, len(buckets))
    frames = {name: pd.concat(found, ignore_index=True) for name, found in parts.items() if found}
    if frames:
        frames["plan"] = plan.ranked(frames["plan"], frames["wall_results"], frames["findings"])
    done_tables = {name: table(name, frames[name]) if name in frames else schema.empty(name) for name in parts}
    assessment = Assessment(
        judged_on=judged_on,
        known_until=known_on,
        settings_sha256=sha256(settings.model_dump_json().encode()).hexdigest(),
        facts_sha256=store.facts_sha256(known_on=known_on),
        **{name: _in_order(found) for name, found in done_tables.items()},
    )
    if save:
        store.save_assessment(assessment)
    return assessment


def settings_on(store: Store, day: date, known_on: datetime | None = None) -> Settings:
    """The company's settings with the thresholds that hold on a day and the variances last estimated."""
    settings = store.settings().model_copy(update={"rules": store.rules_on(day, known_on=known_on)})
    rows = store.facts("variances", known_on=known_on).sort_by("known_at").to_pylist()
    if not rows:
        return settings
    return settings.model_copy(update={"variances": Variances.model_validate_json(rows[-1]["values"])})


def cold_houses(houses: pa.Table) -> set[str]:
    """Houses whose climate, as written, tells of cold or frost."""
    rows = zip(houses["house"].to_pylist(), houses["climate"].to_pylist(), strict=True)
    return {house for house, climate in rows if any(word in (climate or "").lower() for word in _COLD)}


def of_walls(rows: pa.Table, keys: Iterable[tuple[str, str]]) -> pa.Table:
    """Rows of a table that belong to those walls."""
    wanted = set(keys)
    mine = [key in wanted for key in zip(rows["house"].to_pylist(), rows["wall"].to_pylist(), strict=True)]
    return rows.filter(pa.array(mine, pa.bool_()))


def newest(store: Store, month: str | None = None) -> Assessment:
    """The newest assessment, or the newest judged in a month (`2026-04`); NotFoundError where there is none."""
    days = [day for day in store.assessments() if month is None or day.isoformat().startswith(month)]
    found = store.assessment(max(days)) if days else None
    if found is None:
        raise NotFoundError(
            f"There is no assessment{f' of {month}' if month else ''} in this store.",
            got=", ".join(day.isoformat() for day in store.assessments()) or "none",
            mend="Run `wallbow assess` first" + (f" with --on and a day of {month}." if month else "."),
        )
    return found


def _in_order(results: pa.Table) -> pa.Table:
    keys = ("house", "wall", "period", "mark", "stretch", "visit_date", "part", "method", "rule", "reading_id")
    return results.sort_by([(name, "ascending") for name in keys if name in results.column_names])
