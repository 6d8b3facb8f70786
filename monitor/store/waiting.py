"""The adds that wait in the inbox, hundreds of them: whoever asks for a few walls opens none of the others.

What an add speaks of the witness was told when it came in. Of one it was not told of, or whose line is damaged or too
far back, the file itself is asked.
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import suppress
from pathlib import Path

import pyarrow as pa

from monitor.errors import StoreError
from monitor.lately import Lately
from monitor.store import finding, inbox, parquet, witness
from monitor.store.generations import Wall
from monitor.store.witness import Add, Seen

_TOLD: Lately[dict[Add, Seen | None]] = Lately(8)
"""By store, what its adds speak of, which never changes; None where that was not told."""
_MOST_ADDS = 10_000


class Waiting:
    """A reader of one store's inbox. unread: called with a damaged add; raises, or gives what to take for its rows."""

    def __init__(self, root: Path, unread: Callable[[str, str, StoreError], pa.Table]) -> None:
        self._root, self._unread = root, unread
        self._read: dict[Add, pa.Table] = {}

    def rows(self, adds: Sequence[Add]) -> list[pa.Table]:
        """All rows of some adds, each kept for the next who asks."""
        for add in adds:
            if add not in self._read:
                self._read[add] = self._rows_of(*add)
        return [self._read[add] for add in adds]

    def _rows_of(self, table: str, name: str) -> pa.Table:
        try:
            return parquet.read(inbox.path_of(self._root, table, name), table)
        except StoreError as error:
            return self._unread(table, name, error)

    def forget(self, tables: Collection[str], adds: Collection[Add]) -> None:
        """Let go of what was read of those tables and waits no more: others are the adds that do."""
        gone = [add for add in self._read.keys() - set(adds) if add[0] in tables]
        for add in gone:
            del self._read[add]

    def of_walls(self, adds: Sequence[Add], walls: Collection[Wall]) -> list[Add]:
        """Those that may have rows of some walls."""
        wanted, told = set(walls), _told(self._root, adds)
        return [add for add in adds if (seen := told[add]) is None or not wanted.isdisjoint(seen.walls)]

    def of_houses(self, adds: Sequence[Add], houses: Collection[str]) -> list[Add]:
        """Those that may have rows of some houses, as they are written."""
        wanted, told = set(houses), _told(self._root, adds)
        return [add for add in adds if (seen := told[add]) is None or any(wall[0] in wanted for wall in seen.walls)]

    def of_menders(self, adds: Sequence[Add]) -> list[Add]:
        """Those that may have readings that were sent in to mend others."""
        told = _told(self._root, adds)
        return [add for add in adds if (seen := told[add]) is None or seen.mends]

    def places(self, adds: Sequence[Add]) -> Iterator[Wall]:
        """The houses and walls that they speak of, as `finding.places` tells them; one may come more than once."""
        told = _told(self._root, adds)
        for add in adds:
            seen = told[add]
            if seen is not None:
                yield from seen.walls
            elif (rows := self.rows([add])[0]).num_rows:
                found = finding.places([rows])
                yield from zip(found["house"].to_pylist(), found["wall"].to_pylist(), strict=True)


def _told(root: Path, adds: Sequence[Add]) -> dict[Add, Seen | None]:
    """What the witness was told of some adds; None where it was not told which walls they speak of."""
    told = _TOLD.of(str(root)) or {}
    if len(told) > _MOST_ADDS:
        told = {}
    if asked := set(adds) - told.keys():
        found: dict[Add, Seen] = {}
        with suppress(FileNotFoundError):
            found = witness.of_some(root, asked)
        told = told | {add: seen if (seen := found.get(add)) and seen.about else None for add in asked}
        _TOLD.put(str(root), told)
    return told
