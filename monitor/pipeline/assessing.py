"""The stored readings to an assessment: the only place where the store meets the trend room."""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import TypeVar

import pyarrow as pa
import pyarrow.compute as pc
from msgspec import structs

from monitor import schema
from monitor.config import Settings, Variances
from monitor.documents import checked, of_json
from monitor.errors import NotFoundError, StoreError
from monitor.pipeline import bucket, runs
from monitor.pipeline.bucket import Many, Task, one_after_the_other
from monitor.pipeline.runs import Run
from monitor.results import Assessment
from monitor.store import Store, assessments
from monitor.store.generations import Wall
from monitor.store.parts import ASSESSED
from monitor.store.snapshot import REGISTER, Snapshot
from monitor.store.tiers import is_of

T = TypeVar("T")
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
    walls: Collection[Wall] | None = None,
    tables: Collection[str] = tuple(schema.RESULTS),
    columns: Mapping[str, Sequence[str]] | None = None,
    many: Many = one_after_the_other,
) -> Assessment:
    """Assess every wall with a visit up to `judged_on`, from what was known at `known_on`; bucket by bucket.

    Saved, and put on record as made at `made_at` (known_on where it is left out), unless told not to.
    settings: those to use in place of the company's on that day. walls: those alone, which is never saved and names no
    set of facts; the numbers are those of an assessment of all, but for places in the visit plan. tables, columns:
    those of a saved one to return; the others are empty (as for Store.assessment).
    many: does the buckets' work (`workers`), here one after the other in this process.
    Raises RefusedError for a setting that cannot be.
    """
    settings = checked(settings) if settings else settings_on(store, judged_on, known_on)
    made = Assessment(judged_on, known_on, runs.settings_hash(settings), facts_sha256="")
    if walls is not None:
        return _of_few(store, list(walls), made, settings, tables)
    made = replace(made, facts_sha256=store.facts_sha256(known_on=known_on))
    if not save:
        with store.snapshot(known_on) as facts:
            return _in_memory(made, list(_tasks(store, facts, settings, made)), tables, progress)
    with store.making_assessment(judged_on), store.snapshot(known_on) as facts:
        tasks = _tasks(store, facts, settings, made)
        parts = list(_counted(many(list(tasks)), len(facts.buckets), progress))
        saved = store.save_assessment(made, facts.count, parts)
        runs.record(store, saved, settings, made_at or known_on)
        return store.assessment(judged_on, tables=tables, columns=columns) or saved


def _tasks(store: Store, facts: Snapshot, settings: Settings, made: Assessment) -> Iterator[Task]:
    """The work to be done for an assessment, bucket by bucket."""
    cold = cold_houses(store.current("houses", known_on=made.known_until))
    key = bucket.made_from(settings, made.judged_on, made.facts_sha256, facts.count)
    for one in facts.buckets:
        here = frozenset(cold & one.houses(store.place)) if cold else frozenset()
        yield Task(store.place.address, assessments.folder_of(made.judged_on), one, settings, made.judged_on, here, key)


def _of_few(
    store: Store, walls: list[Wall], made: Assessment, settings: Settings, tables: Collection[str]
) -> Assessment:
    """Some walls alone."""
    known_on = made.known_until
    facts = {name: store.current(name, known_on=known_on, walls=walls) for name in REGISTER}
    facts["readings"] = store.readings(known_on=known_on, walls=walls)
    cold = cold_houses(store.current("houses", known_on=known_on, among=("house", {house for house, _ in walls})))
    found = bucket.results_of(facts, settings, made.judged_on, cold)
    return assessments.with_tables(made, {name: found[name] for name in tables}, bucket.order_of(found))


def _in_memory(made: Assessment, tasks: list[Task], tables: Collection[str], progress: Progress | None) -> Assessment:
    """The same as a saved one without a file: of the results only some tables are kept."""
    kept: dict[str, list[pa.Table]] = {name: [] for name in (*tables, ASSESSED)}
    for found in _counted(map(bucket.assessed, tasks), len(tasks), progress):
        for name, pieces in kept.items():
            pieces.append(found[name])
    return assessments.assembled(made, kept)


