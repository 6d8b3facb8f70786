"""Proof that a store is whole: every file opened and hashed again, counts and keys compared; damage never stops it."""

import tempfile
from collections import Counter
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

import pyarrow as pa

from monitor import schema
from monitor.errors import StoreError
from monitor.results import Proof
from monitor.store import canonical, files, generations, inbox, marker, parquet, place, proof_of_files, witness
from monitor.store.checks import CrossChecks
from monitor.store.finding import Finding
from monitor.store.generations import PartFile, Pointer, Wall
from monitor.store.search import AGAIN, RESTORE, Search, about_words
from monitor.store.spill import Spill
from monitor.store.store import SETTINGS, TELLING, Store
from monitor.store.tiers import Tiers
from monitor.store.witness import Add, Testimony

_TRIES = 3
_SHOWN = 12
_FROM_FILES = "everything else; the files that these rows came from are kept under files/"
_WORKED_OUT = "Take the file away; it is worked out again from the rows, which are whole, with the next compaction."
_ALL_ROWS = "readings, register, rulings, assessments, photos and received files"


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
    search = Search(store.path)
    with search.at(store.path / marker.FILE, "the whole store: nothing opens without it", stands=_ALL_ROWS):
        search.files += 1
        marker.read(store.path)
    with search.at(store.path / SETTINGS, "every assessment to come", stands="those on record, with their settings"):
        search.files += 1
        if not (store.path / SETTINGS).exists():
            raise FileNotFoundError
        store.settings()
    if (store.path / TELLING).exists():
        with search.at(store.path / TELLING, "how people are told of alerts", stands="every alert and who was told"):
            search.files += 1
            store.telling()
    told = _told(search)  # before the rest: what was told by now must be there
    _office(search, store, told)
    receipts = _facts(search, told)
    proof_of_files.look(search, store, receipts)
    return Proof(files=search.files, rows=search.rows, damages=tuple(search.damages), remarks=tuple(search.remarks))


def _told(search: Search) -> Testimony:
    path, affected = search.root / witness.FILE, "the proof that nothing acknowledged went away"
    said = Testimony()
    with search.at(path, affected, stands="every row, file and record"):
        search.files += 1
        said = witness.read(search.root)
        for number in said.broken:
            search.damage(path, f"Line {number} is not as it was written.", affected, RESTORE, "every row and record")
        if said.is_cut:
            search.remark(path, "Its last line is cut off; whoever writes next takes that away.")
    return said


def _office(search: Search, store: Store, told: Testimony) -> None:
    path, affected = store.office.path, "people, decisions, accounts, news, pages on record and the company's data"
    with search.at(path, affected, stands="readings, register, rulings, assessments, photos and received files"):
        search.files += 1
        problems = store.office.problems()
        for problem, what in problems:
            search.damage(path, f"{problem}.", what, RESTORE, "the other records, as far as SQLite reads them")
        if not problems:
            search.rows += store.office.people().num_rows + store.office.decisions().num_rows
        turns = store.office.turns()
        if turns < told.turns:
            search.damage(
                path,
                f"It is older than it was: {told.turns} changes were acknowledged, and it has {turns}.",
                f"the last {told.turns - turns} changes of {affected}",
                "Put the newer file back, or restore the newest backup and record again what came after it.",
                "what was recorded before",
            )


