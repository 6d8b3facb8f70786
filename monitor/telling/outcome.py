"""What came of handing something over, and the clock that ends every wait."""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from threading import Timer

from monitor.records import dataclass

WHOLE = 3
"""A whole mail or post may take so many times as long as a server's next word may."""


@dataclass(frozen=True)
class Outcome:
    """delivered: taken over by the other side. why: in a few words of ours, never the other side's, which may name
    somebody's address.
    """

    delivered: bool
    why: str


@contextmanager
def ended_after(seconds: float, sock: Callable[[], socket.socket | None]) -> Iterator[None]:
    """End the wait for a server that says a little now and then for ever, which no time-out of a socket ends."""

    def end() -> None:
        if found := sock():
            with suppress(OSError):
                found.shutdown(socket.SHUT_RDWR)

    timer = Timer(seconds, end)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
