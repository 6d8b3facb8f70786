"""Keys as people write them: a wall's (`DH-01-N`; house `DH-01`, wall `N` in tables), the first signs of an id."""

import difflib
from collections.abc import Mapping
from datetime import datetime
from typing import TypeVar

import pyarrow as pa

from monitor.errors import NotFoundError
from monitor.store import Store

SHORTEST_ID = 4
"""So many signs of an id must be written at least."""

_T = TypeVar("_T")


def written(house: str, wall: str) -> str:
    """How a wall's key is written."""
    return f"{house}-{wall}"


def of(walls: pa.Table) -> list[tuple[str, str]]:
    """House and wall of every wall in a table, sorted."""
    return sorted(set(zip(walls["house"].to_pylist(), walls["wall"].to_pylist(), strict=True)))


def registered(store: Store, key: str, known_on: datetime | None = None) -> tuple[str, str]:
    """House and wall of the registered wall of a written key; NotFoundError as `find`. Of others no more is read."""
    split = [(key[:at], key[at + 1 :]) for at, sign in enumerate(key) if sign == "-"]
    found = of(store.current("walls", known_on, walls=split))
    return found[0] if len(found) == 1 else find(store.registered(known_on), key)


def find(walls: pa.Table, key: str) -> tuple[str, str]:
    """House and wall of a written key; NotFoundError with that house's walls, else the nearest, where there is none."""
    known = {
        written(house, wall): (house, wall)
        for house, wall in zip(walls["house"].to_pylist(), walls["wall"].to_pylist(), strict=True)
    }
    if key in known:
        return known[key]
    folded = {name.casefold(): name for name in known}
    if key.strip().casefold() in folded:
        return known[folded[key.strip().casefold()]]
    of_house = sorted(name for name, (house, _) in known.items() if house.casefold() == key.strip().casefold())
    near = of_house or difflib.get_close_matches(key, known, n=3, cutoff=0.4)
    raise NotFoundError(
        "This is a house; a wall of it is asked for." if of_house else "The register has no such wall.",
        got=key,
        expected=", ".join(near) if near else "a wall that was registered",
        mend="Write house and wall."
        if of_house
        else "Register the wall first, or write its key as house-wall, e.g. DH-01-N.",
    )


def id_signs(written: str) -> str:
    """The signs of an id as ids have them."""
    return written.strip().lower()


def by_beginning(every: Mapping[str, _T], written: str, thing: str, mend: str) -> _T:
    """What has that id, or a unique beginning of it. every: by id. thing: what it is, in a word.

    Raises NotFoundError.
    """
    sought = id_signs(written)
    found = [one for name, one in every.items() if len(sought) >= SHORTEST_ID and name.startswith(sought)]
    if len(found) != 1:
        raise NotFoundError(
            f"More than one {thing}'s id begins so." if found else f"No {thing} has that id.",
            got=written,
            expected=f"the id of one {thing}, or its first signs (four or more)",
            mend=mend,
        )
    return found[0]
