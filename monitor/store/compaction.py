"""Compaction: the inbox taken into a new generation, under a lock; at no moment is a row missing or double.

A generation takes over the files of the buckets that nothing was added to. What it no longer needs stays for a grace,
as a reader may still hold the pointer of the one before; the time is the disk's own, from the files just written.
"""

import itertools
import shutil
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from filelock import FileLock, Timeout

from monitor import schema
from monitor.errors import StoreError, Where
from monitor.store import canonical, files, generations, inbox, parquet, place, witness
from monitor.store.finding import Finding
from monitor.store.generations import PartFile, Pointer, Retired
from monitor.store.spill import Spill

ROWS_PER_BUCKET = 100_000
"""Rows of readings that a bucket should hold: some tens of megabytes in memory."""
LOCK = "compact.lock"
GRACE_SECONDS = 60.0
"""How long a file stays after the generation that needed it was replaced; a slower reader reads again."""
_ASIDE = f"compacting{files.TEMPORARY}"
_ABANDONED_SECONDS = 3600.0
"""Age at which a half-written file belongs to a writer that has died."""


def compact(root: Path, *, wait: bool = True) -> bool:
    """Take the inbox into a new generation. False where there was nothing to take or, unless `wait`, one is under way.

    An add that cannot be read is left in the inbox, where `verify` names it. Raises StoreError where a file of the
    present generation is damaged, or nothing can be written; the present generation then stands.
    """
    lock = FileLock(root / LOCK)
    try:
        with files.writing(root / LOCK):
            try:
                lock.acquire(timeout=-1 if wait else 0)
            except Timeout:
                return False
        return _compact(root)
    finally:
        lock.release()


def at_rest(root: Path) -> FileLock:
    """To be held while no file of the present generation may go."""
    return FileLock(root / LOCK)


def ledger_lines(table: str, name: str, rows: pa.Table, rows_sha256: str) -> list[dict[str, object]]:
    """The lines of the ledger for one add: one per moment at which rows of it became known."""
    return [
        {"table": table, "name": name, "rows_sha256": rows_sha256, "known_at": each["values"], "rows": each["counts"]}
        for each in pc.value_counts(rows["known_at"]).to_pylist()
    ]


def _compact(root: Path) -> bool:
    old = generations.pointer(root)
    taken = generations.ledger(root, old)
    adds = _waiting(root, taken)
    buckets = _bucket_count(old, sum(_rows_of(root, *add) for add in adds if add[0] == "readings"))
    aside = root / _ASIDE
    shutil.rmtree(aside, ignore_errors=True)  # of a compaction that was cut off
    aside.mkdir()
    try:
        lines: list[dict[str, object]] = []
        parts: list[PartFile] = []
        found = Finding(root, old)
        turn = list(itertools.chain.from_iterable(_becoming(old.buckets, buckets)))
        for table in schema.FACTS:
            fresh = Spill(table, buckets, aside, turn)
            told = _put_aside(root, table, [name for of, name in adds if of == table], fresh)
            lines += told
            parts += _new_parts(root, old, table, fresh if told else None, buckets, found)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    if not lines:
        return False
    _announce(root, {(str(line["table"]), str(line["name"])) for line in lines})
    whole = pa.concat_tables([taken, pa.Table.from_pylist(lines, schema=parquet.LEDGER)])
    ledger = _write(root, "ledger", 0, whole)
    worked_out = found.tables() | {"taken": _still_there(root, whole)}
    derived = [_write(root, name, 0, rows) for name, rows in worked_out.items()]
    now = place.of(root).modified(f"{generations.FOLDER}/{ledger.file}")
    new = Pointer(
        schema_version=schema.VERSION,
        generation=old.generation + 1,
        buckets=buckets,
        parts=tuple(parts),
        derived=tuple(derived),
        ledger=ledger,
        retired=_retired(old, {part.file for part in (*parts, *derived)}, now),
    )
    generations.point(root, new)
    _sweep(root, old, new, now)
    return True


def _waiting(root: Path, taken: pa.Table) -> list[tuple[str, str]]:
    """The adds not yet taken."""
    done = _adds(taken)
    return [add for add in inbox.every(root) if add not in done]


def _rows_of(root: Path, table: str, name: str) -> int:
    return parquet.number_of_rows(inbox.path_of(root, table, name))


def _put_aside(root: Path, table: str, names: Iterable[str], fresh: Spill) -> list[dict[str, object]]:
    """Rows of adds put aside, an add in memory at a time; their ledger lines."""
    lines: list[dict[str, object]] = []
    for name in names:
        try:
            rows, rows_sha256 = parquet.read_with_hash(inbox.path_of(root, table, name), table)
        except StoreError:  # stays where it is: readers and verify name it, and no other row has to wait for it
            continue
        fresh.put(rows)
        lines += ledger_lines(table, name, rows, rows_sha256)
    return lines