def _facts(search: Search, told: Testimony) -> pa.Table:
    """Look at every row, a bucket of walls at a time, compacted or waiting in the inbox; returns the receipts."""
    waiting = set(inbox.every(search.root))
    at, taken = _pointer(search)
    buckets = at.buckets if at else 1
    with tempfile.TemporaryDirectory() as aside:
        fresh = {table: Spill(table, buckets, Path(aside)) for table in schema.FACTS}
        for table, name in sorted(waiting - taken):
            _waiting(search, told, table, name, fresh[table])
        for table, name in sorted(waiting & taken):  # doubles, until they are swept away; a sign all the same
            path, seen = inbox.path_of(search.root, table, name), told.adds.get((table, name))
            with suppress(FileNotFoundError):
                if seen and seen.sha256 and files.sha256(path.read_bytes()) != seen.sha256:
                    search.remark(
                        path, "Its bytes changed. Its rows are compacted, so nothing is affected: mind that disk."
                    )
        look = _Buckets(search, at, fresh)
        shared = look.of(0, [table for table in schema.FACTS if not generations.has_walls(table)])
        checks = CrossChecks(shared["rulings"], shared["receipts"])
        checks.take(shared)
        for bucket in range(buckets):
            checks.take(look.of(bucket, [table for table in schema.FACTS if generations.has_walls(table)]))
    if at:
        if look.read == len(at.parts):
            _derived(search, at, look.worked, taken)
        _missing(search, told, waiting, taken)
    for name, what, affected, mend in checks.findings():
        search.damage(name, what, affected, mend, "all other rows")
    return shared["receipts"]


def _waiting(search: Search, told: Testimony, table: str, name: str, fresh: Spill) -> None:
    """Look at an add in the inbox, and put its rows aside."""
    path = inbox.path_of(search.root, table, name)
    seen = told.adds.get((table, name))
    if seen is None:
        search.remark(
            path,
            "Nobody was told that these rows are in: whoever sent them was cut off, or strange hands "
            "put them there. Sending their file again sets it right.",
        )
    with search.at(path, about_words(table, seen), AGAIN, _FROM_FILES):
        fresh.put(_add(search, path, table, name))
        if seen and seen.sha256 and files.sha256(path.read_bytes()) != seen.sha256:
            what = "This file's bytes are not those that were acknowledged, though its rows are."
            search.damage(path, what, about_words(table, seen), AGAIN, "its rows, and everything else")


class _Buckets:
    """Reads rows bucket by bucket, and proves the files they stand in. read: how many of these were whole."""

    def __init__(self, search: Search, at: Pointer | None, fresh: Mapping[str, Spill]) -> None:
        self._search, self._at, self._fresh = search, at, fresh
        self._parts = {(part.table, part.bucket): part for part in (at.parts if at else ())}
        self.worked = Finding(search.root, Pointer(schema_version=schema.VERSION, generation=0, buckets=1))
        self.read = 0

    def of(self, bucket: int, tables: Iterable[str]) -> dict[str, pa.Table]:
        """All rows of those tables in a bucket that could be read."""
        return {
            table: pa.concat_tables([self._compacted(table, bucket), self._fresh[table].of(bucket)]) for table in tables
        }

    def _compacted(self, table: str, bucket: int) -> pa.Table:
        part, at = self._parts.get((table, bucket)), self._at
        rows = schema.empty(table)
        if part is None or at is None:
            return rows
        path = place.of(self._search.root).path(f"{generations.FOLDER}/{part.file}")
        with self._search.at(
            path, lambda: f"rows of {table}{_of_bucket(self._search.root, part, at)}", AGAIN, _FROM_FILES
        ):
            rows = _part(self._search, part, at.buckets)
            self.worked.written(table, rows)
            self.read += 1
        return rows


def _derived(search: Search, at: Pointer, worked: Finding, taken: set[Add]) -> None:
    """What rows are found by: it has to be what the rows make it."""
    made = worked.tables()
    for part in at.derived:
        path = search.root / generations.FOLDER / part.file
        affected = "how fast a few walls are read, and which readings of other walls mend theirs"
        with search.at(path, affected, _WORKED_OUT, _ALL_ROWS):
            rows = _part(search, part, at.buckets)
            if part.table == "taken":
                is_so = set(zip(rows["table"].to_pylist(), rows["name"].to_pylist(), strict=True)) <= taken
            else:
                ours, theirs = (canonical.ordered(each, rows.column_names) for each in (rows, made[part.table]))
                is_so = ours.equals(theirs)
            if not is_so:
                raise StoreError("This file is not what the compacted rows make it.")


