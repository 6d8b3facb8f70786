"""Photos beside the pages: all of them in the office's folder, those that homeowners may see in another."""

import re
from collections.abc import Iterable
from pathlib import Path

from monitor.report.context import Row
from monitor.report.names import PHOTOS, RELEASED_PHOTOS, photo_name
from monitor.store import Store
from monitor.store import photos as kept

_OURS = re.compile(r"[0-9a-f]{16}\.(jpg|png)")


def write(store: Store, photos: Iterable[Row], to: Path) -> list[Path]:
    """Write the photos of a set of pages below their folder, and take those away that are not (or no more) of it.

    A photo that was withheld so does not stay beside the pages. Raises StoreError where one is missing or damaged,
    OSError where it cannot be written.
    """
    rows = list(photos)
    written = [
        *(_one(store, row, to, PHOTOS) for row in rows),
        *(_one(store, row, to, RELEASED_PHOTOS) for row in rows if row["released"]),
    ]
    for folder in (PHOTOS, RELEASED_PHOTOS):
        for path in (to / folder).glob("*"):
            if path not in written and _OURS.fullmatch(path.name):
                path.unlink()
    return written


def _one(store: Store, row: Row, to: Path, folder: str) -> Path:
    path = to / photo_name(row, folder)
    data = kept.read(store.path, row["sha256"], row["ending"])
    if path.is_file() and path.read_bytes() == data:
        return path
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.part")
    temporary.write_bytes(data)
    return temporary.replace(path)
