"""The moment at which something becomes known: never before what is known already, whatever a machine's clock says.

A clock that was set back (or one that was ahead before) would put a fact before those it rests on: a withdrawal before
the ruling it takes back, a list before the readings on it. So the moment is then the first one after the newest fact on
record, and that is said.
"""

from datetime import datetime, timedelta

from monitor.records import dataclass
from monitor.store import Store

NOTED = timedelta(seconds=2)
"""Clocks of machines that are kept right differ by less (common practice, no source)."""
_NEXT = timedelta(microseconds=1)


@dataclass(frozen=True)
class Moment:
    """A moment in UTC, and in one sentence why it is not the clock's ('' where it is, or as good as)."""

    at: datetime
    said: str = ""


def not_before(store: Store, clock: datetime) -> Moment:
    """The clock's time, or the first moment after the newest fact on record where the clock is behind that."""
    newest = store.newest_known()
    if newest is None or clock > newest:
        return Moment(clock)
    at = newest + _NEXT
    if newest - clock < NOTED:
        return Moment(at)
    return Moment(
        at,
        f"The clock of this machine stands at {clock:%Y-%m-%d %H:%M:%S} UTC, but the newest fact on record was known "
        f"at {newest:%Y-%m-%d %H:%M:%S} UTC. So that nothing stands before what it rests on, this counts as known just "
        "after that. Set the clock right; if it is, then it was ahead when that fact came in.",
    )