def _counted(parts: Iterable[T], total: int, progress: Progress | None) -> Iterator[T]:
    for done, part in enumerate(parts, start=1):
        if progress:
            progress(done, total)
        yield part


def settings_on(store: Store, day: date, known_on: datetime | None = None) -> Settings:
    """The company's settings with the thresholds that hold on a day and the variances last estimated."""
    settings = structs.replace(store.settings(), rules=store.rules_on(day, known_on=known_on))
    rows = store.facts("variances", known_on=known_on).sort_by("known_at").to_pylist()
    if not rows:
        return settings
    return structs.replace(settings, variances=of_json(Variances, rows[-1]["values"]))


def settings_of(store: Store, run: Run) -> Settings:
    """The settings of a run; where they are not on record, those that hold on its day."""
    return runs.settings_of(store, run) or settings_on(store, run.judged_on, run.known_until)


def cold_houses(houses: pa.Table) -> set[str]:
    """Houses whose climate, as written, tells of cold or frost."""
    rows = zip(houses["house"].to_pylist(), houses["climate"].to_pylist(), strict=True)
    return {house for house, climate in rows if any(word in (climate or "").lower() for word in _COLD)}


def of_walls(rows: pa.Table, keys: Iterable[tuple[str, str]]) -> pa.Table:
    """Rows of a table that belong to those walls."""
    return rows.filter(is_of(rows, keys))


def made_again(
    store: Store,
    run: Run,
    tables: Collection[str] = tuple(schema.RESULTS),
    *,
    walls: Collection[Wall] | None = None,
    columns: Mapping[str, Sequence[str]] | None = None,
    having: Mapping[str, pc.Expression] | None = None,
) -> Assessment:
    """The assessment of a run, what is asked of it at least: from the store where it still stands, else from the facts.

    tables, walls, columns, having: as for Store.assessment; made from the facts the tables have all columns and rows.

    Raises NotFoundError where its settings are not on record, StoreError where the facts known then are others now.
    """
    try:
        found = runs.stored(store, run, tables, walls=walls, columns=columns, having=having)
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
    found = assess(
        store, judged_on=run.judged_on, known_on=run.known_until, save=False, settings=settings, tables=tables
    )
    if store.unread:
        raise store.unread[0].error  # one made from half of the facts would be another one
    if found.facts_sha256 != run.facts_sha256:
        raise StoreError(
            f"What the store knows up to {run.known_until:%Y-%m-%d %H:%M} UTC is not what it knew then.",
            got=f"facts {found.facts_sha256[:12]}",
            expected=f"facts {run.facts_sha256[:12]}",
            mend="Run `wallbow verify`; restore the store from a backup if it finds damage.",
        )
    return (
        found if walls is None else replace(found, **{name: of_walls(getattr(found, name), walls) for name in tables})
    )


def newest(
    store: Store,
    month: str | None = None,
    *,
    tables: Collection[str] = tuple(schema.RESULTS),
    columns: Mapping[str, Sequence[str]] | None = None,
    having: Mapping[str, pc.Expression] | None = None,
) -> Assessment:
    """The newest assessment, or the newest judged in a month (`2026-04`); NotFoundError where there is none.

    tables, columns, having: as for Store.assessment.
    """
    days = [day for day in store.assessments() if month is None or day.isoformat().startswith(month)]
    found = store.assessment(max(days), tables=tables, columns=columns, having=having) if days else None
    if found is None:
        raise NotFoundError(
            f"There is no assessment{f' of {month}' if month else ''} in this store.",
            got=", ".join(day.isoformat() for day in store.assessments()) or "none",
            mend="Run `wallbow assess` first" + (f" with --on and a day of {month}." if month else "."),
        )
    return found
