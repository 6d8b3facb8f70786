"""Files of settings: read with the defaults where there is none, sealed when written, thresholds signed over them."""

from datetime import date
from pathlib import Path
from typing import TypeVar

import pyarrow as pa

from monitor.config import Rules
from monitor.documents import Document, RefusedError, checked, of_json, of_values, values_of
from monitor.errors import StoreError, Where
from monitor.store import files
from monitor.store.sealed import sealed, unsealed

_Kind = TypeVar("_Kind", bound=Document)


def read(file: Path, kind: type[_Kind]) -> _Kind:
    """Settings of a file, the defaults where there is none. Raises StoreError where they cannot be used."""
    if not file.exists():
        return kind()
    data = file.read_bytes()
    try:
        # one written by hand has no seal; one that has a seal must be as it was saved
        return of_json(kind, unsealed(data) if b'"seal"' in data else data)
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
    rows = thresholds.sort_by("valid_from").to_pylist()
    valid = [row for row in rows if row["valid_from"] is not None and row["valid_from"] <= day]
    if not valid:
        return rules
    given = {name: valid[-1][name] for name in Rules.__struct_fields__ if valid[-1].get(name) is not None}
    try:
        return of_values(Rules, values_of(rules) | given)
    except RefusedError as error:
        raise StoreError(
            "These signed thresholds cannot be used.",
            where=Where(file=valid[-1]["source_name"], row=valid[-1]["source_row"]),
            got=str(error),
            mend="Register a row with the same valid_from and the right numbers.",
        ) from error
