"""Saved assessments: derived tables, which can be made again from the facts, one set per day judged for."""

from collections.abc import Collection
from datetime import date, datetime
from pathlib import Path

from filelock import FileLock
from pydantic import BaseModel, ConfigDict

from monitor import schema
from monitor.errors import StoreError, Where
from monitor.results import Assessment
from monitor.store import canonical, files, parquet
from monitor.store.sealed import sealed, unsealed

FOLDER = "assessments"
CARD = "assessment.json"
_MEND = "Assess again for that day: assessments are made from the facts and nothing is lost."
_TRIES = 3
LOCK = "saving.lock"


class Card(BaseModel):
    """What stands beside the tables of one assessment: what it was made from, and the files it is made of."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    schema_version: int
    judged_on: date
    known_until: datetime
    settings_sha256: str
    facts_sha256: str
    files: dict[str, str]
    """File by table; the file's name ends in the start of the hash of its bytes."""


def save(root: Path, assessment: Assessment) -> None:
    """Save an assessment in place of an earlier one for the same day; a reader sees the one or the other, whole."""
    folder = root / FOLDER / assessment.judged_on.isoformat()
    with files.writing(folder), FileLock(root / FOLDER / LOCK):  # of two at once the second takes the first's place
        names = {}
        for table in schema.RESULTS:
            rows = parquet.fitted(table, getattr(assessment, table))
            data = parquet.to_bytes(table, rows, canonical.digests(table, rows)[1])
            names[table] = f"{table}-{files.sha256(data)[:16]}.parquet"
            files.write_new(folder / names[table], data)
        card = Card(
            schema_version=schema.VERSION,
            judged_on=assessment.judged_on,
            known_until=assessment.known_until,
            settings_sha256=assessment.settings_sha256,
            facts_sha256=assessment.facts_sha256,
            files=names,
        )
        files.replace(folder / CARD, sealed(card))
        for path in folder.iterdir():
            if path.name not in {CARD, *names.values()}:
                path.unlink(missing_ok=True)


def load(root: Path, judged_on: date, tables: Collection[str] = tuple(schema.RESULTS)) -> Assessment | None:
    """The assessment for that day, None where there is none. Raises StoreError where it is damaged.

    tables: those to read; the others stay empty.
    """
    for _ in range(_TRIES):
        card = _card(root, judged_on)
        if card is None:
            return None
        folder = root / FOLDER / judged_on.isoformat()
        try:
            read = {table: parquet.read(folder / card.files[table], table) for table in tables}
        except (FileNotFoundError, KeyError):  # replaced by a newer one while we read
            continue
        return Assessment(
            judged_on=card.judged_on,
            known_until=card.known_until,
            settings_sha256=card.settings_sha256,
            facts_sha256=card.facts_sha256,
            **read,
        )
    raise StoreError("A table of this assessment is missing.", where=Where(file=str(folder)), mend=_MEND)


def days(root: Path) -> list[date]:
    """The days that an assessment is saved for, earliest first."""
    return sorted(date.fromisoformat(path.parent.name) for path in (root / FOLDER).glob(f"????-??-??/{CARD}"))


def known_until(root: Path, judged_on: date) -> datetime | None:
    """What the assessment for that day was made from: all that was known by then; None where there is none."""
    card = _card(root, judged_on)
    return card.known_until if card else None


def table_files(root: Path, judged_on: date) -> dict[str, Path]:
    """The files of an assessment by table. Raises StoreError where its card is damaged."""
    card = _card(root, judged_on)
    folder = root / FOLDER / judged_on.isoformat()
    return {table: folder / name for table, name in card.files.items()} if card else {}


def _card(root: Path, judged_on: date) -> Card | None:
    path = root / FOLDER / judged_on.isoformat() / CARD
    if not path.exists():
        return None
    try:
        card = Card.model_validate_json(unsealed(path.read_bytes()))
    except ValueError as error:
        raise StoreError("This assessment is damaged.", where=Where(file=str(path)), mend=_MEND) from error
    if card.judged_on != judged_on:
        raise StoreError(
            "This assessment is that of another day.",
            where=Where(file=str(path)),
            got=str(card.judged_on),
            expected=str(judged_on),
            mend=_MEND,
        )
    if card.schema_version != schema.VERSION:
        raise StoreError(
            "This assessment has a schema version that this release cannot read.",
            where=Where(file=str(path)),
            got=f"version {card.schema_version}",
            expected=f"version {schema.VERSION}",
            mend=_MEND,
        )
    return card
