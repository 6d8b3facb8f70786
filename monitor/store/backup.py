"""A copy of a store as of one moment, taken while others write: the whole of it, in an order that loses nothing.

A plain copy of the folder is as good only while nobody writes: it takes files one after the other, so that a change of
the office records may be in it by half, and a compaction may carry files off between two that belong together.
"""

import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from filelock import FileLock

from monitor.errors import StoreError, Where
from monitor.results import Proof
from monitor.store import (
    assessments,
    compaction,
    files,
    generations,
    inbox,
    marker,
    office,
    photos,
    place,
    uploads,
    witness,
)
from monitor.store.store import RECEIVED, SETTINGS, Store
from monitor.store.verify import verify

_PART = ".part"


def back_up(store: Store, to: Path) -> Proof:
    """Copy a store into a new or empty folder, and prove the copy whole; whatever was acknowledged before is in it.

    The folder is there once the copy is complete. Sessions of the service are not copied: who is signed in signs in
    anew. Raises StoreError where the folder holds something, lies in the store, or cannot be written.
    """
    where = Where(file=str(to))
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise StoreError(
            "A backup is written into a new or empty folder only; what is there is left as it is.",
            where=where,
            mend="Give another folder, one for each backup.",
        )
    if to.resolve().is_relative_to(store.path.resolve()):
        raise StoreError("A backup cannot lie in the store itself.", where=where, mend="Give a folder elsewhere.")
    part = to.resolve().with_name(f".{to.resolve().name}{_PART}")
    with _writing(to):
        shutil.rmtree(part, ignore_errors=True)  # of a backup that was cut off
        part.mkdir(parents=True)
        with _at_rest(store.path):
            _copy(store, part)
        for path in [path for path in part.rglob("*") if path.is_file()]:
            files.sync(path)
        if to.exists():
            to.rmdir()
        files.move(part, to.resolve())
    return verify(Store(to))


@contextmanager
def _writing(to: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise StoreError(
            "The backup could not be written; there is none in that folder.",
            where=Where(file=str(to)),
            got=error.strerror or str(error),
            mend="Make room there, or choose another folder that can be written to, then try again.",
        ) from error


@contextmanager
def _at_rest(root: Path) -> Iterator[None]:
    """Until the block ends no compaction carries files off, and no assessment takes another's place."""
    with ExitStack() as held:
        if not files.is_read_only(root):
            held.enter_context(FileLock(root / compaction.LOCK))
            held.enter_context(FileLock(root / assessments.FOLDER / assessments.LOCK))
        yield


def _copy(store: Store, to: Path) -> None:
    """What is spoken of after what speaks of it, so that a later change only brings more of it; the marker last."""
    root = store.path
    told = (root / witness.FILE).read_bytes()
    (to / witness.FILE).write_bytes(told[: told.rfind(b"\n") + 1])
    store.office.copy_to(to / office.FILE)
    for name in (inbox.FOLDER, generations.POINTER, generations.FOLDER, assessments.FOLDER, RECEIVED, photos.FOLDER):
        _copy_all(root / name, to / name)
    if (root / place.FILE).exists():  # a backup is all in one place
        _fetch(store.place, generations.FOLDER, to)
        for day in store.assessments():
            _fetch(store.place, assessments.folder_of(day), to)
    _copy_all(root / uploads.FOLDER, to / uploads.FOLDER, may_go=True)
    for name in (SETTINGS, marker.FILE):
        _copy_all(root / name, to / name)


def _fetch(elsewhere: place.Place, folder: str, to: Path) -> None:
    for name in elsewhere.names(folder):
        (to / folder / name).write_bytes(elsewhere.read(f"{folder}/{name}"))


def _copy_all(path: Path, to: Path, *, may_go: bool = False) -> None:
    if path.is_dir():
        to.mkdir(exist_ok=True)
        for each in path.iterdir():
            if not each.name.endswith((files.TEMPORARY, ".lock")):
                _copy_all(each, to / each.name, may_go=may_go)
    elif path.exists():
        try:
            shutil.copyfile(path, to)
        except FileNotFoundError:
            if not may_go:
                raise
