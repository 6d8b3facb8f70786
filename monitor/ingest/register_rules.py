"""What register rows must keep among themselves: known houses, walls and marks, and numbers that a wall can have."""

from collections.abc import Callable, Iterator, Mapping
from datetime import date
from typing import Any

from monitor.ingest.as_built import doubts
from monitor.ingest.findings import Finding
from monitor.ingest.headers import Row
from monitor.ingest.known import Known, nearest, wall_id
from monitor.terms import EventKind, Role, State
from monitor.units import length_text

Values = dict[str, Any]
Faults = Iterator[Finding]

_WALL_BOUNDS_MM = {
    "length_mm": (500.0, 100_000.0),
    "clear_height_mm": (1_000.0, 10_000.0),
    "thickness_mm": (50.0, 1_000.0),
}
"""Outside these a unit has slipped (common practice, no source)."""
_SLACK_MM = 1e-6


def faults(table: str, values: Values, row: Row, known: Known, today: date) -> list[Finding]:
    """Everything wrong with a row whose cells could be read. `today` is the day of receipt."""
    return list(_RULES[table](values, row, known, today))


def notes(table: str, values: Values, row: Row) -> list[str]:
    """What is accepted but worth a word."""
    if table == "thresholds" and not values["signed_by"]:
        return [f"{row.at('signed_by')}: nobody has signed these thresholds; a licensed engineer should."]
    if table == "events" and values["doubts"]:
        doubted = values["doubts"].removesuffix("?")
        stop = "?" if doubted != values["doubts"] else "."
        return [f"Row {row.number}, {wall_id(values['house'], values['wall'])}: {doubted}{stop}"]
    return []


def _houses(values: Values, row: Row, known: Known, today: date) -> Faults:
    del values, row, known, today
    yield from ()


def _walls(values: Values, row: Row, known: Known, _: date) -> Faults:
    yield from _house(values, row, known)
    for column, (low, high) in _WALL_BOUNDS_MM.items():
        value = values[column]
        if value is not None and not low <= value <= high:
            yield _off(row, column, f"{low:g} to {high:g} mm", "Has a unit slipped?", value)
    for column in ("crack_height_mm", "backfill_height_mm"):
        yield from _between(values, row, column, values["clear_height_mm"], "the clear height")
    if values["limit_mm"] is not None and values["limit_mm"] <= 0:
        yield _off(row, "limit_mm", "more than 0", "Correct it, or leave it blank.", values["limit_mm"])


def _marks(values: Values, row: Row, known: Known, _: date) -> Faults:
    wall = known.find("walls", values["house"], values["wall"])
    if wall is None:
        yield _unknown_wall(values, row, known)
        return
    yield from _between(values, row, "x_mm", wall["length_mm"], "the length of the wall")
    yield from _between(values, row, "z_mm", wall["clear_height_mm"], "the clear height")
    yield from _known_marks(values, row, "replaces", known)
    if values["set_on"] and values["retired_on"] and values["retired_on"] < values["set_on"]:
        yield _finding(
            "retired-before-set",
            f"{row.at('retired_on')} '{values['retired_on']}' is before the mark was set, {values['set_on']}.",
            "Correct one of the two dates.",
        )


def _instruments(values: Values, row: Row, known: Known, today: date) -> Faults:
    del known, today
    for column in ("standoff_mm", "step_mm"):
        if values[column] is not None and values[column] <= 0:
            yield _off(row, column, "more than 0", "Correct it, or leave it blank.", values[column])


def _thresholds(values: Values, row: Row, known: Known, today: date) -> Faults:
    del known
    for column in ("before_mm_per_year", "after_mm_per_year", "total_limit_mm"):
        if values[column] is not None and values[column] <= 0:
            yield _finding("threshold", f"{row.at(column)} '{row.shown(column)}': more than 0 expected.", "Correct it.")
    if values["signed_on"] and values["signed_on"] > today:
        yield _future(row, "signed_on", values["signed_on"], today)


