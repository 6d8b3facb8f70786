"""What takes long to make, kept for who asks next; made once however many ask for it at the same time."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import TypeVar

_Made = TypeVar("_Made")


class Kept:
    """The last few things made, by all that they were made from: what is made from other facts is another thing."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._made: OrderedDict[Hashable, object] = OrderedDict()
        self._lock = Lock()

    def of(
        self, made_from: Hashable, make: Callable[[], _Made], is_whole: Callable[[_Made], bool] = lambda _: True
    ) -> _Made:
        """The thing made from that, made now where nobody asked for it lately; kept only where it is whole."""
        with self._lock:
            if made_from not in self._made:
                made = make()
                if not is_whole(made):
                    return made
                self._made[made_from] = made
            self._made.move_to_end(made_from)
            while len(self._made) > self._most:
                self._made.popitem(last=False)
            found: _Made = self._made[made_from]  # type: ignore[assignment]
            return found
