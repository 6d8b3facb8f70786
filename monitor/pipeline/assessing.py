"""The stored readings to an assessment: the only place where the store meets the trend room."""

from collections.abc import Callable, Collection, Iterable
from datetime import date, datetime

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.config import Settings, Variances
from monitor.errors import NotFoundError, StoreError
from monitor.pipeline import runs
from monitor.pipeline.runs import Run
from monitor.results import Assessment
from monitor.store import Store

Progress = Callable[[int, int], None]

_COLD = ("cold", "frost", "freez")


def assess(
    store: Store,
    *,
    judged_on: date,
    known_on: datetime,
    save: bool = True,
    made_at: datetime | None = None,
    settings: Settings | None = None,
    progress: Progress | None = None,
    walls: Collection[tuple[str, str]] | None = None,
) -> Assessment:
    """Assess every wall with a visit up to `judged_on`, from what was known at `known_on`.

    Saved, and put on record as made at `made_at` (known_on where it is left out), unless told not to.
    settings: those to use in place of the company's on that day. walls: those alone, which is never saved; the numbers
    are those of an assessment of all, but for places in the visit plan.
    """
    settings = settings or settings_on(store, judged_on, known_on)
    register = {name: store.current(name, known_on=known_on) for name in ("walls", "marks", "events")}
    # The trend room loads where walls are fitted: whoever asks for what is on record needs none of it.
    import pandas as pd

    from monitor.pipeline.frames import frame, table
    from monitor.trend import plan
    from monitor.trend.assess import assess as assess_walls

    cold = cold_houses(store.current("houses", known_on=known_on))
    buckets = store.buckets(known_on) if walls is None else [list(walls)]
    parts: dict[str, list[pd.DataFrame]] = {name: [] for name in schema.RESULTS}
    for done, bucket in enumerate(buckets, start=1):
        keys = set(bucket)
        readings = store.readings(known_on=known_on, walls=keys)
        readings = readings.filter(pc.less_equal(readings["visit_date"], pa.scalar(judged_on, pa.date32())))
        rows_of = {name: frame(of_walls(rows, keys)) for name, rows in register.items()}
        results = assess_walls(
            frame(readings), rows_of["walls"], rows_of["marks"], rows_of["events"], settings, judged_on, cold=cold
        )
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
        settings_sha256=runs.settings_hash(settings),
        facts_sha256=store.facts_sha256(known_on=known_on),
        **{name: _in_order(found) for name, found in done_tables.items()},
    )
    if save and walls is None:
        store.save_assessment(assessment)
        runs.record(store, assessment, settings, made_at or known_on)
    return assessment


def settings_on(store: Store, day: date, known_on: datetime | None = None) -> Settings:
    """The company's settings with the thresholds that hold on a day and the variances last estimated."""
    settings = store.settings().model_copy(update={"rules": store.rules_on(day, known_on=known_on)})
    rows = store.facts("variances", known_on=known_on).sort_by("known_at").to_pylist()
    if not rows:
        return settings
    return settings.model_copy(update={"variances": Variances.model_validate_json(rows[-1]["values"])})


def settings_of(store: Store, run: Run) -> Settings:
    """The settings of a run; where they are not on record, those that hold on its day."""
    return runs.settings_of(store, run) or settings_on(store, run.judged_on, run.known_until)


def cold_houses(houses: pa.Table) -> set[str]:
    """Houses whose climate, as written, tells of cold or frost."""
    rows = zip(houses["house"].to_pylist(), houses["climate"].to_pylist(), strict=True)
    return {house for house, climate in rows if any(word in (climate or "").lower() for word in _COLD)}


def of_walls(rows: pa.Table, keys: Iterable[tuple[str, str]]) -> pa.Table:
    """Rows of a table that belong to those walls."""
    wanted = set(keys)
    mine = [key in wanted for key in zip(rows["house"].to_pylist(), rows["wall"].to_pylist(), strict=True)]
    return rows.filter(pa.array(mine, pa.bool_()))


def made_again(store: Store, run: Run, tables: Collection[str] = tuple(schema.RESULTS)) -> Assessment:
    """The assessment of a run, some tables of it at least: from the store where it still stands, else from the facts.

    Raises NotFoundError where its settings are not on record, StoreError where the facts known then are others now.
    """
    try:
        found = runs.stored(store, run, tables)
    except StoreError:  # damaged, and the facts are there to make it again
        found = None
    if found:
        return found
    settings = settings_of(store, run)
    if runs.settings_hash(settings) != run.settings_sha256:
        raise NotFoundError(
            f"The settings of the assessment for {run.judged_on} are not on record, so it cannot be made again.",
            got=f"settings {run.settings_sha256[:12]}",
            mend="Assess again for that day; from then on its settings are kept.",
        )
    found = assess(store, judged_on=run.judged_on, known_on=run.known_until, save=False, settings=settings)
    if store.unread:
        raise store.unread[0].error  # one made from half of the facts would be another one
    if found.facts_sha256 != run.facts_sha256:
        raise StoreError(
            f"What the store knows up to {run.known_until:%Y-%m-%d %H:%M} UTC is not what it knew then.",
            got=f"facts {found.facts_sha256[:12]}",
            expected=f"facts {run.facts_sha256[:12]}",
            mend="Run `wallbow verify`; restore the store from a backup if it finds damage.",
        )
    return found


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
