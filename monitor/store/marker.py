"""The store's own marker, which makes a folder a store and says of which version it is."""

import json
from datetime import datetime
from pathlib import Path

from monitor.documents import Document, of_json
from monitor.errors import StoreError, Where
from monitor.store import files
from monitor.store.sealed import sealed, unsealed

STORE_VERSION = 3
"""How a store is laid out; the columns of its tables have a version of their own (schema.VERSION).

2: documents sealed, office records with a seal a row and no write-ahead log, the witness.
3: assessments in parts.
"""
FILE = "store.json"
_FIRST_SEALED = 2


class Card(Document, frozen=True, kw_only=True):
    """What the marker says. schema_version: of the store; the name is older than the difference."""

    schema_version: int
    created_at: datetime


def write(root: Path, created_at: datetime) -> None:
    """Make a folder a store of this version."""
    files.replace(root / FILE, to_bytes(STORE_VERSION, created_at))


def to_bytes(version: int, created_at: datetime) -> bytes:
    """The marker of a store of a version."""
    return sealed(Card(schema_version=version, created_at=created_at))


def read(root: Path) -> Card:
    """What makes a folder a store. Raises StoreError where it is none, damaged, or of a version not known here."""
    path = root / FILE
    if not path.is_file():
        raise StoreError(
            "There is no store here." if not root.exists() else "This is not a store.",
            where=Where(file=str(root)),
            expected=f"a folder with {FILE} in it",
            mend=f"Check the path, or set up a store there first; if it was one, restore {FILE} from a backup.",
        )
    try:
        data = path.read_bytes()
        version = int(json.loads(data)["schema_version"])
        if 0 < version <= STORE_VERSION:
            return of_json(Card, unsealed(data) if version >= _FIRST_SEALED else data)
    except (ValueError, KeyError, TypeError) as error:
        raise StoreError(
            "The card of this store is damaged.",
            where=Where(file=str(path)),
            mend="Restore this file from a backup; it never changes, so that of any backup of this store will do.",
        ) from error
    except OSError as error:
        raise files.unreadable(path, error) from error
    raise StoreError(
        "This store has a version that this release does not know.",
        where=Where(file=str(path)),
        got=f"version {version}",
        expected=f"version {STORE_VERSION} or older",
        mend="Use the release that wrote it, or a newer one; nothing of the store was touched.",
    )
