"""What marks were expected to read at a visit, as a forecast that somebody else made says it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, pi, sin
from typing import Any

import pyarrow as pa

from monitor.ingest.known import Fact, Known
from monitor.terms import Method, Part

COLUMNS = ("house", "wall", "visit_date", "mark", "method", "expected_deflection_mm", "sd_mm", "sd_within_mm")
"""Columns of the table of expectations: whose, of which visit's day, and what.

expected_deflection_mm: the reading as typed, inward positive; sd_mm: of one new reading about it, all errors, null
where a new set-up stands anywhere; sd_within_mm: of the reading less its expectation, less the mean of the same over
its set-up's other marks, null where it has none.
"""

_LEAST_SHARE = 0.2
"""Least share of a set-up's mean contrast variance that is a mark's own, where the contrasts would leave it less."""


@dataclass(frozen=True)
class Expected:
    """One mark's expectation. own: variance of what is its own (mm2); shared_mm: sd of what its set-up shares, None
    where that may be anything; line: marks of one line share one set-up; along: sin(pi x / L), the bow along the wall.
    """

    mark: str
    mean_mm: float
    own: float
    shared_mm: float | None
    line: str
    x_mm: float
    row: str
    along: float
    to_end_mm: float


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
    lines: dict[str, list[tuple[Mapping[str, Any], Fact]]] = defaultdict(list)
    for row in rows:
        mark = marks.get(str(row["mark"]).casefold())
        if mark is not None and row["expected_deflection_mm"] is not None:
            lines[_line(row["method"], mark)].append((row, mark))
    for line, members in lines.items():
        for (row, mark), own in zip(members, _own([row for row, _ in members]), strict=True):
            sd = _number(row["sd_mm"])
            if own is None and sd is None:
                continue
            variance = own if sd is None else min(own or sd**2, sd**2)
            assert variance is not None
            x_mm = mark["x_mm"] or 0.0
            yield Expected(
                mark=str(row["mark"]),
                mean_mm=row["expected_deflection_mm"],
                own=variance,
                shared_mm=None if sd is None else max(0.0, sd**2 - variance) ** 0.5,
                line=line,
                x_mm=x_mm,
                row=mark["row"] or str(mark["z_mm"]),
                along=sin(pi * x_mm / length_mm) if length_mm else 1.0,
                to_end_mm=min(x_mm, length_mm - x_mm),
            )


def _line(method: str, mark: Fact) -> str:
    if method == Method.STRING:
        return str(mark["row"] or mark["z_mm"])
    return str(mark["column"] or mark["x_mm"]) if method == Method.PLUMB else ""


def _own(rows: Sequence[Mapping[str, Any]]) -> list[float | None]:
    """Each mark's own variance v from the contrasts' variances c_i = v_i + sum of the others' v / (n - 1)^2.

    Two marks have the same contrast, so each is given half of it.
    """
    contrasts = [_number(row["sd_within_mm"]) for row in rows]
    known = [sd**2 for sd in contrasts if sd is not None]
    count = len(known)
    if count < 2:
        return [None] * len(rows)
    mean = sum(known) / count
    if count == 2:
        return [None if sd is None else sd**2 / 2 for sd in contrasts]
    rest = 1 / (count - 1) ** 2
    total = (count - 1) * mean
    return [None if sd is None else max((sd**2 - rest * total) / (1 - rest), _LEAST_SHARE * mean) for sd in contrasts]


def _number(value: Any) -> float | None:
    return float(value) if value is not None and isfinite(value) else None
