"""The proof of what is not rows: received files, photos, waiting uploads, assessments, and what does not belong."""

import re
from pathlib import Path

import pyarrow as pa

from monitor import schema
from monitor.errors import StoreError
from monitor.store import (
    again,
    assessments,
    files,
    generations,
    inbox,
    marker,
    migration,
    notes,
    office,
    parquet,
    photos,
    place,
    uploads,
    witness,
)
from monitor.store.search import RESTORE, Search
from monitor.store.store import OUTBOX, RECEIVED, SETTINGS, TELLING, Store

_ASSESS = "Assess again for that day: assessments are made from the facts and nothing is lost."
_MADE_AGAIN = "the facts it was made from, so all of it can be made again"
_TABLE = re.compile(r"([a-z_]+)-([0-9]{4,}-)?([0-9a-f]{16})\.parquet")
_OF_THE_ROOT = {
    generations.POINTER,
    marker.FILE,
    SETTINGS,
    TELLING,
    witness.FILE,
    office.FILE,
    place.FILE,
    f"{office.FILE}-journal",
    "web.secret",
}
_STRANGE = "This is not a file of the store; it is not read."


def look(search: Search, store: Store, receipts: pa.Table) -> None:
    """Look at all of it. receipts: every row of that table that could be read."""
    _received(search, store, receipts)
    _photos(search, store)
    _uploads(search)
    _assessments(search, store)
    _again(search)
    _strangers(search)


def _received(search: Search, store: Store, receipts: pa.Table) -> None:
    """Received files: each under the hash of its bytes, and one for every receipt."""
    folder = search.root / RECEIVED
    kept = sorted(path for path in folder.glob("*") if not path.name.endswith(files.TEMPORARY))
    names = {row["file_sha256"]: row["source_name"] for row in receipts.to_pylist()}
    names = _without_erased(search, store, names, {path.name for path in kept})
    stands = "its rows, which are kept apart"
    for path in kept:
        affected = f"the received file {names.get(path.name, 'of unknown name')}, as it came"
        with search.at(path, affected, stands=stands):
            search.files += 1
            if files.sha256(path.read_bytes()) != path.name:
                search.damage(path, "This file's name is not the hash of its bytes.", affected, RESTORE, stands)
            elif path.name not in names:
                search.remark(path, "No receipt speaks of this received file: whoever sent it was cut off.")
    for file_sha256 in sorted(set(names) - {path.name for path in kept}):
        search.damage(
            folder / file_sha256,
            "A received file is missing.",
            f"{names[file_sha256]}, as it came",
            "Restore it from a backup, or ask its sender for it and send it again.",
            stands,
        )


def _without_erased(search: Search, store: Store, names: dict[str, str], there: set[str]) -> dict[str, str]:
    """Names of received files by the hash that is to be there: an erasure put a bare copy in place of some."""
    rows = []
    with search.at(store.office.path, "which received files were erased"):
        rows = store.office.rows("erasures")
    for row in rows:
        for old, _, new in (pair.partition(">") for pair in row["files"].split()):
            names[new] = names.pop(old, "of unknown name")
            if old in there:
                search.damage(
                    search.root / RECEIVED / old,
                    "This file was erased on request and is here still.",
                    f"what it says of {row['person']}",
                    f"Run `wallbow erase-person {row['person']}` again.",
                    "all records of walls",
                )
    return names


def _photos(search: Search, store: Store) -> None:
    """Photos: one for every row of the table, each under the hash of its bytes."""
    rows = None
    with search.at(store.office.path, "which photos there are"):
        rows = store.office.rows("photos")
        search.rows += len(rows)
    tied = {photos.path_of(search.root, row["sha256"], row["ending"]): row for row in rows or ()}
    there = {path for path in (search.root / photos.FOLDER).rglob("*") if path.is_file()}
    for path in sorted(set(tied) | {path for path in there if not path.name.endswith(files.TEMPORARY)}):
        row = tied.get(path)
        affected = (
            f"the photo {row['file_name']} of {row['house']}-{row['wall']}, {row['visit_date']}"
            if row
            else "no photo that is tied"
        )
        with search.at(path, affected, photos.MEND, "the readings that name it, and all other photos"):
            search.files += 1
            if files.sha256(path.read_bytes()) != path.stem:
                search.damage(path, "This file's name is not the hash of its bytes.", affected, photos.MEND)
            elif rows is not None and row is None:
                search.remark(path, "This photo is tied to nothing: whoever gave it was cut off. Give it again.")


