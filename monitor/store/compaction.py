"""Compaction: the inbox taken into a new generation, under a lock; at no moment is a row missing or double.

A generation takes over the files of the buckets that nothing was added to. What it no longer needs stays for a grace,
as a reader may still hold the pointer of the one before; the time is the disk's own, from the files just written.
"""

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from filelock import FileLock, Timeout

from monitor import schema
from monitor.errors import StoreError, Where
from monitor.store import canonical, files, generations, inbox, parquet, witness
from monitor.store.generations import PartFile, Pointer, Retired

ROWS_PER_BUCKET = 100_000
"""Rows of readings that a bucket should hold: some tens of megabytes in memory."""
LOCK = "compact.lock"
GRACE_SECONDS = 60.0
"""How long a file stays after the generation that needed it was replaced; a slower reader reads again."""
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
    fresh, lines = _waiting(root, taken)
    if not lines:
        return False
    _announce(root, {(str(line["table"]), str(line["name"])) for line in lines})
    buckets = _bucket_count(old, fresh.get("readings"))
    parts = [part for table in schema.FACTS for part in _new_parts(root, old, table, fresh.get(table), buckets)]
    added = pa.Table.from_pylist(lines, schema=parquet.LEDGER)
    ledger = _write(root, "ledger", 0, pa.concat_tables([taken, added]))
    now = (root / generations.FOLDER / ledger.file).stat().st_mtime
    new = Pointer(
        schema_version=schema.VERSION,
        generation=old.generation + 1,
        buckets=buckets,
        parts=tuple(parts),
        ledger=ledger,
        retired=_retired(old, {part.file for part in parts}, now),
    )
    generations.point(root, new)
    _sweep(root, old, new, now)
    return True


def _waiting(root: Path, taken: pa.Table) -> tuple[dict[str, pa.Table], list[dict[str, object]]]:
    """Rows of the adds not yet taken, by table, and their ledger lines."""
    done = set(zip(taken["table"].to_pylist(), taken["name"].to_pylist(), strict=True))
    fresh: dict[str, pa.Table] = {}
    lines: list[dict[str, object]] = []
    for table in schema.FACTS:
        found = []
        for name in inbox.names(root, table):
            if (table, name) in done:
                continue
            path = inbox.path_of(root, table, name)
            try:
                rows, rows_sha256 = parquet.read_with_hash(path, table)
            except StoreError:  # stays where it is: readers and verify name it, and no other row has to wait for it
                continue
            found.append(rows)
            lines += ledger_lines(table, name, rows, rows_sha256)
        if found:
            fresh[table] = pa.concat_tables(found)
    return fresh, lines


def _announce(root: Path, adds: set[tuple[str, str]]) -> None:
    """What the ledger has the witness has too: whoever wrote one of these may have died before it was told."""
    try:
        told = witness.read(root).adds
    except FileNotFoundError:  # `verify` names it
        return
    inbox.announce(root, *sorted(adds - set(told)))


def _bucket_count(old: Pointer, fresh_readings: pa.Table | None) -> int:
    """A power of two that never falls, so that a bucket splits in two but never meets another."""
    rows = sum(part.rows for part in old.of("readings")) + (fresh_readings.num_rows if fresh_readings else 0)
    buckets = old.buckets
    while buckets * ROWS_PER_BUCKET < rows:
        buckets *= 2
    return buckets


def _new_parts(root: Path, old: Pointer, table: str, fresh: pa.Table | None, buckets: int) -> Iterator[PartFile]:
    """The files of a table: as they were where nothing was added, else written anew, one old bucket at a time."""
    walls = generations.has_walls(table)
    before, after = (old.buckets, buckets) if walls else (1, 1)
    stale = {part.bucket: part for part in old.of(table)}
    numbers = _numbers(fresh, before, walls=walls) if fresh is not None else np.empty(0, dtype=np.int64)
    for bucket in range(before):
        rows = [fresh.filter(pa.array(numbers == bucket))] if fresh is not None and (numbers == bucket).any() else []
        if bucket in stale and not rows and before == after:
            yield stale[bucket]
            continue
        if bucket in stale:
            rows.append(_old_rows(root, stale[bucket]))
        if rows:
            both = pa.concat_tables(rows)
            split = _numbers(both, after, walls=walls)
            for number in np.unique(split).tolist():
                yield _write(root, table, number, both.filter(pa.array(split == number)))


def _numbers(rows: pa.Table, buckets: int, *, walls: bool) -> np.ndarray:
    if not walls or buckets == 1:
        return np.zeros(rows.num_rows, dtype=np.int64)
    return generations.bucket_numbers(rows, buckets)


def _old_rows(root: Path, part: PartFile) -> pa.Table:
    try:
        rows = generations.read_part(root, part)
    except FileNotFoundError as error:
        raise missing(Path(error.filename)) from error
    if rows.num_rows != part.rows:
        raise StoreError("A compacted file does not hold what the pointer says.", where=Where(file=part.file))
    return rows


def missing(path: Path) -> StoreError:
    """The error for a file that the store needs and that is not there."""
    return StoreError("A file of the store is missing.", where=Where(file=str(path)), mend="Restore it from a backup.")


def _write(root: Path, table: str, bucket: int, rows: pa.Table) -> PartFile:
    data = parquet.to_bytes(table, canonical.ordered(rows), canonical.digests(table, rows)[1])
    sha256 = files.sha256(data)
    file = f"{table}-{bucket:04d}-{sha256[:16]}.parquet"
    files.write_new(root / generations.FOLDER / file, data)
    return PartFile(table=table, bucket=bucket, file=file, sha256=sha256, rows=rows.num_rows)


def _retired(old: Pointer, needed: set[str], now: float) -> tuple[Retired, ...]:
    kept = [each for each in old.retired if now - each.until <= GRACE_SECONDS]
    if old.files:
        ledger = old.ledger.file if old.ledger else ""
        kept.append(Retired(until=now, files=tuple(sorted(old.files - needed)), ledger=ledger))
    return tuple(kept)


def _sweep(root: Path, old: Pointer, new: Pointer, now: float) -> None:
    """Remove what no reader can hold any more. Every step may be cut short; the next compaction goes on from there."""
    expired = [each.ledger for each in old.retired if each not in new.retired and each.ledger]
    with files.writing(root):
        for ledger in expired[-1:]:
            for line in parquet.read(root / generations.FOLDER / ledger, "ledger").to_pylist():
                inbox.path_of(root, line["table"], line["name"]).unlink(missing_ok=True)
        needed = new.files | {file for each in new.retired for file in each.files}
        for path in (root / generations.FOLDER).iterdir():
            if path.name not in needed:  # no other compaction can be writing here: the lock is ours
                path.unlink(missing_ok=True)
        for path in (root / inbox.FOLDER).glob(f"*/.*{files.TEMPORARY}"):
            with suppress(FileNotFoundError):  # its writer lives, and has named it or given it up since
                if now - path.stat().st_mtime > _ABANDONED_SECONDS:
                    path.unlink()