def _events(values: Values, row: Row, known: Known, today: date) -> Faults:
    wall = known.find("walls", values["house"], values["wall"])
    if wall is None:
        yield _unknown_wall(values, row, known)
        return
    if values["event_date"] and values["event_date"] > today:
        yield _future(row, "event_date", values["event_date"], today)
    for column in ("marks", "new_mark", "marks_untouched"):
        yield from _known_marks(values, row, column, known)
    if values["kind"] == EventKind.LOST_MARK and not row.text("marks"):
        yield _finding("which-mark", f"{row.at('marks')} is blank: the lost mark expected.", "Write its id.")
    if values["kind"] == EventKind.REINFORCEMENT:
        said = [values["doubts"], *doubts(values, wall)]
        values["doubts"] = "; ".join(filter(None, said))


def _people(values: Values, row: Row, known: Known, today: date) -> Faults:
    del today
    before = known.find("people", values["person"])
    if before and before["role"] == Role.ERASED:
        yield _finding(
            "erased",
            f"{row.at('person')} '{values['person']}' was erased on {before['known_at']:%Y-%m-%d}, on request.",
            "Take the row out of your file and run `wallbow erase-person` again, which empties it in the file kept; "
            "somebody who comes anew gets a new id.",
        )
    if values["role"] == Role.ERASED:
        yield _finding("role", f"{row.at('role')} 'erased' is said by erasing only.", "Use `wallbow erase-person`.")
    if values["house"]:
        yield from _house(values, row, known)
    elif values["role"] in (Role.OWNER, Role.CONTACT):
        yield _finding(
            "house-missing", f"{row.at('house')} is blank: the {values['role']}'s house expected.", "Write it."
        )


_RULES: Mapping[str, Callable[[Values, Row, Known, date], Faults]] = {
    "houses": _houses,
    "walls": _walls,
    "marks": _marks,
    "instruments": _instruments,
    "thresholds": _thresholds,
    "events": _events,
    "people": _people,
}


def _house(values: Values, row: Row, known: Known) -> Faults:
    house = known.find("houses", values["house"])
    if house:
        values["house"] = house["house"]
    else:
        near = nearest(values["house"], known.ids("houses"))
        yield _finding(
            "unknown-house",
            f"{row.at('house')} '{values['house']}': a registered house expected.",
            f"Nearest: {near}." if near else "Register the house first.",
        )


def _unknown_wall(values: Values, row: Row, known: Known) -> Finding:
    wall = wall_id(values["house"], values["wall"])
    near = nearest(wall, known.ids("walls"))
    return _finding(
        "unknown-wall",
        f"{row.at('wall')}: no wall {wall} is in the register; a registered house and wall expected.",
        f"Nearest: {near}." if near else "Register the wall first.",
    )


def _known_marks(values: Values, row: Row, column: str, known: Known) -> Faults:
    """Marks named in a cell become the registered ids; one that the wall does not have is a fault."""
    marks = known.marks(values["house"], values["wall"])
    for name in values[column].split():
        if name.casefold() not in marks:
            near = nearest(name, [str(mark["mark"]) for mark in marks.values()])
            yield _finding(
                "unknown-mark",
                f"{row.at(column)} '{name}': a mark of {wall_id(values['house'], values['wall'])} expected.",
                f"Nearest: {near}." if near else "Register its marks first.",
            )
    ids = [str(marks[name.casefold()]["mark"]) for name in values[column].split() if name.casefold() in marks]
    values[column] = " ".join(ids)


def _between(values: Values, row: Row, column: str, high: float | None, name: str) -> Faults:
    value = values[column]
    if value is None:
        return
    if value < 0:
        yield _off(row, column, "0 or more", "Correct it.", value)
    elif high is not None and value > high + _SLACK_MM:
        yield _off(
            row, column, f"at most {name}, {high:g} mm ({length_text(high, 'in')})", "Has a unit slipped?", value
        )


def _off(row: Row, column: str, expected: str, mend: str, value_mm: float) -> Finding:
    wrong = f"{row.at(column)} '{row.shown(column)}' is {value_mm:g} mm: {expected} expected."
    return _finding(column.removesuffix("_mm").replace("_", "-"), wrong, mend)


def _future(row: Row, column: str, day: date, today: date) -> Finding:
    return _finding(
        "future-date", f"{row.at(column)} '{day}' is after the day of receipt, {today}.", "Correct the date."
    )


def _finding(code: str, wrong: str, mend: str) -> Finding:
    return Finding(State.REJECTED, code, wrong, mend)
