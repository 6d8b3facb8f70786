"""Rows of small pieces of files that were read lately, for whoever asks for the same again: a file never changes.

A service reads a wall's files several times for one visit, and those of all walls again for the next one. A file that
was put in place of another, or damaged, is another one by what the disk says of it.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from threading import Lock

import pyarrow as pa

MOST_BYTES = 64 << 20
"""Of all that is kept; the piece that nobody asked for longest goes first."""
_PIECE_BYTES = 4 << 20
"""Larger pieces are not kept: whoever reads whole tables does so once."""


class KeptRows:
    """The pieces of one process, whichever threads ask for them."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most = most_bytes
        self._bytes = 0
        self._kept: OrderedDict[Hashable, tuple[pa.Table, int]] = OrderedDict()
        self._lock = Lock()

    def of(self, path: Path, about: Hashable, read: Callable[[], pa.Table]) -> pa.Table:
        """A piece of a file, read now where it is not kept. about: which piece. Raises as `read`; FileNotFoundError."""
        at = path.stat()
        key = (str(path), at.st_ino, at.st_mtime_ns, at.st_size, about)
        with self._lock:
            found = self._kept.get(key)
            if found is not None:
                self._kept.move_to_end(key)
                return found[0]
        rows = read()
        size = rows.nbytes  # asked once: it looks at every column
        if size <= _PIECE_BYTES:
            with self._lock:
                self._put(key, rows, size)
        return rows

    def _put(self, key: Hashable, rows: pa.Table, size: int) -> None:
        if key in self._kept:
            return
        self._kept[key] = rows, size
        self._bytes += size
        while self._bytes > self._most:
            self._bytes -= self._kept.popitem(last=False)[1][1]
