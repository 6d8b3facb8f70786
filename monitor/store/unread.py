"""What was damaged and read past, where somebody asked for a list or for pages of all that still stands."""

from monitor.errors import StoreError
from monitor.records import dataclass
from monitor.store import generations
from monitor.store.generations import Wall


@dataclass(frozen=True)
class Unread:
    """A damaged part of the store that was read past: what is wrong, the mend, what it is, and which walls it concerns.

    walls: None where that cannot be told, so that it may be any. bucket: that of a compacted file, with their number.
    """

    error: StoreError
    what: str
    walls: frozenset[Wall] | None = None
    bucket: tuple[int, int] | None = None

    def concerns(self, wall: Wall) -> bool:
        """Whether something of a wall may be missing."""
        if self.bucket is not None:
            return generations.bucket_of(wall, self.bucket[1]) == self.bucket[0]
        return self.walls is None or wall in self.walls


class ReadPast:
    """What was read past so far, by name of the damaged part; it is asked instead of raising."""

    def __init__(self) -> None:
        self.found: dict[str, Unread] = {}

    def note(self, name: str, unread: Unread) -> None:
        """Remember it."""
        self.found.setdefault(name, unread)
