"""Photos beside the pages: all of them in the office's folder, those that homeowners may see in another."""

import re
from collections.abc import Iterable
from pathlib import Path

from monitor.errors import StoreError
from monitor.pipeline import page_files
from monitor.report.context import Row
from monitor.report.names import PHOTOS, RELEASED_PHOTOS, photo_name
from monitor.store import Store
from monitor.store import photos as kept
from monitor.store.unread import Unread

_OURS = re.compile(r"[0-9a-f]{16}\.(jpg|png)")


def write(store: Store, photos: Iterable[Row], to: Path) -> tuple[list[Path], set[str]]:
    """Write the photos of a set of pages below their folder, and take those away that are not (or no more) of it.

    A photo that was withheld so does not stay beside the pages. Returns the files, and the ids of photos that are
    missing or damaged and were read past. Raises StoreError where such a one may not be, OSError where one cannot be
    written.
    """
    written: list[Path] = []
    lost: set[str] = set()
    for row in photos:
        try:
            data = kept.read(store.path, row["sha256"], row["ending"])
        except StoreError as error:
            if store.past is None:
                raise
            lost.add(row["photo_id"])
            what = f"the photo {row['file_name']} of {row['house']}-{row['wall']}"
            store.past.note(row["photo_id"], Unread(error, what, frozenset()))
            continue
        written += [
            _one(data, to / photo_name(row, folder))
            for folder in ((PHOTOS, RELEASED_PHOTOS) if row["released"] else (PHOTOS,))
        ]
    for folder in (PHOTOS, RELEASED_PHOTOS):
        for path in (to / folder).glob("*"):
            if path not in written and _OURS.fullmatch(path.name) and path.stem not in lost:
                path.unlink()
    return written, lost


def _one(data: bytes, path: Path) -> Path:
    if path.is_file() and path.read_bytes() == data:
        return path
    path.parent.mkdir(parents=True, exist_ok=True)
    return page_files.write(path, data)
