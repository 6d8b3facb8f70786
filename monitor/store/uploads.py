"""Uploads that wait to be confirmed: each a folder with its files as they came, and a card that says what was told.

They are no facts yet. The card is written last, so that a folder without one is an upload that was broken off; it holds
the hash of each file, and one that is damaged is as none.
"""

import re
import shutil
from collections.abc import Mapping
from pathlib import Path

from monitor.documents import Document, of_json
from monitor.store import files
from monitor.store.sealed import sealed, unsealed

FOLDER = "uploads"
CARD = "card.json"
_ID = re.compile(r"[0-9a-f]{32}")
_NAME = re.compile(r"[0-9a-f]{64}|[0-9]{1,4}\.csv")


class _Envelope(Document, frozen=True, kw_only=True):
    """A card as its file holds it, with the SHA-256 of the files that belong to it."""

    card: str
    files: dict[str, str]


def keep(root: Path, upload_id: str, card: bytes, some: Mapping[str, bytes]) -> None:
    """Keep files (named by SHA-256, or number.csv) and the card, in place of what is there; synced when it returns."""
    folder = _folder(root, upload_id)
    try:
        before = _envelope(root, upload_id)
    except ValueError:
        before = None
    for name, data in some.items():
        files.replace(folder / _checked(name), data)
    sums = {name: files.sha256(data) for name, data in some.items()}
    files.replace(folder / CARD, enveloped(card, (before.files if before else {}) | sums))


def enveloped(card: bytes, sums: Mapping[str, str]) -> bytes:
    """A card as its file holds it; sums: SHA-256 by the name of each file."""
    return sealed(_Envelope(card=card.decode(), files=dict(sums)))


def card(root: Path, upload_id: str) -> bytes | None:
    """The card of an upload, None where there is none, or none that is whole."""
    try:
        found = _envelope(root, upload_id)
    except ValueError:
        return None
    return found.card.encode() if found else None


def problems(root: Path, upload_id: str) -> list[tuple[Path, str]]:
    """Files of an upload that are not as they were kept, and why; none where it was broken off before its card."""
    folder = _folder(root, upload_id)
    try:
        found = _envelope(root, upload_id)
    except ValueError as error:
        return [(folder / CARD, f"The card of this upload is damaged: {str(error).splitlines()[0]}.")]
    wrong = []
    for name, sha256 in found.files.items() if found else ():
        data = _read(root, upload_id, name)
        if data is None:
            wrong.append((folder / name, "A file of this upload is missing."))
        elif files.sha256(data) != sha256:
            wrong.append((folder / name, "A file of this upload is not as it was kept."))
    return wrong


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
        (folder / CARD).unlink(missing_ok=True)
        shutil.rmtree(folder, ignore_errors=True)


def _envelope(root: Path, upload_id: str) -> _Envelope | None:
    data = _read(root, upload_id, CARD)
    return None if data is None else of_json(_Envelope, unsealed(data))


def _read(root: Path, upload_id: str, name: str) -> bytes | None:
    if not _ID.fullmatch(upload_id):
        return None
    try:
        return (root / FOLDER / upload_id / name).read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise files.unreadable(root / FOLDER / upload_id / name, error) from error


def _folder(root: Path, upload_id: str) -> Path:
    assert _ID.fullmatch(upload_id), upload_id
    return root / FOLDER / upload_id


def _checked(name: str) -> str:
    assert _NAME.fullmatch(name), name
    return name
