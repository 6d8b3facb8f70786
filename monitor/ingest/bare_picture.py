"""A picture's bytes without what was written beside it: what the readers of the two kinds of files give back."""

from monitor.records import dataclass


class NoPictureError(ValueError):
    """Bytes that are no whole picture; the message says why."""


@dataclass(frozen=True)
class Bare:
    """A picture as it is kept: its bytes, the ending of its kind (jpg, png), and its size as it is shown, in pixels."""

    data: bytes
    ending: str
    width: int
    height: int
