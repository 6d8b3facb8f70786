"""Every assessment ever made, on record, so that one which a later one took the place of can be made again."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date, datetime
from hashlib import sha256
from typing import Any

import pyarrow.compute as pc

from monitor import __version__, schema
from monitor.config import Settings
from monitor.documents import of_json, to_json
from monitor.errors import StoreError
from monitor.records import asdict, dataclass
from monitor.results import Assessment
from monitor.store import Store


@dataclass(frozen=True)
class Run:
    """What one assessment was made from, and what came out; run_id is made from the rest.

    results_sha256 and code_version are '' where it was made before assessments were recorded.
    """

    judged_on: date
    known_until: datetime
    settings_sha256: str
    facts_sha256: str
    results_sha256: str
    code_version: str

    @property
    def run_id(self) -> str:
        """16 hex digits."""
        return row_id(asdict(self))


def row_id(row: Mapping[str, Any]) -> str:
    """16 hex digits from the content of a row."""
    return sha256("\x1f".join(f"{name}={row[name]}" for name in sorted(row)).encode()).hexdigest()[:16]


def settings_json(settings: Settings) -> str:
    """Settings as text: what is hashed, and kept."""
    return to_json(settings)


def settings_hash(settings: Settings) -> str:
    """SHA-256 of settings."""
    return sha256(settings_json(settings).encode()).hexdigest()


def record(store: Store, assessment: Assessment, settings: Settings, made_at: datetime) -> None:
    """Put an assessment made just now, and the settings it was made with, on record."""
    run = Run(
        **_identity(assessment),
        results_sha256=assessment.results_sha256,
        code_version=__version__,
    )
    kept = {"settings_sha256": run.settings_sha256, "settings": settings_json(settings), "known_at": made_at}
    store.office.add({"settings_kept": [kept], "runs": [row_of(run, made_at)]})


def row_of(run: Run, made_at: datetime) -> dict[str, Any]:
    """A run as a row of schema.RUNS."""
    return {"run_id": run.run_id, **asdict(run), "known_at": made_at}


def on_record(store: Store) -> dict[str, Run]:
    """All runs by id, in the order they were made; first stored assessments from before there was a record.

    Raises StoreError where one of those is damaged; a damaged one that has a run on record is not asked.
    """
    names = Run.__dataclass_fields__
    recorded = [Run(**{name: row[name] for name in names}) for row in store.office.rows("runs")]
    known = [(run.judged_on, run.known_until, run.settings_sha256, run.facts_sha256) for run in recorded]
    older = [
        Run(**_identity(found), results_sha256="", code_version="")
        for found in _stored(store, {run.judged_on for run in recorded})
        if tuple(_identity(found).values()) not in known
    ]
    return {run.run_id: run for run in (*older, *recorded)}


def _stored(store: Store, days_on_record: Collection[date]) -> Iterator[Assessment]:
    for day in store.assessments():
        try:
            found = store.assessment(day, tables=())
        except StoreError:
            if day not in days_on_record:
                raise
            continue  # its run is on record, from which it can be made again; `verify` names it
        if found:
            yield found


def of(store: Store, assessment: Assessment) -> Run:
    """The run that made an assessment; one that nobody recorded is told from its own card."""
    found = [run for run in on_record(store).values() if is_of(run, assessment)]
    return found[-1] if found else Run(**_identity(assessment), results_sha256="", code_version="")


def before(store: Store, judged_on: date, known_until: datetime) -> list[Run]:
    """The run of each earlier day as it stood when all was known until a moment, newest day first."""
    newest: dict[date, Run] = {}
    for run in on_record(store).values():
        if run.judged_on < judged_on and run.known_until <= known_until:
            held = newest.get(run.judged_on)
            if held is None or run.known_until >= held.known_until:
                newest[run.judged_on] = run
    return [newest[day] for day in sorted(newest, reverse=True)]


def stored(
    store: Store,
    run: Run,
    tables: Collection[str] = tuple(schema.RESULTS),
    walls: Collection[tuple[str, str]] | None = None,
    columns: Mapping[str, Sequence[str]] | None = None,
    having: Mapping[str, pc.Expression] | None = None,
) -> Assessment | None:
    """The assessment of a run, or some of it, where it still stands; None where a later one took its place.

    Asked for as of Store.assessment.
    """
    card = store.assessment(run.judged_on, tables=())
    if card is None or not is_of(run, card):
        return None
    return store.assessment(run.judged_on, tables=tables, walls=walls, columns=columns, having=having)


def settings_of(store: Store, run: Run) -> Settings | None:
    """The settings that a run was made with; None where they are not on record."""
    rows = store.office.rows("settings_kept", settings_sha256=run.settings_sha256)
    return of_json(Settings, rows[0]["settings"]) if rows else None


def is_of(run: Run, assessment: Assessment) -> bool:
    """Whether a run has the days, settings and facts of an assessment."""
    return all(getattr(run, name) == value for name, value in _identity(assessment).items())


def _identity(assessment: Assessment) -> dict[str, Any]:
    names: Sequence[str] = ("judged_on", "known_until", "settings_sha256", "facts_sha256")
    return {name: getattr(assessment, name) for name in names}
