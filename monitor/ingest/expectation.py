"""What marks were expected to read at a visit, as a forecast that somebody else made says it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from math import isfinite
from typing import Any

import pyarrow as pa

from monitor.ingest.known import Fact, Known
from monitor.records import dataclass
from monitor.terms import Method, Part

COLUMNS = (
    "house", "wall", "visit_date", "mark", "method", "expected_deflection_mm", "sd_mm", "bow", "others", "spread_mm2",
    "setup_mm2",
)  # fmt: skip
"""Columns of the table of expectations: whose, of which visit's day, and what.

expected_deflection_mm: the reading as typed, inward positive; sd_mm: of one new reading about it, null where a new
set-up stands anywhere; bow: how much of the wall's bow the mark shows; others: the wall's marks by that method, itself
among them; spread_mm2: with each of them, the covariance of what is not known of the wall; setup_mm2: the same of the
errors of one new set-up, a free offset aside, 0 where the two are not read in one.
"""


@dataclass(frozen=True)
class Expected:
    """One mark's expectation. is_free: its set-ups stand anywhere; line: marks of one line share one set-up."""

    mark: str
    mean_mm: float
    is_free: bool
    bow: float
    spread: Mapping[str, float]
    errors: Mapping[str, float]
    line: str
    row: str
    x_mm: float
    to_end_mm: float

    @property
    def sd_mm(self) -> float:
        """Of one new reading, a free offset aside."""
        return float((self.spread[self.mark] + self.errors[self.mark]) ** 0.5)


class Expectations:
    """Expectations by wall, day and method. Nothing is expected of what the table does not have."""

    def __init__(self, table: pa.Table | None = None, known: Known | None = None) -> None:
        self._of: dict[tuple[Any, ...], dict[str, Expected]] = {}
        self._walls: dict[tuple[Any, ...], list[str]] = defaultdict(list)
        if table is None or known is None:
            return
        groups: dict[tuple[Any, ...], list[Mapping[str, Any]]] = defaultdict(list)
        for row in table.select(COLUMNS).to_pylist():
            groups[row["house"], row["wall"], row["visit_date"], row["method"]].append(row)
        for (house, wall, day, method), rows in sorted(groups.items()):
            self._of[house, wall, day, method] = {
                one.mark: one for one in _expected(rows, known.marks(house, wall), known.find("walls", house, wall))
            }
            self._walls[house, day, method].append(wall)

    def of(self, values: Mapping[str, Any], wall: str | None = None) -> Mapping[str, Expected]:
        """What was expected of a reading's wall (or of another wall of its house) at its visit, by mark.

        Nothing after the work of a day: what is expected then is of the wall before it.
        """
        if values["part"] == Part.AFTER:
            return {}
        return self._of.get((values["house"], wall or values["wall"], values["visit_date"], values["method"]), {})

    def neighbours(self, values: Mapping[str, Any]) -> list[str]:
        """Other walls of the house of which something was expected that day by that method."""
        walls = self._walls.get((values["house"], values["visit_date"], values["method"]), [])
        return [wall for wall in walls if wall != values["wall"]]


def _expected(rows: Sequence[Mapping[str, Any]], marks: Mapping[str, Fact], wall: Fact | None) -> Iterable[Expected]:
    length_mm = (wall or {}).get("length_mm") or 0.0
    for row in rows:
        mark = marks.get(str(row["mark"]).casefold())
        if mark is None or row["expected_deflection_mm"] is None:
            continue
        x_mm = mark["x_mm"] or 0.0
        yield Expected(
            mark=str(row["mark"]),
            mean_mm=row["expected_deflection_mm"],
            is_free=row["sd_mm"] is None or not isfinite(row["sd_mm"]),
            bow=row["bow"],
            spread=dict(zip(row["others"], row["spread_mm2"], strict=True)),
            errors=dict(zip(row["others"], row["setup_mm2"], strict=True)),
            line=line_of(row["method"], mark),
            row=str(mark["row"] or mark["z_mm"]),
            x_mm=x_mm,
            to_end_mm=min(x_mm, length_mm - x_mm),
        )


def line_of(method: str, mark: Fact) -> str:
    """The line a mark is read on: its row of a string, its column of a plumb line; other methods have but one."""
    if method == Method.STRING:
        return str(mark["row"] or mark["z_mm"])
    return str(mark["column"] or mark["x_mm"]) if method == Method.PLUMB else ""
