"""Files of settings: read with the defaults where there is none, sealed when written, thresholds signed over them."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import pyarrow as pa

from monitor.config import Rules
from monitor.documents import (
    Document,
    NotJsonError,
    RefusedError,
    checked,
    of_hand,
    of_json,
    of_values,
    values_of,
)
from monitor.errors import StoreError, Where
from monitor.results import Overruled
from monitor.store import files
from monitor.store.sealed import sealed, unsealed, without_left_comma

_Kind = TypeVar("_Kind", bound=Document)


def read(file: Path, kind: type[_Kind]) -> _Kind:
    """Settings of a file, the defaults where there is none. Raises StoreError where they cannot be used."""
    if not file.exists():
        return kind()
    data = file.read_bytes()
    try:
        if b'"seal"' in data:  # it must be as it was saved
            return of_json(kind, unsealed(data))
        return of_hand(kind, without_left_comma(data))
    except NotJsonError as error:
        raise StoreError(
            "The settings cannot be used.",
            where=Where(file=str(file)),
            got=error.why,
            mend='Mend that line: numbers and "texts" alone, a comma between two entries and none after the last'
            " (the one before may stand at the end of the line above).",
        ) from error
    except RefusedError as error:
        raise StoreError(
            "The settings cannot be used.",
            where=Where(file=str(file), cell=error.cell),
            got=error.why,
            mend="Mend that entry, or remove it for the default to hold.",
        ) from error
    except ValueError as error:
        raise StoreError(
            "The settings are not as they were saved.",
            where=Where(file=str(file)),
            got=str(error),
            mend="Restore this file from a backup. If it was changed on purpose, take its line `seal` out.",
        ) from error


def write(file: Path, settings: Document) -> None:
    """Save settings in place of the earlier ones. Raises RefusedError for a value that cannot be."""
    files.replace(file, sealed(checked(settings)))


def signed_over(rules: Rules, thresholds: pa.Table, day: date) -> Rules:
    """Rules with what is given of the signed thresholds valid on a day in their place; StoreError if they cannot be."""
    row = _valid(thresholds, day)
    try:
        return of_values(Rules, values_of(rules) | _given(row)) if row else rules
    except RefusedError as error:
        raise StoreError(
            "These signed thresholds cannot be used.",
            where=Where(file=row["source_name"], row=row["source_row"]),
            got=str(error),
            mend="Register a row with the same valid_from and the right numbers.",
        ) from error


def overruled(rules: Rules, thresholds: pa.Table, day: date) -> Overruled | None:
    """What the company set otherwise than the defaults, and signed thresholds valid on a day otherwise again."""
    row = _valid(thresholds, day)
    ours, defaults = values_of(rules), values_of(Rules())
    values = {name: (ours[name], signed) for name, signed in _given(row).items()}
    lost = {name: (own, signed) for name, (own, signed) in values.items() if own not in (defaults[name], signed)}
    return Overruled(row["valid_from"], row["source_name"], row["source_row"], lost) if lost else None


def _valid(thresholds: pa.Table, day: date) -> Mapping[str, Any]:
    """The last row that is valid on a day; an empty one where there is none."""
    rows = thresholds.sort_by("valid_from").to_pylist()
    return next((row for row in reversed(rows) if row["valid_from"] is not None and row["valid_from"] <= day), {})


def _given(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: row[name] for name in Rules.__struct_fields__ if row.get(name) is not None}
