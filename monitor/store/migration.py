"""A store of an older version brought to this one, step by step: done aside, then swapped in.

A step writes the files that become other ones into a folder of its own. Until all of them are there and on the disk
nothing of the store is touched, and a step that was cut short starts again; from then on it is only ever finished. The
files as they were are kept until then.
"""

import json
import shutil
import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing, suppress
from pathlib import Path

import pyarrow as pa
from filelock import FileLock
from msgspec import structs

from monitor import schema
from monitor.documents import of_values
from monitor.errors import StoreError, Where
from monitor.store import (
    assessments,
    files,
    generations,
    inbox,
    marker,
    office,
    office_rows,
    parquet,
    parts,
    uploads,
    witness,
)
from monitor.store.place import Place
from monitor.store.sealed import seal_text, sealed, unsealed

Step = Callable[[Path, Path], None]
"""Given the store and the folder aside: writes there, under the same names, what is to stand in the store."""

ASIDE = "migrating"
LOCK = "migrating.lock"
_MEND = "Restore this file from a backup; the store stays of its version, and closed, until then."
_NEW, _OLD = "new", "old"
_READY = "READY"
"""There once all of a step lies aside, whole: from then on the store is the new one, however far the swap got."""


def to_this_version(root: Path) -> None:
    """Take every step there is to this version. Raises StoreError; the store then stands as it did."""
    if not _is_due(root):
        return
    if files.is_read_only(root):
        raise StoreError(
            "This store is of an older version, and read-only here, so it cannot be brought to this one.",
            where=Where(file=str(root)),
            mend="Open it once where it can be written, or copy it to such a place and open the copy.",
        )
    with files.writing(root), FileLock(root / LOCK):
        while _is_due(root):  # else somebody else did it while we waited
            _one_step(root)


def _is_due(root: Path) -> bool:
    return (root / ASIDE / _READY).exists() or marker.read(root).schema_version < marker.STORE_VERSION


def _one_step(root: Path) -> None:
    aside = root / ASIDE
    if not (aside / _READY).exists():
        shutil.rmtree(aside, ignore_errors=True)
        (aside / _NEW).mkdir(parents=True)
        STEPS[marker.read(root).schema_version](root, aside / _NEW)
        for path in [path for path in aside.rglob("*") if path.is_file()]:
            files.sync(path)
        files.write_new(aside / _READY, b"")
    _swap(root, aside)
    shutil.rmtree(aside)


def _swap(root: Path, aside: Path) -> None:
    """Put each file in its place, the marker last; each may have been done before."""
    new = sorted(
        (path for path in (aside / _NEW).rglob("*") if path.is_file()), key=lambda path: path.name == marker.FILE
    )
    for path in new:
        name = path.relative_to(aside / _NEW)
        kept = aside / _OLD / name
        kept.parent.mkdir(parents=True, exist_ok=True)
        if (root / name).exists() and not kept.exists():
            with suppress(OSError):  # a file system without hard links
                kept.hardlink_to(root / name)
        if name.name == office.FILE:  # logs of the old database; beside the new one they would be taken for its own
            for ending in ("-wal", "-shm", "-journal"):
                (root / f"{name}{ending}").unlink(missing_ok=True)
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        files.move(path, root / name)


def _from_1(root: Path, new: Path) -> None:
    """Seals on documents and office records, the log of changes gone from these, and the witness begun."""
    for path in (root / generations.POINTER, *sorted((root / assessments.FOLDER).glob(f"*/{assessments.CARD}"))):
        target = new / path.relative_to(root)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(seal_text(_json(path)))
    for upload_id in uploads.waiting(root):
        folder = root / uploads.FOLDER / upload_id
        if (folder / uploads.CARD).exists():
            sums = {
                path.name: files.sha256(path.read_bytes()) for path in folder.iterdir() if path.name != uploads.CARD
            }
            target = new / uploads.FOLDER / upload_id / uploads.CARD
            target.parent.mkdir(parents=True)
            target.write_bytes(uploads.enveloped((folder / uploads.CARD).read_bytes(), sums))
    _office_from_1(root / office.FILE, new / office.FILE)
    taken: set[tuple[str, str]] = set()
    at = generations.read_pointer(new / generations.POINTER)
    lines = []
    if at.ledger is not None:
        for line in generations.ledger(root, at).to_pylist():
            if (line["table"], line["name"]) not in taken:
                taken.add((line["table"], line["name"]))
                lines.append(witness.line_of_add(line["table"], line["name"], "", line["known_at"], ()))
    for table in schema.FACTS:
        for name in inbox.names(root, table):
            if (table, name) not in taken:
                path = inbox.path_of(root, table, name)
                data = path.read_bytes()
                lines.append(inbox.testimony(table, name, data, parquet.read_proven(path, data, table)[0]))
    (new / witness.FILE).write_bytes(witness.to_bytes(lines))
    (new / marker.FILE).write_bytes(marker.to_bytes(2, marker.read(root).created_at))


def _from_2(root: Path, new: Path) -> None:
    """Each assessment becomes one of a single part, its files as they are; the order of its plan is that of its ranks.

    One that is damaged stays as it is: its day is assessed again.
    """
    for path in sorted((root / assessments.FOLDER).glob(f"*/{assessments.CARD}")):
        with suppress(StoreError, OSError, ValueError, KeyError):
            said = json.loads(unsealed(path.read_bytes()))
            read = {table: parquet.read(path.parent / name, table) for table, name in said["files"].items()}
            ranks = read["plan"]["rank"].cast(pa.float64())
            zero = pa.array([0.0] * len(ranks))
            order = {name: ranks if name == "order_1" else zero for name in assessments.ORDER}
            walls = {name: read["plan"][name] for name in ("house", "wall")}
            made = {parts.ASSESSED: parts.tables(read, pa.table(walls | order))[parts.ASSESSED]}
            part = parts.write(Place(new), str(path.parent.relative_to(root)), 0, made)
            part = structs.replace(part, files=said["files"] | part.files)
            more = {"results_sha256": part.sha256, "buckets": 1, "parts": (part,)}
            kept = {name: said[name] for name in assessments.Card.__struct_fields__ if name in said}
            (new / path.relative_to(root)).write_bytes(sealed(of_values(assessments.Card, kept | more)))
    (new / marker.FILE).write_bytes(marker.to_bytes(3, marker.read(root).created_at))


def _json(path: Path) -> bytes:
    data = path.read_bytes()
    try:
        json.loads(data)
    except ValueError as error:
        raise StoreError(
            "This file of the store is damaged.", where=Where(file=str(path)), got=str(error), mend=_MEND
        ) from error
    return data


def _office_from_1(old: Path, new: Path) -> None:
    try:
        with closing(sqlite3.connect(old, timeout=30)) as before, closing(sqlite3.connect(new)) as after:
            before.backup(after)
            problems = [row[0] for row in after.execute("PRAGMA integrity_check") if row[0] != "ok"]
            if problems:
                raise StoreError(
                    "The office records are damaged.",
                    where=Where(file=str(old)),
                    got=problems[0],
                    mend=_MEND,
                )
            after.execute("PRAGMA journal_mode = DELETE")
            office_rows.seal_all(after, version=2)
    except sqlite3.Error as error:
        raise office.refused_by(old, error) from error


STEPS: Mapping[int, Step] = {1: _from_1, 2: _from_2}
"""By the version that a step starts from; it leads to the next one."""