def _of_bucket(root: Path, part: PartFile, at: Pointer) -> str:
    """The walls whose rows a compacted file holds, as far as the register can be read."""
    if not generations.has_walls(part.table):
        return ""
    if at.buckets == 1:
        return " of every wall"
    known = sorted("-".join(wall) for wall in _registered(root, part.bucket, at.buckets))
    more = f" and {len(known) - _SHOWN} more" if len(known) > _SHOWN else ""
    return f" of {', '.join(known[:_SHOWN]) or 'walls'}{more} (bucket {part.bucket} of {at.buckets})"


def _registered(root: Path, bucket: int, buckets: int) -> set[Wall]:
    try:
        rows = Tiers(root).rows("walls", columns=("house", "wall"))
    except StoreError:
        return set()
    mine = rows.filter(pa.array(generations.bucket_numbers(rows, buckets) == bucket))
    return set(zip(mine["house"].to_pylist(), mine["wall"].to_pylist(), strict=True))


def _missing(search: Search, told: Testimony, waiting: set[Add], taken: set[Add]) -> None:
    """What was acknowledged and is in neither tier; and what is in the ledger without ever having been told."""
    for table, name in sorted(set(told.adds) - waiting - taken):
        path = inbox.path_of(search.root, table, name)
        affected = about_words(table, told.adds[table, name])
        search.damage(path, "Rows that were acknowledged are missing.", affected, AGAIN, _FROM_FILES)
    if untold := taken - set(told.adds):
        search.damage(
            search.root / witness.FILE,
            f"{len(untold)} adds that are in the compacted files are not in it: lines of it are missing.",
            "the proof that nothing acknowledged went away",
            RESTORE,
            "every row and record",
        )


def _pointer(search: Search) -> tuple[Pointer | None, set[tuple[str, str]]]:
    """The pointer, and the adds that its files hold."""
    path = search.root / generations.POINTER
    with search.at(path, "every compacted row", stands=_FROM_FILES):
        search.files += 1
        at = generations.pointer(search.root)
        if at.ledger is None:
            return at, set()
        taken: set[tuple[str, str]] = set()
        ledger_path = search.root / generations.FOLDER / at.ledger.file
        with search.at(ledger_path, "which adds are compacted: they may count twice", stands="every row"):
            lines = _part(search, at.ledger, at.buckets)
            taken = set(zip(lines["table"].to_pylist(), lines["name"].to_pylist(), strict=True))
            added = Counter[str]()
            for line in lines.to_pylist():
                added[line["table"]] += line["rows"]
            for table in schema.FACTS:
                kept = sum(part.rows for part in at.of(table))
                if added[table] != kept:
                    what = f"{added[table]} rows of {table} were taken in, but the compacted files hold {kept}."
                    search.damage(path, what, f"rows of {table}", RESTORE, _FROM_FILES)
        return at, taken
    return None, set()


def _part(search: Search, part: PartFile, buckets: int) -> pa.Table:
    at, name = place.of(search.root), f"{generations.FOLDER}/{part.file}"
    path, data = at.path(name), at.read(name)
    search.files += 1
    if files.sha256(data) != part.sha256:
        raise StoreError(f"This file's bytes are not those that {generations.POINTER} speaks of.", mend=RESTORE)
    rows, _ = parquet.read_proven(path, data, part.table)
    if rows.num_rows != part.rows:
        raise StoreError(f"This file has {rows.num_rows} rows, not {part.rows} as the pointer says.", mend=RESTORE)
    if part.table in schema.FACTS and generations.has_walls(part.table):
        strays = int((generations.bucket_numbers(rows, buckets) != part.bucket).sum())
        if strays:
            raise StoreError(f"{strays} rows of this file belong to another bucket.", mend=RESTORE)
    search.rows += rows.num_rows if part.table in schema.FACTS else 0
    return rows


def _add(search: Search, path: Path, table: str, name: str) -> pa.Table:
    data = path.read_bytes()
    search.files += 1
    rows, content = parquet.read_proven(path, data, table)
    if content != name:
        raise StoreError("This file's name is not the hash of its rows.", mend=AGAIN)
    search.rows += rows.num_rows
    return rows
