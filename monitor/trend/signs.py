"""What the latest visit's rows say beside the numbers in use: seen signs, and held readings that may hide danger.

A reading's state never hides what was seen with it, nor how far inward a held value would lie.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from statistics import fmean, median
from typing import TypeAlias, TypeVar

import pandas as pd

from monitor.terms import Method, Seen, State
from monitor.trend.rows import Row, dates, plain

Key: TypeAlias = tuple[str, str]
"""House and wall."""
Place = TypeVar("Place")

_WALL = ["house", "wall"]
_OF_READING = ["when", "part", "method", "setup", "mark", "deflection_mm", "state"]
_STANDS_ANYWHERE = frozenset({Method.PLUMB, Method.LASER})


@dataclass(frozen=True)
class Sighting:
    """Signs written at the latest visit of a wall (words of terms.Seen), and words that are none of them.

    undated: some of them stand on rows without a date that can be.
    """

    visited_on: date | None
    undated: bool = False
    signs: tuple[Seen, ...] = ()
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True)
class Held:
    """Undecided held readings of a wall: how many, how many without a comparison, and the one furthest inward."""

    count: int
    not_compared: int
    inward_mm: float | None = None
    mark: str = ""
    read_on: date | None = None


def sightings(readings: pd.DataFrame, judged_on: date) -> dict[Key, Sighting]:
    """Signs by wall, from the readings of its latest visit up to `judged_on` whatever became of them.

    Signs on rows whose date is missing or still to come count too, until another row mends them: nobody can say that
    they are not of the latest visit.
    """
    when = dates(readings["visit_date"])
    known = when.notna() & (when <= pd.Timestamp(judged_on))
    past = readings[known].assign(when=when[known])
    newest = past.groupby(_WALL)["when"].transform("max")
    latest = past[past["when"] == newest]
    undated = readings[~known]
    undated = undated[~undated["reading_id"].isin(readings["mends"])]
    days = {_key(row): row["when"] for row in plain(latest[[*_WALL, "when"]].drop_duplicates())}
    told: dict[Key, set[str]] = {key: set() for key in days}
    doubtful = set()
    for rows, has_day in ((latest, True), (undated, False)):
        for row in plain(rows[[*_WALL, "seen"]].drop_duplicates()):
            written = {word.strip() for word in (row["seen"] or "").split(";")} - {""}
            if written:
                told.setdefault(_key(row), set()).update(written)
                doubtful |= set() if has_day else {_key(row)}
    return {
        key: Sighting(days.get(key), key in doubtful, tuple(s for s in Seen if s in words), _unknown(words))
        for key, words in told.items()
    }


def _unknown(words: set[str]) -> tuple[str, ...]:
    return tuple(sorted(words - set(Seen)))


def held_readings(readings: pd.DataFrame) -> dict[Key, Held]:
    """Held readings by wall, as `_held` compares them."""
    return _held(readings, _key)


def held_by_visit(readings: pd.DataFrame) -> dict[tuple[Key, date | None], Held]:
    """The same by wall and day of the visit, None for rows without one."""
    return _held(readings, lambda row: (_key(row), row["when"]))


def _held(readings: pd.DataFrame, place: Callable[[Row], Place]) -> dict[Place, Held]:
    """Held readings by some place; each is compared with its mark's last used value by the same method.

    A plumb line and a laser plane stand anywhere, so what their set-up's other marks moved in the median is taken off
    first; alone in its set-up such a reading cannot be compared. A mark that was read again at a later visit, and that
    reading used, is no longer in doubt: it is counted, but not compared.
    """
    rows = readings.assign(when=dates(readings["visit_date"]))[[*_WALL, *_OF_READING]]
    held = plain(rows[rows["state"] == State.HELD])
    used: dict[Key, list[Row]] = {_key(row): [] for row in held}
    telling = (rows["state"] == State.USED) & rows["when"].notna() & rows["deflection_mm"].notna()
    for row in plain(rows[telling & rows["house"].isin({house for house, _ in used})]):
        if _key(row) in used:
            used[_key(row)].append(row)
    found: dict[Place, Held] = {}
    for row in held:
        old, others = found.get(place(row), Held(0, 0)), used[_key(row)]
        again = any(_same(row, other) and row["when"] and other["when"] > row["when"] for other in others)
        inward = None if again else _inward_mm(row, others)
        now = replace(old, count=old.count + 1, not_compared=old.not_compared + (inward is None and not again))
        if inward is not None and (old.inward_mm is None or inward > old.inward_mm):
            now = replace(now, inward_mm=inward, mark=row["mark"], read_on=row["when"])
        found[place(row)] = now
    return found


def _inward_mm(row: Row, used: list[Row]) -> float | None:
    """How far inward a held reading lies of its mark's last used value; None where there is nothing to compare."""
    last = _last_mm(row, used, row["when"])
    if last is None:
        last = _last_mm(row, used, None)
    if row["deflection_mm"] is None or last is None:
        return None
    change = float(row["deflection_mm"] - last)
    if row["method"] not in _STANDS_ANYWHERE:
        return change
    mates = [mate for mate in used if all(mate[name] == row[name] for name in ("when", "part", "method", "setup"))]
    before = [(mate["deflection_mm"], _last_mm(mate, used, row["when"])) for mate in mates]
    shifts = [now - then for now, then in before if then is not None]
    return change - median(shifts) if shifts else None


def _last_mm(row: Row, used: list[Row], before: date | None) -> float | None:
    """Mean of the mark's values by the same method at its last visit, of those before that day where one is given."""
    same = [other for other in used if _same(row, other) and (before is None or other["when"] < before)]
    newest = max((other["when"] for other in same), default=None)
    return fmean(other["deflection_mm"] for other in same if other["when"] == newest) if same else None


def _same(row: Row, other: Row) -> bool:
    return bool(row["mark"] == other["mark"] and row["method"] == other["method"])


def _key(row: Row) -> Key:
    return row["house"], row["wall"]