def _uploads(search: Search) -> None:
    for upload_id in uploads.waiting(search.root):
        search.files += 1
        for path, what in uploads.problems(search.root, upload_id):
            mend = "Send the files of that upload again; this folder may be taken away."
            search.damage(path, what, "an upload that nobody has confirmed yet", mend, "all that was confirmed")


def _assessments(search: Search, store: Store) -> None:
    recorded: set[str] = set()
    with search.at(store.office.path, "which assessments there are"):
        recorded = {row["judged_on"].isoformat() for row in store.office.rows("runs")}
    days = {day.isoformat(): day for day in store.assessments()}
    for name in sorted(recorded - set(days)):
        path = search.root / assessments.FOLDER / name / assessments.CARD
        what = "An assessment that is on record is missing."
        search.damage(path, what, f"the assessment for {name}", _ASSESS, _MADE_AGAIN)
    for name, day in days.items():
        affected = f"the assessment for {name}"
        with search.at(search.root / assessments.FOLDER / name / assessments.CARD, affected, _ASSESS, _MADE_AGAIN):
            search.files += 1
            for file, table in assessments.table_files(store.path, day).items():
                at = f"{assessments.folder_of(day)}/{file}"
                with search.at(store.place.path(at), affected, _ASSESS, _MADE_AGAIN):
                    search.files += 1
                    rows = _assessed(store, at, table).num_rows
                    search.rows += rows if table in schema.RESULTS else 0


def _again(search: Search) -> None:
    for path in again.paths(search.root):
        with search.at(path, "walls assessed again since the last whole assessment", again.MEND, _MADE_AGAIN):
            search.files += 1
            again.read(path)


def _assessed(store: Store, at: str, table: str) -> pa.Table:
    data = store.place.read(at)
    if not at.endswith(f"-{files.sha256(data)[:16]}.parquet"):
        raise StoreError("This file's name is not the hash of its bytes.")
    return parquet.from_bytes(store.place.path(at), data, table)


def _strangers(search: Search) -> None:
    """What the store did not put there; it is never read."""
    named = {damage.place for damage in search.damages}
    known = {inbox.path_of(search.root, table, name) for table, name in inbox.every(search.root)}
    for path in sorted(search.root.rglob("*")):
        first, *below = path.relative_to(search.root).parts
        if path.is_dir():
            strange = first == inbox.FOLDER and bool(below) and below[0] not in inbox.TABLES
        elif path.name.endswith((files.TEMPORARY, ".lock")) or first == migration.ASIDE:
            continue
        elif not below:
            strange = path.name not in _OF_THE_ROOT
        elif first == inbox.FOLDER:
            strange = path not in known
        elif path.relative_to(search.root).as_posix().startswith(f"{again.FOLDER}/"):
            strange = path not in again.paths(search.root)
        elif first in (generations.FOLDER, assessments.FOLDER):
            strange = path.name != assessments.CARD and not notes.FILE.fullmatch(path.name) and not _is_left_over(path)
        else:
            strange = first not in (RECEIVED, photos.FOLDER, uploads.FOLDER, OUTBOX)
        if strange and path.relative_to(search.root).as_posix() not in named:
            search.damage(
                path,
                _STRANGE,
                "nothing, unless it was meant to be taken in",
                "Move it out of the store; take readings in with the command for it.",
            )


def _is_left_over(path: Path) -> bool:
    """Whether a file is one of ours: of what stands, or of what was there before and is to be swept away."""
    found = _TABLE.fullmatch(path.name)
    return bool(found) and files.sha256(path.read_bytes()).startswith(found[3] if found else "")
