"""Rows put aside by bucket while they come in, so that a bucket can be read back without the others.

A few rows stay in memory; more go to files of one group of rows each, within which a bucket's rows stand together.
"""

from pathlib import Path

import numpy as np
import pyarrow as pa

from monitor import schema
from monitor.records import dataclass
from monitor.store import generations
from monitor.store.files import TEMPORARY
from monitor.store.generations import Numbers

GROUP_ROWS = 400_000
"""Rows that are held in memory at a time: some hundred megabytes of readings."""


@dataclass(frozen=True)
class _Group:
    """Rows sorted by bucket; `starts` says where each bucket's begin. path: the file they went to, if they did."""

    starts: Numbers
    rows: pa.Table | None
    path: Path | None

    def of(self, bucket: int) -> pa.Table:
        start, end = int(self.starts[bucket]), int(self.starts[bucket + 1])
        if self.rows is not None:
            return self.rows.slice(start, end - start)
        with pa.memory_map(str(self.path)) as source, pa.ipc.open_file(source) as file:
            batch = int((np.diff(self.starts[: bucket + 1]) > 0).sum())
            return pa.Table.from_batches([file.get_batch(batch)]) if end > start else file.schema.empty_table()


class Spill:
    """Rows of one table, by bucket. folder: for its files, there already; somebody else takes it away."""

    def __init__(self, table: str, buckets: int, folder: Path) -> None:
        self._table, self._folder = table, folder
        self._buckets = buckets if generations.has_walls(table) else 1
        self._waiting: list[pa.Table] = []
        self._groups: list[_Group] = []

    def put(self, rows: pa.Table) -> None:
        """Put rows aside. OSError where there is no room."""
        for start in range(0, rows.num_rows, GROUP_ROWS):
            some = rows.slice(start, GROUP_ROWS)
            if self._waiting and sum(each.num_rows for each in self._waiting) + some.num_rows > GROUP_ROWS:
                self._close(to_file=True)
            self._waiting.append(some)

    def of(self, bucket: int) -> pa.Table:
        """One bucket's rows of those put aside so far."""
        self._close(to_file=bool(self._groups))
        return pa.concat_tables([schema.empty(self._table), *(group.of(bucket) for group in self._groups)])

    def _close(self, *, to_file: bool) -> None:
        if not self._waiting:
            return
        rows = pa.concat_tables(self._waiting)
        self._waiting = []
        numbers = generations.bucket_numbers(rows, self._buckets) if self._buckets > 1 else np.zeros(rows.num_rows, int)
        starts = np.searchsorted(np.sort(numbers), np.arange(self._buckets + 1)).astype(np.int64)
        if self._buckets > 1:
            rows = rows.take(pa.array(np.argsort(numbers, kind="stable")))
        if not to_file:
            self._groups.append(_Group(starts, rows, None))
            return
        path = self._folder / f"{self._table}-{len(self._groups)}{TEMPORARY}"
        _write(path, rows, starts)
        self._groups.append(_Group(starts, None, path))


def _write(path: Path, rows: pa.Table, starts: Numbers) -> None:
    """A file with a batch for each bucket that has rows."""
    packed = pa.ipc.IpcWriteOptions(compression="lz4")
    with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_file(sink, rows.schema, options=packed) as file:
        for start, end in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
            if end > start:
                file.write_batch(rows.slice(start, end - start).combine_chunks().to_batches()[0])
