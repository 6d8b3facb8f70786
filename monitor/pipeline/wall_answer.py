"""What is told of a wall to whoever sent something in about it."""

from collections.abc import Sequence

from monitor.records import dataclass


@dataclass(frozen=True)
class WallAnswer:
    """A wall's verdict with the upload in, in the words of its page; before: the verdict of the last assessment."""

    wall: str
    verdict: str
    before: str
    reason: str
    missing: str
    alarms: Sequence[str]
