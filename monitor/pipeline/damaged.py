"""What a list or pages lack where a part of the store is damaged: said in sentences, and which walls it keeps back."""

import os
from collections.abc import Iterable, Sequence

from monitor.pipeline import keys
from monitor.report.context import Key
from monitor.store import Store
from monitor.store.unread import Unread

_SHOWN = 8


def sentences(store: Store, walls: Iterable[Key]) -> Sequence[str]:
    """What was read past so far, a sentence each, with those of the walls given that it concerns.

    Files are named from the store's folder on: where that lies is nothing for a page.
    """
    known = list(walls)
    return [_sentence(unread, known).replace(f"{store.path}{os.sep}", "") for unread in store.unread]


def refuse(store: Store, wall: Key) -> None:
    """Raise the StoreError of what was read past where it concerns a wall: nothing is told of half a wall."""
    for unread in store.unread:
        if unread.concerns(wall):
            raise unread.error


def whole(store: Store, walls: Iterable[Key]) -> list[Key]:
    """Those of the walls of which nothing was read past."""
    return [wall for wall in walls if not any(unread.concerns(wall) for unread in store.unread)]


def _sentence(unread: Unread, walls: Sequence[Key]) -> str:
    concerned = [keys.written(*wall) for wall in walls if unread.concerns(wall)]
    more = f" and {len(concerned) - _SHOWN} more" if len(concerned) > _SHOWN else ""
    of = f" of {', '.join(concerned[:_SHOWN])}{more}" if concerned else ""
    return f"Damaged, and left out: {unread.what}{of}. {unread.error}"
