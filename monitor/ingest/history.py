"""What is known of other visits: readings in the store that another file brought, and those of this file so far."""

from bisect import bisect_left, insort
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from monitor.ingest.known import wall_id
from monitor.terms import State

Reading = Mapping[str, Any]
"""One row of the readings table, by column."""

RULED = "ruled"
"""Reason code of a reading that a person rejected."""

PLACE = ("house", "wall", "visit_date", "part", "method", "setup", "mark")
"""Columns that say which number of which visit a row is."""


class _ByVisit:
    """Rows visit by visit, in order."""

    def __init__(self) -> None:
        self._rows: dict[tuple[date, int], list[Reading]] = defaultdict(list)
        self._order: list[tuple[date, int]] = []

    def add(self, row: Reading) -> None:
        """One more row."""
        if when(row) not in self._rows:
            insort(self._order, when(row))
        self._rows[when(row)].append(row)

    def before(self, day: date) -> list[Reading]:
        """The rows of the latest visit before that day."""
        at = bisect_left(self._order, (day, -1))
        return self._rows[self._order[at - 1]] if at else []

    @property
    def first_day(self) -> date | None:
        """The day of the first visit."""
        return self._order[0][0] if self._order else None

    @property
    def last(self) -> list[Reading]:
        """The rows of the last visit."""
        return self._rows[self._order[-1]] if self._order else []


class History:
    """Rows by wall, asked by mark, visit or place; only used ones count as readings."""

    def __init__(self, rows: Iterable[Reading] = ()) -> None:
        self._by_place: dict[tuple[Any, ...], list[Reading]] = defaultdict(list)
        self._by_setup: dict[tuple[Any, ...], list[Reading]] = defaultdict(list)
        self._by_mark: dict[tuple[Any, ...], _ByVisit] = defaultdict(_ByVisit)
        self._by_wall: dict[tuple[str, str | None], _ByVisit] = defaultdict(_ByVisit)
        self._used: set[str] = set()
        self._doubted: dict[tuple[Any, ...], list[Reading]] = defaultdict(list)
        for row in rows:
            self.add(row)

    def add(self, row: Reading) -> None:
        """Let a row be known from now on."""
        if _is_in(row):
            self._by_place[_place(row)].append(row)
        if row["state"] == State.HELD and row["deflection_mm"] is not None:
            self._doubted[row["house"], row["wall"], row["mark"], row["method"]].append(row)
        if row["state"] == State.USED:
            self._used.add(row["reading_id"])
            self._by_mark[row["house"], row["wall"], row["mark"], row["method"], row["kind"]].add(row)
            for method in (None, row["method"]):
                self._by_wall[wall_id(row["house"], row["wall"]), method].add(row)
            if row["deflection_mm"] is not None:
                self._by_setup[_setup(row)].append(row)

    def same_place(self, row: Reading) -> list[Reading]:
        """Rows of the same wall, visit, part, method, set-up and mark that are in, whatever was decided on them."""
        return self._by_place.get(_place(row), [])

    def of_setup(self, row: Reading) -> list[Reading]:
        """Used rows with a deflection of the same wall, visit, part, method and set-up, of any mark."""
        return self._by_setup.get(_setup(row), [])

    def doubted(self, row: Reading) -> list[Reading]:
        """Held readings of the same mark and method from before that row: of another visit or set-up."""
        same = self._doubted.get((row["house"], row["wall"], row["mark"], row["method"]), [])
        return [r for r in same if when(r) <= when(row) and _place(r) != _place(row)]

    def last_of_mark(self, row: Reading) -> Reading | None:
        """The latest used reading of the same mark, method and kind before that row's visit."""
        same = self._by_mark[row["house"], row["wall"], row["mark"], row["method"], row["kind"]]
        return next(iter(same.before(row["visit_date"])), None)

    def last_visit(self, row: Reading, *, method: str | None = None) -> list[Reading]:
        """Used readings of that wall at its latest visit before that row's, by one method where asked."""
        return self._by_wall[wall_id(row["house"], row["wall"]), method].before(row["visit_date"])

    def is_used(self, reading_id: str) -> bool:
        """Whether that reading is used."""
        return reading_id in self._used

    def first_visit(self, house: str, wall: str) -> date | None:
        """The date of the wall's first used reading."""
        return self._by_wall[wall_id(house, wall), None].first_day

    def last_unit(self, house: str, wall: str) -> str:
        """The unit of the wall's latest used reading, '' where there is none."""
        last = self._by_wall[wall_id(house, wall), None].last
        return str(last[0]["unit"]) if last else ""


def earlier_rows(earlier: pa.Table, houses: Iterable[str], source_sha256: str) -> list[dict[str, Any]]:
    """Rows of these houses that another file brought: this file's own rows are judged afresh."""
    wanted = pc.and_(
        pc.is_in(earlier["house"], value_set=pa.array(sorted(set(houses)), pa.string())),
        pc.not_equal(earlier["source_sha256"], source_sha256),
    )
    rows: list[dict[str, Any]] = earlier.filter(wanted).to_pylist()
    return rows


def settled(earlier: pa.Table, source_sha256: str) -> dict[str, str]:
    """Rows of a file received before that need nothing any more though they failed, by id: what became of each.

    A used row mends the one it names, and through it what that one was sent to mend; a person may have ruled on a row.
    """
    menders = earlier.filter(pc.not_equal(earlier["mends"], pa.scalar(""))).to_pylist()
    mends = {row["reading_id"]: row["mends"] for row in menders}
    found = {}
    for row in menders:
        target = row["mends"] if row["state"] == State.USED else ""
        while target and target not in found:
            found[target] = f"mended by row {row['source_row']} of {row['source_name']}"
            target = mends.get(target, "")
    own = earlier.filter(pc.equal(earlier["source_sha256"], pa.scalar(source_sha256)))
    for row in own.to_pylist():
        if row["reading_id"] not in found and (row["reason_code"] == RULED or _corrected_or_released(row)):
            found[row["reading_id"]] = row["reason"]
    return found


def _corrected_or_released(row: Reading) -> bool:
    return row["state"] == State.USED and bool(row["reason"])


def _is_in(row: Reading) -> bool:
    """Whether sending that row again would add nothing: it is used, unreadable, waits for a ruling, or has had one."""
    if row["state"] == State.HELD:
        return row["deflection_mm"] is not None
    return row["state"] in (State.USED, State.COULD_NOT_READ) or row["reason_code"] == RULED


def _place(row: Reading) -> tuple[Any, ...]:
    return tuple(row[name] for name in PLACE)


def _setup(row: Reading) -> tuple[Any, ...]:
    return tuple(row[name] for name in PLACE if name != "mark")


_PART_ORDER = {"before": 0, "": 1, "after": 2}


def when(row: Reading) -> tuple[date, int]:
    """Sort key of visits: the day, and before that day's work or after it."""
    return row["visit_date"], _PART_ORDER.get(row["part"], 1)
