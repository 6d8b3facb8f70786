"""How a wall is read: by which methods, along which lines, in which order, and what each mark is expected to read."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from monitor.errors import NotFoundError, Where
from monitor.ingest.expectation import Expectations, Expected, line_of
from monitor.ingest.known import Known
from monitor.ingest.misfits import let_pass_mm
from monitor.report.field_record import SheetLine, SheetMark, SheetWall
from monitor.terms import EventKind, Kind, Method, State

Row = Mapping[str, Any]
Key = tuple[str, str]

_METHODS_REACH_DAYS = 400
"""Methods read within so long before the latest visit are those of the wall: some are read once a year only."""
_STANDS_ANYWHERE = (Method.PLUMB, Method.LASER)


def sheet_wall(
    known: Known, key: Key, rows: Sequence[Row], expectations: Expectations, day: date, second: str
) -> SheetWall:
    """A wall with the lines it is read along on a day.

    rows: its readings from before that day, oldest first. second: why all of it is read twice, '' where it is not.
    Raises NotFoundError where nothing says how it is read.
    """
    place = known.find("walls", *key) or {}
    events = [row for row in known.events(*key) if row["event_date"] and row["event_date"] <= day]
    marks = _standing(known, key, events, day)
    lines: list[tuple[Method, list[Row]]] = []
    for method, names in _read_by(place, rows, events, marks, key).items():
        by_line: dict[str, list[Row]] = defaultdict(list)
        for name in names:
            by_line[line_of(method, marks[name])].append(marks[name])
        ordered = sorted(by_line.values(), key=lambda some: _line_order(method, some))
        lines += [(method, some) for some in ordered]
    covered = _covered(events, marks)
    done = []
    for number, (method, some) in enumerate(lines, start=1):
        expected = expectations.of({"part": "", "house": key[0], "wall": key[1], "visit_date": day, "method": method})
        placing = (number, number + len(lines))
        done.append(_line(known, place, method, _end_marks_first(method, some), rows, expected, placing, covered))
    return SheetWall(*key, place=place, marks=list(marks.values()), events=events, lines=done, second_why=second)


def _standing(known: Known, key: Key, events: Sequence[Row], day: date) -> dict[str, Row]:
    """Marks that can be read on that day, by id."""
    lost = {name for row in events if row["kind"] == EventKind.LOST_MARK for name in row["marks"].split()}
    return {
        mark["mark"]: mark
        for mark in known.marks(*key).values()
        if mark["mark"] not in lost
        and not (mark["retired_on"] and mark["retired_on"] < day)
        and not (mark["set_on"] and mark["set_on"] > day)
    }


def _read_by(
    place: Row, rows: Sequence[Row], events: Sequence[Row], marks: Mapping[str, Row], key: Key
) -> dict[Method, list[str]]:
    """Marks by the methods they are read by now: since the latest change of method, else within a good year."""
    changes = [row for row in events if row["kind"] == EventKind.METHOD_CHANGE]
    change = max(changes, key=lambda row: row["event_date"], default=None)
    if change:
        since = [row for row in rows if row["visit_date"] > change["event_date"]]
        same_day = [r for r in rows if r["visit_date"] == change["event_date"] and r["method"] == change["method"]]
        rows = since or same_day
    newest = max((row["visit_date"] for row in rows), default=None)
    found: dict[Method, list[str]] = {}
    for row in rows:
        if newest and row["visit_date"] >= newest - timedelta(days=_METHODS_REACH_DAYS) and row["mark"] in marks:
            names = found.setdefault(Method(row["method"]), []) if row["method"] else []
            names += [row["mark"]] if row["mark"] not in names else []
    names_read = {name for names in found.values() for name in names}
    unread = [name for name, mark in marks.items() if name not in names_read and _is_new(mark, newest)]
    usual = str((change or {}).get("method") or place.get("method") or next(iter(found), ""))
    if unread and not usual:
        raise NotFoundError(
            "The register does not say how this wall is read.",
            where=Where(wall=f"{key[0]}-{key[1]}"),
            mend="Register the wall with its method: string, plumb, laser or meter.",
        )
    if unread:
        found.setdefault(Method(usual), []).extend(unread)
    return {method: found[method] for method in Method if found.get(method)}


def _is_new(mark: Row, newest: date | None) -> bool:
    """Whether a mark that was not read lately waits for its first reading, rather than being read no more."""
    return bool(newest is None or mark["replaces"] or (mark["set_on"] and mark["set_on"] > newest))


def _covered(events: Sequence[Row], marks: Mapping[str, Row]) -> dict[str, date]:
    """Marks that were covered and not uncovered since, with the day."""
    found: dict[str, date] = {}
    for row in sorted(events, key=lambda row: row["event_date"]):
        names = row["marks"].split() or list(marks)
        if row["kind"] == EventKind.COVERED:
            found |= dict.fromkeys(names, row["event_date"])
        elif row["kind"] == EventKind.UNCOVERED:
            for name in names:
                found.pop(name, None)
    return found


def _line_order(method: Method, marks: Sequence[Row]) -> tuple[float, float]:
    """Strings from the top down, plumb lines from the left."""
    x, z = min(mark["x_mm"] or 0.0 for mark in marks), max(mark["z_mm"] or 0.0 for mark in marks)
    return (x, -z) if method is Method.PLUMB else (-z, x)


def _end_marks_first(method: Method, marks: Sequence[Row]) -> list[Row]:
    """The two ends of the line, then the others in order: from below along a plumb line, else from the left."""
    along = ("z_mm", "x_mm") if method is Method.PLUMB else ("x_mm", "z_mm")
    ordered = sorted(marks, key=lambda mark: tuple(mark[name] or 0.0 for name in along))
    return [ordered[0], ordered[-1], *ordered[1:-1]] if len(ordered) > 1 else ordered


def _line(
    known: Known,
    place: Row,
    method: Method,
    marks: Sequence[Row],
    rows: Sequence[Row],
    expected: Mapping[str, Expected],
    placing: tuple[int, int],
    covered: Mapping[str, date],
) -> SheetLine:
    mine = [row for row in rows if row["method"] == method and row["state"] == State.USED]
    last = mine[-1] if mine else {}
    kind = last.get("kind") or (Kind.DISTANCE if method is Method.METER else place.get("kind") or Kind.GAP)
    instrument = str(last.get("instrument") or "")
    registered = known.find("instruments", instrument) or {}
    widths = let_pass_mm(expected) if expected else {}
    return SheetLine(
        number=placing[0],
        second=placing[1],
        method=method,
        kind=str(kind),
        unit=str(last.get("unit") or place.get("unit") or "in"),
        instrument=instrument,
        standoff_mm=registered.get("standoff_mm") if method is Method.STRING else None,
        marks=[_mark(mark, mine, expected.get(mark["mark"]), widths, covered) for mark in marks],
        refs=_refs(method, marks, expected),
    )


def _mark(
    mark: Row,
    rows: Sequence[Row],
    expected: Expected | None,
    widths: Mapping[str, float | None],
    covered: Mapping[str, date],
) -> SheetMark:
    name = mark["mark"]
    hidden = covered.get(name)
    return SheetMark(
        mark=name,
        x_mm=mark["x_mm"],
        z_mm=mark["z_mm"],
        last=next((row for row in reversed(rows) if row["mark"] == name), None),
        expected_mm=expected.mean_mm if expected else None,
        fine_mm=widths.get(name) if expected else None,
        note=f"covered on {hidden.isoformat()}" if hidden else "on a strap" if mark["on_strap"] else "",
    )


def _refs(method: Method, marks: Sequence[Row], expected: Mapping[str, Expected]) -> dict[str, dict[str, float]]:
    """By mark, the marks that tell where a placing stands which may stand anywhere, with their weights.

    Along a plumb line the lowest; before a laser plane, which may be turned, the two ends by their distances.
    """
    if method not in _STANDS_ANYWHERE:
        return {}
    names = [mark["mark"] for mark in marks if mark["mark"] in expected]
    by_name = {mark["mark"]: mark for mark in marks}
    if len(names) < 2 or method is Method.PLUMB:
        return {name: {names[0]: 1.0} for name in names}
    first, last = names[:2]
    start, length = by_name[first]["x_mm"], by_name[last]["x_mm"] - by_name[first]["x_mm"]
    if not length:
        return {name: {first: 1.0} for name in names}
    shares = {name: (by_name[name]["x_mm"] - start) / length for name in names}
    return {name: {first: 1.0 - share, last: share} for name, share in shares.items()}
