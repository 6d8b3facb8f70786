"""Rows put aside by bucket while they come in, so that a bucket can be read back without the others.

A few rows stay in memory; more go to files of one group of rows each. Within a file the rows of some buckets that are
asked for one after the other stand in one piece: were there a piece for every bucket, files times buckets would be
opened, and that is the square of the rows.
"""

from collections.abc import Sequence
from itertools import pairwise
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
TOGETHER = 16
"""Buckets that are read back at once: as full as they should be, these are some four hundred megabytes of readings."""


@dataclass(frozen=True)
class _Group:
    """Rows in the order of their buckets' places; `starts` says where those of each place begin.

    path: the file they went to, if they did.
    """

    starts: Numbers
    rows: pa.Table | None
    path: Path | None

    def of(self, drawer: int) -> tuple[Numbers, pa.Table]:
        """The rows of one drawer, and where in them each of its places begins, and the last one ends."""
        starts = self.starts[drawer * TOGETHER : (drawer + 1) * TOGETHER + 1]
        start, end = int(starts[0]), int(starts[-1])
        if self.rows is not None:
            return starts - start, self.rows.slice(start, end - start)
        with pa.memory_map(str(self.path)) as source, pa.ipc.open_file(source) as file:
            before = _drawers(self.starts)[: drawer + 1]
            rows = [file.get_batch(int((np.diff(before) > 0).sum()))] if end > start else []
            return starts - start, pa.Table.from_batches(rows, file.schema)


class Spill:
    """Rows of one table, by bucket. folder: for its files, there already; somebody else takes it away.

    turn: every bucket, in the order in which they will be asked for; by number where it is left out. In any other order
    the same rows come back, only slower.
    """

    def __init__(self, table: str, buckets: int, folder: Path, turn: Sequence[int] = ()) -> None:
        self._table, self._folder = table, folder
        self._buckets = buckets if generations.has_walls(table) else 1
        self._places = np.argsort(turn) if len(turn) == self._buckets else np.arange(self._buckets)
        self._waiting: list[pa.Table] = []
        self._groups: list[_Group] = []
        self._opened: tuple[int, list[tuple[Numbers, pa.Table]]] = (-1, [])

    def put(self, rows: pa.Table) -> None:
        """Put rows aside. OSError where there is no room."""
        for start in range(0, rows.num_rows, GROUP_ROWS):
            some = rows.slice(start, GROUP_ROWS)
            if self._waiting and sum(each.num_rows for each in self._waiting) + some.num_rows > GROUP_ROWS:
                self._close(to_file=True)
            self._waiting.append(some)

    def of(self, bucket: int) -> pa.Table:
        """One bucket's rows of those put aside so far, in one piece."""
        self._close(to_file=bool(self._groups))
        drawer, within = divmod(int(self._places[bucket]), TOGETHER)
        if self._opened[0] != drawer:
            self._opened = (-1, [])  # the one before goes first
            self._opened = (drawer, [group.of(drawer) for group in self._groups])
        pieces = [
            rows.slice(int(starts[within]), int(starts[within + 1] - starts[within]))
            for starts, rows in self._opened[1]
        ]
        return pa.concat_tables([schema.empty(self._table), *pieces]).combine_chunks()

    def _close(self, *, to_file: bool) -> None:
        if not self._waiting:
            return
        self._opened = (-1, [])
        rows = pa.concat_tables(self._waiting)
        self._waiting = []
        if self._buckets > 1:
            places = self._places[generations.bucket_numbers(rows, self._buckets)]
            rows = rows.take(pa.array(np.argsort(places, kind="stable")))
        else:
            places = np.zeros(rows.num_rows, int)
        starts = np.searchsorted(np.sort(places), np.arange(self._buckets + 1)).astype(np.int64)
        if not to_file:
            self._groups.append(_Group(starts, rows, None))
            return
        path = self._folder / f"{self._table}-{len(self._groups)}{TEMPORARY}"
        _write(path, rows, starts)
        self._groups.append(_Group(starts, None, path))


def _drawers(starts: Numbers) -> Numbers:
    """Where each drawer begins, and the last one ends."""
    return np.append(starts[:-1:TOGETHER], starts[-1])


def _write(path: Path, rows: pa.Table, starts: Numbers) -> None:
    """A file with a batch for each drawer that has rows."""
    packed = pa.ipc.IpcWriteOptions(compression="lz4")
    pieces = _drawers(starts).tolist()
    with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_file(sink, rows.schema, options=packed) as file:
        for start, end in pairwise(pieces):
            if end > start:
                file.write_batch(rows.slice(start, end - start).combine_chunks().to_batches()[0])
