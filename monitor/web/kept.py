"""What takes long to make, kept for who asks next; made once however many ask for it at the same time."""

from collections.abc import Callable, Hashable
from threading import Lock
from typing import TypeVar

from monitor.lately import Lately

_Made = TypeVar("_Made")


class Kept:
    """The last few things made, by all that they were made from: what is made from other facts is another thing."""

    def __init__(self, most: int) -> None:
        self._made = Lately[object](most)
        self._making = Lock()

    def of(
        self, made_from: Hashable, make: Callable[[], _Made], is_whole: Callable[[_Made], bool] = lambda _: True
    ) -> _Made:
        """The thing made from that, made now where nobody asked for it lately; kept only where it is whole."""
        with self._making:
            found: _Made | None = self._made.of(made_from)  # type: ignore[assignment]  # whoever asks says what it is
            if found is None:
                found = make()
                if is_whole(found):
                    self._made.put(made_from, found)
            return found
