"""Uploads that wait to be confirmed: each a folder with its files as they came, and a card that says what was told.

They are no facts yet. The card is written last, so that a folder without one is an upload that was broken off.
"""

import re
import shutil
from collections.abc import Mapping
from pathlib import Path

from monitor.store import files

FOLDER = "uploads"
_CARD = "card.json"
_ID = re.compile(r"[0-9a-f]{32}")
_NAME = re.compile(r"[0-9a-f]{64}|[0-9]{1,4}\.csv")


def keep(root: Path, upload_id: str, card: bytes, some: Mapping[str, bytes]) -> None:
    """Keep files (named by SHA-256, or number.csv) and the card, in place of what is there; synced when it returns."""
    folder = _folder(root, upload_id)
    for name, data in some.items():
        files.replace(folder / _checked(name), data)
    files.replace(folder / _CARD, card)


def card(root: Path, upload_id: str) -> bytes | None:
    """The card of an upload, None where there is none."""
    return _read(root, upload_id, _CARD)


def file(root: Path, upload_id: str, name: str) -> bytes | None:
    """A file of an upload, None where there is none."""
    return _read(root, upload_id, name) if _NAME.fullmatch(name) else None


def waiting(root: Path) -> list[str]:
    """Ids of all uploads that are kept."""
    folder = root / FOLDER
    return sorted(entry.name for entry in folder.iterdir() if _ID.fullmatch(entry.name)) if folder.is_dir() else []


def drop(root: Path, upload_id: str) -> None:
    """Forget an upload: the card first, so that nobody finds half of it."""
    folder = _folder(root, upload_id)
    with files.writing(folder):
        (folder / _CARD).unlink(missing_ok=True)
        shutil.rmtree(folder, ignore_errors=True)


def _read(root: Path, upload_id: str, name: str) -> bytes | None:
    if not _ID.fullmatch(upload_id):
        return None
    try:
        return (root / FOLDER / upload_id / name).read_bytes()
    except FileNotFoundError:
        return None


def _folder(root: Path, upload_id: str) -> Path:
    assert _ID.fullmatch(upload_id), upload_id
    return root / FOLDER / upload_id


def _checked(name: str) -> str:
    assert _NAME.fullmatch(name), name
    return name
