"""The last few things found, for who asks again."""

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock
from typing import Generic, TypeVar

_Found = TypeVar("_Found")


class Lately(Generic[_Found]):
    """The last few things found, by name; for any number of threads."""

    def __init__(self, most: int = 16) -> None:
        self._most = most
        self._found: OrderedDict[Hashable, _Found] = OrderedDict()
        self._lock = Lock()

    def put(self, name: Hashable, found: _Found) -> None:
        """Keep it, in place of what has its name; where there are too many, what nobody asked for longest goes."""
        with self._lock:
            self._found[name] = found
            self._found.move_to_end(name)
            while len(self._found) > self._most:
                self._found.popitem(last=False)

    def of(self, name: Hashable) -> _Found | None:
        """What was found under that name, None where it is not kept."""
        with self._lock:
            if name in self._found:
                self._found.move_to_end(name)
            return self._found.get(name)
