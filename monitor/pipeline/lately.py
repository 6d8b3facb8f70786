"""What was found lately, for who asks again while nothing changed that it was made from."""

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock
from typing import Generic, TypeVar

_Found = TypeVar("_Found")


class Lately(Generic[_Found]):
    """The last few things found, by name, each with all that it was made from; for any number of threads."""

    def __init__(self, most: int = 16) -> None:
        self._most = most
        self._found: OrderedDict[str, tuple[Hashable, _Found]] = OrderedDict()
        self._lock = Lock()

    def put(self, name: str, made_from: Hashable, found: _Found) -> None:
        """Keep it, in place of what was found under that name before."""
        with self._lock:
            self._found[name] = made_from, found
            self._found.move_to_end(name)
            while len(self._found) > self._most:
                self._found.popitem(last=False)

    def of(self, name: str, made_from: Hashable) -> _Found | None:
        """What was found under that name, None where it is not kept or was made from something else."""
        with self._lock:
            before, found = self._found.get(name, (None, None))
        return found if before == made_from else None