def _still_there(root: Path, ledger: pa.Table) -> pa.Table:
    """The adds of a ledger whose files lie in the inbox, which are sooner told from new ones so."""
    there = sorted(set(inbox.every(root)) & _adds(ledger))
    return pa.Table.from_arrays(
        [pa.array(column, pa.string()) for column in zip(*there, strict=True)], schema=parquet.TAKEN
    )


def _adds(ledger: pa.Table) -> set[tuple[str, str]]:
    lines = pc.binary_join_element_wise(ledger["table"], ledger["name"], "/").unique().to_pylist()
    return {(table, name) for table, _, name in (line.partition("/") for line in lines)}


def _announce(root: Path, adds: set[tuple[str, str]]) -> None:
    """What the ledger has the witness has too: whoever wrote one of these may have died before it was told."""
    try:
        told = witness.read(root).adds
    except FileNotFoundError:  # `verify` names it
        return
    inbox.announce(root, *sorted(adds - set(told)))


def _bucket_count(old: Pointer, fresh_rows: int) -> int:
    """A power of two that never falls, so that a bucket splits in two but never meets another."""
    rows = sum(part.rows for part in old.of("readings")) + fresh_rows
    buckets = old.buckets
    while buckets * ROWS_PER_BUCKET < rows:
        buckets *= 2
    return buckets


def _becoming(before: int, after: int) -> list[range]:
    """For each of the buckets before the numbers of those that it becomes."""
    return [range(bucket, after, before) for bucket in range(before)]


def _new_parts(
    root: Path, old: Pointer, table: str, fresh: Spill | None, buckets: int, found: Finding
) -> Iterator[PartFile]:
    """The files of a table: as they were where nothing was added, else written anew, one old bucket at a time."""
    before, after = (old.buckets, buckets) if generations.has_walls(table) else (1, 1)
    stale = {part.bucket: part for part in old.of(table)}

    def added(number: int) -> pa.Table:
        return fresh.of(number) if fresh else schema.empty(table)

    for bucket, becoming in enumerate(_becoming(before, after)):
        if before == after and not added(bucket).num_rows:
            if bucket in stale:
                found.kept(stale[bucket])
                yield stale[bucket]
            continue
        kept = _old_rows(root, stale[bucket]) if bucket in stale else schema.empty(table)
        numbers = generations.bucket_numbers(kept, after) if after > 1 else np.zeros(kept.num_rows, np.int64)
        for number in becoming:  # a bucket in memory at a time
            both = pa.concat_tables([kept.filter(pa.array(numbers == number)), added(number)])
            if both.num_rows:
                found.written(table, both)
                yield _write(root, table, number, both)


def _old_rows(root: Path, part: PartFile) -> pa.Table:
    try:
        rows = generations.read_part(root, part)
    except FileNotFoundError as error:
        raise missing(Path(error.filename or part.file)) from error
    if rows.num_rows != part.rows:
        raise StoreError("A compacted file does not hold what the pointer says.", where=Where(file=part.file))
    return rows


def missing(path: Path) -> StoreError:
    """The error for a file that the store needs and that is not there."""
    return StoreError("A file of the store is missing.", where=Where(file=str(path)), mend="Restore it from a backup.")


def _write(root: Path, table: str, bucket: int, rows: pa.Table) -> PartFile:
    rows = canonical.ordered(rows)
    data = parquet.to_bytes(table, rows, canonical.digests(table, rows, is_ordered=True)[1])
    sha256 = files.sha256(data)
    file = f"{table}-{bucket:04d}-{sha256[:16]}.parquet"
    place.of(root).write(f"{generations.FOLDER}/{file}", data)
    return PartFile(table=table, bucket=bucket, file=file, sha256=sha256, rows=rows.num_rows)


def _retired(old: Pointer, needed: set[str], now: float) -> tuple[Retired, ...]:
    kept = [each for each in old.retired if now - each.until <= GRACE_SECONDS]
    if old.files:
        ledger = old.ledger.file if old.ledger else ""
        kept.append(Retired(until=now, files=tuple(sorted(old.files - needed)), ledger=ledger))
    return tuple(kept)


def _sweep(root: Path, old: Pointer, new: Pointer, now: float) -> None:
    """Remove what no reader can hold any more. Every step may be cut short; the next compaction goes on from there."""
    at = place.of(root)
    expired = [each.ledger for each in old.retired if each not in new.retired and each.ledger]
    with files.writing(root):
        for ledger in expired[-1:]:
            for line in parquet.open_and_read(at, f"{generations.FOLDER}/{ledger}", "ledger").to_pylist():
                inbox.path_of(root, line["table"], line["name"]).unlink(missing_ok=True)
        needed = new.files | {file for each in new.retired for file in each.files}
        for name in at.names(generations.FOLDER):
            if name not in needed:  # no other compaction can be writing here: the lock is ours
                at.remove(f"{generations.FOLDER}/{name}")
        for path in (root / inbox.FOLDER).glob(f"*/.*{files.TEMPORARY}"):
            with suppress(FileNotFoundError):  # its writer lives, and has named it or given it up since
                if now - path.stat().st_mtime > _ABANDONED_SECONDS:
                    path.unlink()
