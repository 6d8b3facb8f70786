"""Durable files: written whole under a temporary name, synced, and only then given their name."""

import hashlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from errno import EACCES, EDQUOT, EFBIG, ENOSPC, EPERM, EROFS
from pathlib import Path

from monitor.errors import StoreError, Where

TEMPORARY = ".tmp"
"""Ending of a file that is still being written; a reader never looks at one."""
_FULL = (ENOSPC, EDQUOT, EFBIG)
_READ_ONLY = (EROFS, EACCES, EPERM)


def sha256(data: bytes) -> str:
    """SHA-256 of bytes, in hex."""
    return hashlib.sha256(data).hexdigest()


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn what the file system refuses into a StoreError that names the file and the mend."""
    try:
        yield
    except OSError as error:
        raise refused(Path(error.filename or path) if error.errno in _READ_ONLY else path, error) from error


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """Turn what the file system does not give out into a StoreError that names the file and the mend."""
    try:
        yield
    except FileNotFoundError as error:
        raise StoreError(
            "A file of the store is missing.", where=Where(file=str(path)), mend="Restore it from a backup."
        ) from error
    except OSError as error:
        raise unreadable(path, error) from error


def refused(path: Path, error: OSError) -> StoreError:
    """The error for a write that the file system refuses."""
    if error.errno in _READ_ONLY:
        what = "The store is read-only here; nothing was written."
        mend = (
            "Make the store's folder writable for this user (not a read-only disk or share), then try again. "
            "What only reads works as it is."
        )
    else:
        what = "The store could not be written to."
        mend = (
            "Free space on that disk, then do the same again: what is in already is not taken twice."
            if error.errno in _FULL
            else "See that the disk has room and works, then do the same again: what is in already is not taken twice."
        )
    return StoreError(what, where=Where(file=str(path)), got=error.strerror or str(error), mend=mend)


def unreadable(path: Path, error: OSError) -> StoreError:
    """The error for a file that the file system does not give out."""
    return StoreError(
        "This file of the store cannot be read.",
        where=Where(file=str(path)),
        got=error.strerror or str(error),
        mend="Give this user the right to read it; if the disk fails, restore it from a backup.",
    )


def is_read_only(folder: Path) -> bool:
    """Whether this user can write nothing there."""
    return not os.access(folder, os.W_OK)


def write_new(path: Path, data: bytes) -> bool:
    """Write a file that never changes; False, and untouched, where one of that name is there already.

    True or False, the name is on the disk when this returns. Raises StoreError.
    """
    with writing(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            _sync_folder(path.parent)  # another writer may have named it a moment ago, not yet for good
            return False
        temporary = _written(path, data)
        try:
            created = _name_once(temporary, path)
        finally:
            temporary.unlink(missing_ok=True)
        _sync_folder(path.parent)
        return created


def replace(path: Path, data: bytes) -> None:
    """Write or replace a file; a reader sees the old one or the new one, whole. Raises StoreError."""
    with writing(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = _written(path, data)
        try:
            temporary.replace(path)
        finally:
            temporary.unlink(missing_ok=True)
        _sync_folder(path.parent)


def sync(path: Path) -> None:
    """Have what is in a file on the disk."""
    with path.open("rb") as file:
        os.fsync(file.fileno())


def move(path: Path, to: Path) -> None:
    """Put a file in another's place, for good."""
    path.replace(to)
    _sync_folder(to.parent)


def _written(path: Path, data: bytes) -> Path:
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(8)}{TEMPORARY}")
    try:
        with temporary.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def _name_once(temporary: Path, path: Path) -> bool:
    """Give the file its name unless the name is taken: of two writers of one content, the first stands."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        return False
    except OSError:  # a file system without hard links
        temporary.replace(path)
    return True


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # folders cannot be opened there; the file system journals names by itself
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
