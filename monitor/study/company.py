"""A company like one's own: its walls with their marks, how often it visits, and how well it reads."""

from collections.abc import Mapping, Sequence
from datetime import date
from itertools import pairwise
from math import isfinite
from typing import Any

from msgspec import structs

from monitor import schema
from monitor.config import Rules, Settings
from monitor.errors import NotFoundError, SettingsError
from monitor.lengths import parse
from monitor.pipeline.assessing import settings_on
from monitor.records import dataclass, replace
from monitor.simulate.recipe import DAYS_PER_MONTH, ENDS_AND_QUARTERS, HEIGHTS_MM
from monitor.simulate.wall import Geometry, Spot
from monitor.store import Store
from monitor.terms import End, LengthUnit, Method, State

LEAST_GAP_MONTHS = 0.5
"""A visit sooner than this after the last one (before and after a day's work, a reading again) is no habit."""


@dataclass(frozen=True)
class OwnWall:
    """One wall of the company: its size, marks and method, and the months between its visits so far, in order."""

    geometry: Geometry
    spots: Sequence[Spot]
    method: Method
    gaps_months: Sequence[float] = ()


@dataclass(frozen=True)
class Company:
    """walls; gaps_months: between visits of all its walls; left_out: walls that cannot be simulated, for lack of size
    or marks; unit: in which its rates are shown.
    """

    walls: Sequence[OwnWall]
    gaps_months: Sequence[float]
    settings: Settings
    left_out: int = 0
    unit: str = LengthUnit.INCH.value


def from_store(store: Store, on: date) -> Company:
    """The company of a store as it stands on a day. NotFoundError where no wall of it can be simulated."""
    settings = settings_on(store, on)
    register = store.current("walls").to_pylist()
    marks = _by_wall(store.current("marks").to_pylist())
    visits = _visits(store, on)
    found = [_own(wall, marks.get(_key(wall), []), visits.get(_key(wall), {}), on) for wall in register]
    walls = [wall for wall in found if wall is not None]
    if not walls:
        raise NotFoundError(
            "No wall of this store can be simulated.",
            got=f"{len(register)} walls registered",
            expected="a wall with its length, its height and a mark with its place",
            mend="Register the walls and their marks, or give --method to try limits without a store.",
        )
    gaps = [gap for wall in walls for gap in wall.gaps_months]
    metric = sum(wall["unit"] == LengthUnit.MM for wall in register) > len(register) / 2
    return Company(
        walls,
        gaps or usual_gaps(settings.rules),
        settings,
        len(found) - len(walls),
        (LengthUnit.MM if metric else LengthUnit.INCH).value,
    )


def ordinary(method: Method, walls: int, visits_a_year: float, settings: Settings) -> Company:
    """A company of equal walls, read in the method's ordinary way at even intervals."""
    rows, columns = ("TMB", (0.25, 0.5, 0.75)) if method is Method.PLUMB else ("M", ENDS_AND_QUARTERS)
    geometry = Geometry(length_mm=32 * 304.8)
    spots = [
        Spot(f"{row}{number}", share * geometry.length_mm, HEIGHTS_MM[row], row, str(number))
        for row in rows
        for number, share in enumerate(columns, start=1)
    ]
    gap = 12 / visits_a_year
    return Company([OwnWall(geometry, spots, method)] * walls, [gap], settings)


def with_thresholds(company: Company, before: str, after: str) -> Company:
    """The company with other thresholds where they are written, as movement a year ('1/8 in', '3 mm').

    Raises LengthError for a text that is no length, SettingsError for one that is not above 0.
    """
    given = {}
    for name, text in (("before_mm_per_year", before), ("after_mm_per_year", after)):
        if text.strip():
            given[name] = parse(text, "").mm
            if not given[name] > 0:
                raise SettingsError("A threshold must be above 0.", got=f"'{text}'", mend="Write it like '1/8 in'.")
    rules = structs.replace(company.settings.rules, **given)
    return replace(company, settings=structs.replace(company.settings, rules=rules))


def usual_gaps(rules: Rules) -> list[float]:
    """The company's schedule over five years, where no visits tell its habits."""
    early = round(rules.first_interval_years * 12 / rules.first_interval_months)
    return [rules.first_interval_months] * early + [rules.later_interval_months] * 3


def _own(
    wall: Mapping[str, Any], marks: Sequence[Mapping[str, Any]], visits: Mapping[date, str], on: date
) -> OwnWall | None:
    """One wall; None where its size or a mark's place is not known."""
    length, height = wall["length_mm"] or 0.0, wall["clear_height_mm"] or 0.0
    spots = [_spot(mark) for mark in marks if _stands(mark, on)]
    if not (length > 0 and height > 0 and spots and all(isfinite(s.x_mm) and isfinite(s.z_mm) for s in spots)):
        return None
    crack = wall["crack_height_mm"] or 0.0
    geometry = Geometry(
        length_mm=length,
        height_mm=height,
        thickness_mm=wall["thickness_mm"] or Geometry.thickness_mm,
        crack_mm=crack if 0 < crack < height else height / 2,
        left=End.FREE if wall["left_end"] == End.FREE else End.RETURN,
        right=End.FREE if wall["right_end"] == End.FREE else End.RETURN,
    )
    days = sorted(visits)
    gaps = [(later - earlier).days / DAYS_PER_MONTH for earlier, later in pairwise(days)]
    method = visits[days[-1]] if days else wall["method"]
    known = Method(method) if method in set(Method) else Method.STRING
    return OwnWall(geometry, spots, known, [gap for gap in gaps if gap >= LEAST_GAP_MONTHS])


def _stands(mark: Mapping[str, Any], on: date) -> bool:
    retired: date | None = mark["retired_on"]
    return retired is None or retired > on


def _spot(mark: Mapping[str, Any]) -> Spot:
    """A mark; one row has one string and one column one plumb line, by name or by place."""
    x, z = mark["x_mm"], mark["z_mm"]
    nan = float("nan")
    return Spot(
        mark["mark"],
        nan if x is None else x,
        nan if z is None else z,
        mark["row"] or f"{z}",
        mark["column"] or f"{x}",
    )


def _visits(store: Store, on: date) -> dict[tuple[str, str], dict[date, str]]:
    """Method of each visit day of each wall with a used reading."""
    columns = [*schema.KEY["walls"], "visit_date", "method", "state"]
    found: dict[tuple[str, str], dict[date, str]] = {}
    for row in store.readings().select(columns).to_pylist():
        if row["state"] == State.USED and row["visit_date"] is not None and row["visit_date"] <= on:
            found.setdefault(_key(row), {})[row["visit_date"]] = row["method"]
    return found


def _by_wall(rows: Sequence[Mapping[str, Any]]) -> dict[tuple[str, str], list[Mapping[str, Any]]]:
    found: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for row in rows:
        found.setdefault(_key(row), []).append(row)
    return found


def _key(row: Mapping[str, Any]) -> tuple[str, str]:
    return row["house"], row["wall"]
