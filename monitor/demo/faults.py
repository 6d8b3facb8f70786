"""The planted faults: what a typed row or visit becomes when somebody errs. The truth does not change."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from monitor.demo.scenario import STANDOFF_MM, STORIES
from monitor.demo.walls import day_of
from monitor.errors import BowError
from monitor.lengths import parse
from monitor.simulate import Row, typed
from monitor.simulate.observe import slip_fraction
from monitor.terms import Kind, LengthUnit
from monitor.units import MM_PER_INCH

Walls = dict[str, list[Row]]
"""Typed rows by the name of their wall."""


def plant(walls: Mapping[str, Sequence[Row]]) -> Walls:
    """All faults of the demo, planted in rows that were typed without one."""
    typed_rows: Walls = {name: list(rows) for name, rows in walls.items()}
    _each(typed_rows, "DH-06-E", 18, _misread, {"M3"})
    _each(typed_rows, "DH-10-N", 12, _inches_under_mm)
    _each(typed_rows, "DH-04-W", 12, _date_for_fraction, {"M5"})
    _each(typed_rows, "DH-11-S", 12, _gap_as_deflection)
    _each(typed_rows, "DH-12-S", 6, _as_deflection)
    _each(typed_rows, "DH-11-N", 6, lambda row: replace(row, mark="M33"), {"M3"})
    _each(typed_rows, "DH-07-S", 12, lambda row: replace(row, visit_date="2052" + row.visit_date[4:]), {"M4"})
    _each(typed_rows, "DH-05-N", 30, _eighth_more, {"M4"})
    _copy(typed_rows, "DH-13-N", 3, 6)
    _reverse(typed_rows, "DH-13-W", 18)
    _swap(typed_rows, "DH-11-N", "DH-11-S", 24)
    return typed_rows


def date_of(wall: str, month: float) -> str:
    """The day of a wall's month as it is typed."""
    return day_of(next(story for story in STORIES if story.name == wall), month).isoformat()


def _each(walls: Walls, wall: str, month: float, change: Callable[[Row], Row], marks: Iterable[str] = ()) -> None:
    """Change the rows of one visit, all or those of some marks."""
    day, wanted = date_of(wall, month), set(marks)
    touched = [row.visit_date == day and (not wanted or row.mark in wanted) for row in walls[wall]]
    if not any(touched):
        raise BowError("There is no such row to plant a fault in", got=f"{wall}, {day}, {sorted(wanted)}")
    walls[wall] = [change(row) if here else row for row, here in zip(walls[wall], touched, strict=True)]


def _misread(row: Row) -> Row:
    return replace(row, value=slip_fraction(row.value, wrong=Fraction(13, 16), right=Fraction(3, 16)))


def _inches_under_mm(row: Row) -> Row:
    return replace(row, value=f"{float(row.value) / MM_PER_INCH:.2f}")


def _date_for_fraction(row: Row) -> Row:
    if row.value != "3/16":
        raise BowError("A spreadsheet makes 16-Mar of 3/16 only", got=row.value, expected="3/16")
    return replace(row, value="16-Mar")


def _gap_as_deflection(row: Row) -> Row:
    return replace(row, kind=Kind.DEFLECTION)


def _as_deflection(row: Row) -> Row:
    """No fault but a habit: the deflection written where the wall's gaps are usual, and so called."""
    deflection_mm = STANDOFF_MM - parse(row.value, LengthUnit.INCH).mm
    return replace(row, value=typed(deflection_mm, LengthUnit.INCH), kind=Kind.DEFLECTION, standoff="")


def _eighth_more(row: Row) -> Row:
    """The rule was read 1/8 in long; the photo shows the right value, which the office enters later."""
    return replace(row, value=typed(parse(row.value, LengthUnit.INCH).mm + MM_PER_INCH / 8, LengthUnit.INCH))


def _copy(walls: Walls, wall: str, source: float, target: float) -> None:
    """The numbers of one visit written again under the next."""
    values = {(row.setup, row.mark): row.value for row in _visit(walls[wall], date_of(wall, source))}
    _each(walls, wall, target, lambda row: replace(row, value=values[row.setup, row.mark]))


def _reverse(walls: Walls, wall: str, month: float) -> None:
    """The columns counted from the right: the value of column 1 stands under column 5, and so on."""
    values = {row.mark: row.value for row in _visit(walls[wall], date_of(wall, month))}
    _each(walls, wall, month, lambda row: replace(row, value=values[f"{row.mark[0]}{6 - int(row.mark[1:])}"]))


def _swap(walls: Walls, one: str, other: str, month: float) -> None:
    """Two walls' sheets exchanged."""
    ours, theirs = ([row.value for row in _visit(walls[name], date_of(name, month))] for name in (one, other))
    for name, values in ((one, theirs), (other, ours)):
        _each(walls, name, month, _one_after_the_other(values))


def _one_after_the_other(values: Sequence[str]) -> Callable[[Row], Row]:
    given = iter(values)
    return lambda row: replace(row, value=next(given))


def _visit(rows: Sequence[Row], day: str) -> list[Row]:
    return [row for row in rows if row.visit_date == day]
