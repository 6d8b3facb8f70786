"""Proof that a store is whole: every file opened and hashed again, counts and keys compared; damage never stops it."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pyarrow as pa

from monitor import schema
from monitor.errors import StoreError, Where
from monitor.results import Damage, Proof
from monitor.store import assessments, files, generations, inbox, parquet, photos
from monitor.store.checks import cross_checks
from monitor.store.generations import PartFile, Pointer
from monitor.store.store import RECEIVED, Store
from monitor.store.store import open as open_store

_TRIES = 3
_RESTORE = "Restore this file from a backup."
_AGAIN = (
    "Restore this file from a backup; or move it out of the store and send the received file that it came from again "
    "(every received file is kept under files/)."
)


@dataclass
class _Search:
    """What has been looked at and found so far."""

    root: Path
    files: int = 0
    rows: int = 0
    damages: list[Damage] = field(default_factory=list)

    def damage(self, path: Path | str, what: str, affected: str, mend: str) -> None:
        place = path.relative_to(self.root).as_posix() if isinstance(path, Path) else path
        self.damages.append(Damage(place=place, what=what, affected=affected, mend=mend))

    @contextmanager
    def at(self, path: Path, affected: str, mend: str = "") -> Iterator[None]:
        """Turn what cannot be read inside the block into a damage of that file."""
        try:
            yield
        except StoreError as error:
            what = error.what + (f" Found: {error.got}." if error.got else "")
            self.damage(path, what, affected, mend or error.mend)
        except FileNotFoundError:
            self.damage(path, "This file is missing.", affected, mend or _RESTORE)
        except (OSError, ValueError) as error:
            self.damage(path, f"This file cannot be read: {error}.", affected, mend or _RESTORE)


def verify(store: Store) -> Proof:
    """Look at every file of a store and at what the tables say of each other; raises on no damage, but names it."""
    for _ in range(_TRIES):
        before = _pointer_bytes(store)
        proof = _proof(store)
        if _pointer_bytes(store) == before:  # else a compaction has moved the files that were being looked at
            break
    return proof


def _pointer_bytes(store: Store) -> bytes:
    try:
        return (store.path / generations.POINTER).read_bytes()
    except OSError:
        return b""


def _proof(store: Store) -> Proof:
    search = _Search(store.path)
    with search.at(store.path / "store.json", "the whole store"):
        open_store(store.path)
    with search.at(store.path / "settings.json", "every assessment"):
        store.settings()
    _office(search, store)
    tables = _facts(search)
    for place, what, affected, mend in cross_checks(tables):
        search.damage(place, what, affected, mend)
    _received(search, store, tables)
    _photos(search, store)
    _assessments(search, store)
    return Proof(files=search.files, rows=search.rows, damages=tuple(search.damages))


def _office(search: _Search, store: Store) -> None:
    affected = "people, decisions and the company's data"
    with search.at(store.office.path, affected):
        search.files += 1
        for problem in store.office.problems():
            search.damage(store.office.path, f"SQLite finds: {problem}.", affected, _RESTORE)
        search.rows += store.office.people().num_rows + store.office.decisions().num_rows


def _facts(search: _Search) -> dict[str, pa.Table]:
    """Rows of every table that could be read, the compacted ones and those waiting in the inbox."""
    at, taken = _pointer(search)
    found: dict[str, list[pa.Table]] = {table: [schema.empty(table)] for table in schema.FACTS}
    for part in at.parts if at else ():
        with search.at(search.root / generations.FOLDER / part.file, f"rows of {part.table}"):
            found[part.table].append(_part(search, part, at.buckets if at else 1))
    for table, rows in found.items():
        for name in inbox.names(search.root, table):
            if (table, name) not in taken:
                path = inbox.path_of(search.root, table, name)
                with search.at(path, f"the rows of one add to {table}", _AGAIN):
                    rows.append(_add(search, path, table, name))
    _strangers(search)
    return {table: pa.concat_tables(rows) for table, rows in found.items()}


def _pointer(search: _Search) -> tuple[Pointer | None, set[tuple[str, str]]]:
    """The pointer, and the adds that its files hold."""
    path = search.root / generations.POINTER
    with search.at(path, "every compacted row"):
        search.files += 1
        at = generations.pointer(search.root)
        if at.ledger is None:
            return at, set()
        taken: set[tuple[str, str]] = set()
        ledger_path = search.root / generations.FOLDER / at.ledger.file
        with search.at(ledger_path, "which adds are compacted: they may count twice"):
            lines = _part(search, at.ledger, at.buckets)
            taken = set(zip(lines["table"].to_pylist(), lines["name"].to_pylist(), strict=True))
            added = Counter[str]()
            for line in lines.to_pylist():
                added[line["table"]] += line["rows"]
            for table in schema.FACTS:
                kept = sum(part.rows for part in at.of(table))
                if added[table] != kept:
                    what = f"{added[table]} rows of {table} were taken in, but the compacted files hold {kept}."
                    search.damage(path, what, f"rows of {table}", _RESTORE)
        return at, taken
    return None, set()


def _part(search: _Search, part: PartFile, buckets: int) -> pa.Table:
    path = search.root / generations.FOLDER / part.file
    data = path.read_bytes()
    search.files += 1
    if files.sha256(data) != part.sha256:
        raise StoreError(f"This file's bytes are not those that {generations.POINTER} speaks of.", mend=_RESTORE)
    rows, _ = parquet.read_proven(path, data, part.table)
    if rows.num_rows != part.rows:
        raise StoreError(f"This file has {rows.num_rows} rows, not {part.rows} as the pointer says.", mend=_RESTORE)
    if part.table != "ledger" and generations.has_walls(part.table):
        strays = int((generations.bucket_numbers(rows, buckets) != part.bucket).sum())
        if strays:
            raise StoreError(f"{strays} rows of this file belong to another bucket.", mend=_RESTORE)
    search.rows += rows.num_rows if part.table != "ledger" else 0
    return rows


def _add(search: _Search, path: Path, table: str, name: str) -> pa.Table:
    data = path.read_bytes()
    search.files += 1
    rows, content = parquet.read_proven(path, data, table)
    if content != name:
        raise StoreError("This file's name is not the hash of its rows.", where=Where(file=str(path)), mend=_AGAIN)
    search.rows += rows.num_rows
    return rows


def _strangers(search: _Search) -> None:
    """Things in the inbox that the store did not put there; they are never read."""
    known = {table: set(inbox.names(search.root, table)) for table in schema.FACTS}
    for path in sorted((search.root / "inbox").rglob("*")):
        table = path.parent.name
        if path.is_dir():
            strange = path.name not in schema.FACTS
        else:
            strange = path.stem not in known.get(table, ()) and not path.name.endswith(files.TEMPORARY)
        if strange:
            search.damage(
                path,
                "This is not a file of the store; it is not read.",
                "nothing, unless it was meant to be taken in",
                "Move it out of the store; take readings in with the command for it.",
            )


def _received(search: _Search, store: Store, tables: dict[str, pa.Table]) -> None:
    """Received files: each under the hash of its bytes, and one for every receipt."""
    folder = search.root / RECEIVED
    kept = (
        sorted(path for path in folder.iterdir() if not path.name.endswith(files.TEMPORARY)) if folder.is_dir() else []
    )
    receipts = tables["receipts"].to_pylist()
    names = {row["file_sha256"]: row["source_name"] for row in receipts}
    names = _without_erased(search, store, names, {path.name for path in kept})
    for path in kept:
        affected = f"the received file {names.get(path.name, 'of unknown name')}, as it came; its rows are kept apart"
        with search.at(path, affected):
            search.files += 1
            if files.sha256(path.read_bytes()) != path.name:
                search.damage(path, "This file's name is not the hash of its bytes.", affected, _RESTORE)
    for file_sha256 in sorted(set(names) - {path.name for path in kept}):
        search.damage(
            folder / file_sha256,
            "A received file is missing.",
            f"{names[file_sha256]}, as it came; its rows are kept apart",
            "Restore it from a backup, or ask its sender for it and send it again.",
        )


def _without_erased(search: _Search, store: Store, names: dict[str, str], there: set[str]) -> dict[str, str]:
    """Names of received files by the hash that is to be there: an erasure put a bare copy in place of some."""
    rows = []
    with search.at(store.office.path, "which received files were erased"):
        rows = store.office.rows("erasures")
    search.rows += len(rows)
    for row in rows:
        for old, _, new in (pair.partition(">") for pair in row["files"].split()):
            names[new] = names.pop(old, "of unknown name")
            if old in there:
                search.damage(
                    search.root / RECEIVED / old,
                    "This file was erased on request and is here still.",
                    f"what it says of {row['person']}",
                    f"Run `wallbow erase-person {row['person']}` again.",
                )
    return names


def _photos(search: _Search, store: Store) -> None:
    """Photos: one for every row of the table, each under the hash of its bytes."""
    rows = []
    with search.at(store.office.path, "which photos there are"):
        rows = store.office.rows("photos")
    search.rows += len(rows)
    tied = {photos.path_of(search.root, row["sha256"], row["ending"]): row for row in rows}
    there = {path for path in (search.root / photos.FOLDER).rglob("*") if path.is_file()}
    for path in sorted(set(tied) | {path for path in there if not path.name.endswith(files.TEMPORARY)}):
        row = tied.get(path)
        affected = f"the photo {row['file_name']} of {row['house']}-{row['wall']}" if row else "no photo that is tied"
        with search.at(path, affected, photos.MEND):
            search.files += 1
            if files.sha256(path.read_bytes()) != path.stem:
                search.damage(path, "This file's name is not the hash of its bytes.", affected, photos.MEND)


def _assessments(search: _Search, store: Store) -> None:
    mend = "Assess again for that day: assessments are made from the facts and nothing is lost."
    for day in store.assessments():
        affected = f"the assessment for {day}"
        with search.at(store.path / assessments.FOLDER / day.isoformat(), affected, mend):
            for table, path in assessments.table_files(store.path, day).items():
                with search.at(path, affected, mend):
                    search.files += 1
                    search.rows += _assessed(path, table).num_rows


def _assessed(path: Path, table: str) -> pa.Table:
    data = path.read_bytes()
    if path.stem != f"{table}-{files.sha256(data)[:16]}":
        raise StoreError("This file's name is not the hash of its bytes.")
    return parquet.read_proven(path, data, table)[0]
