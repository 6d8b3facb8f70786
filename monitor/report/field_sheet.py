"""A field sheet to the context of its page: words for people, and the numbers that its script checks with."""

import json
import re
from collections.abc import Mapping
from datetime import timedelta
from hashlib import sha256
from math import ceil, floor
from typing import Any

from monitor.report import wording
from monitor.report.as_built_sheet import as_built, work_data
from monitor.report.elevation import bare_elevation
from monitor.report.field_record import FieldSheet, SheetLine, SheetMark, SheetWall
from monitor.terms import Kind, Method, NotRead, Seen
from monitor.units import (
    MM_PER_INCH,
    SIXTEENTH_MM,
    feet_text,
    fraction_text,
    length_text,
    mm_from_inches,
    nearest_fraction,
)

Context = dict[str, Any]

MADE_LONG_AGO_DAYS = 14
"""A sheet filled in later than so many days after the day it was made for says so (ours)."""
DATA_OLD_DAYS = 60
"""And one whose data were known so many days before it is filled in (ours)."""
AGREE_MM = SIXTEENTH_MM
"""A mark read again agrees with the first reading within a sixteenth of an inch, the finest mark of the rule."""

_METHOD_WORDS: Mapping[str, str] = {
    Method.STRING: "string line",
    Method.PLUMB: "plumb line",
    Method.LASER: "laser and rule",
    Method.METER: "distance meter",
}
_HOW: Mapping[str, str] = {
    Method.STRING: "Blocks on the end marks, line hard. Flick it: it must come back to the same reading.",
    Method.PLUMB: "Hang the bob, let it come to rest, fans off and doors shut.",
    Method.LASER: "Warm it up, levelling unlocked. Turn the plane until both end marks read alike, or nearly so.",
    Method.METER: "From the same base plate, the same edge of the meter. Three shots, note the middle one.",
}
_INWARD: Mapping[str, str] = {
    Kind.GAP: "When the wall moves in, the gap gets SMALLER.",
    Kind.DEFLECTION: "When the wall moves in, the deflection gets LARGER.",
    Kind.DISTANCE: "When the wall moves in, the distance gets SMALLER.",
}
_UNIT_WORDS = {"in": "inches", "mm": "millimetres"}
WEATHERS = ("wet", "dry", "frost")
SEEN_URGENT = (Seen.LIP, Seen.NEW_CRACK, Seen.CRUSHED_BLOCK, Seen.JOISTS_OFF, Seen.NOISE, Seen.GUSHING_WATER)
"""What asks the technician to leave and to call."""


def field_sheet(sheet: FieldSheet) -> Context:
    """Context of field-sheet.html."""
    data = script_data(sheet)
    keys = list(dict.fromkeys(wall.key for wall in sheet.walls))
    walls = ", ".join(keys) if len(keys) < 4 else f"{len(keys)} walls"
    return {
        "title": f"{'As-built sheet' if sheet.work else 'Field sheet'} {sheet.day.isoformat()}: {walls}",
        "nav": False,
        "made": _made(sheet),
        "data": data,
        **as_built(sheet),
        "sheet": sheet,
        "sheet_id": data["id"],
        "walls": [_wall(sheet, wall, number) for number, wall in enumerate(sheet.walls)],
        "weathers": WEATHERS,
        "seen": [(str(word), word in SEEN_URGENT) for word in Seen],
        "not_read": [str(word) for word in NotRead],
        "company": sheet.company.get("name", ""),
        "contact": sheet.company.get("contact", ""),
        "stay_out": wording.STAY_OUT,
        "caution": (wording.CAUTION_BEFORE, wording.CAUTION_STRONG, wording.CAUTION_AFTER),
        "sixteenths": [length_text(n * SIXTEENTH_MM, "in").removesuffix(" in") for n in range(1, 16)],
    }


def _made(sheet: FieldSheet) -> str:
    """From which data the sheet was made, and until when it holds."""
    said = f"Made for {sheet.day.isoformat()} from what was known until {sheet.known_until:%Y-%m-%d %H:%M} UTC"
    if sheet.newest_reading:
        said += f", readings up to {sheet.newest_reading.isoformat()}"
    if sheet.judged_on:
        said += f", walls as judged for {sheet.judged_on.isoformat()}"
    last = (sheet.day + timedelta(days=MADE_LONG_AGO_DAYS)).isoformat()
    return f"{said}. Use it until {last}; later ask for a new one."


def script_data(sheet: FieldSheet) -> Context:
    """What the script knows: walls, lines and marks with their numbers, in millimetres of deflection."""
    data: Context = {
        "day": sheet.day.isoformat(),
        "judged_on": sheet.judged_on.isoformat() if sheet.judged_on else "",
        "known_until": sheet.known_until.isoformat(timespec="seconds"),
        "upload_to": sheet.upload_to,
        "blind": sheet.blind,
        "code_version": sheet.code_version,
        "rules": {
            "agree_mm": AGREE_MM,
            "confirmed_share": sheet.confirms,
            "made_long_ago_days": MADE_LONG_AGO_DAYS,
            "data_old_days": DATA_OLD_DAYS,
        },
        "people": sheet.people,
        "instruments": {
            row["instrument"]: {"method": row["method"], "standoff_mm": row["standoff_mm"]} for row in sheet.instruments
        },
        "walls": [
            {
                "key": wall.key,
                "house": wall.house,
                "wall": wall.wall,
                "part": wall.part,
                "second": bool(wall.second_why),
                "lines": [_line_data(line) for line in wall.lines],
            }
            for wall in sheet.walls
        ],
        **work_data(sheet),
    }
    return {"id": _digest(data), "kept_as": _kept_as(data), **data}


def _kept_as(data: Context) -> str:
    """By what the phone finds again what was typed: the day and the marks in their order, not what is expected of them.

    So a sheet opened from the service and loaded again, made anew from data of a minute later, has it still.
    """
    lines = [
        (wall["key"], wall["part"], line["number"], line["again"], line["method"], line["kind"], line["unit"],
         *(mark["mark"] for mark in line["marks"]))
        for wall in data["walls"]
        for line in wall["lines"]
    ]  # fmt: skip
    return _digest([data["day"], lines])


def _digest(made_from: object) -> str:
    return sha256(json.dumps(made_from, sort_keys=True, separators=(",", ":")).encode()).hexdigest()[:12]


def _line_data(line: SheetLine) -> Context:
    return {
        "number": line.number,
        "again": line.second,
        "method": line.method,
        "kind": line.kind,
        "unit": line.unit,
        "instrument": line.instrument,
        "standoff_mm": line.standoff_mm,
        "marks": [
            {
                "mark": mark.mark,
                "expected_mm": mark.expected_mm,
                "fine_mm": mark.fine_mm,
                "refs": line.refs.get(mark.mark, {}),
            }
            for mark in line.marks
        ],
    }


def _wall(sheet: FieldSheet, wall: SheetWall, number: int) -> Context:
    return {
        "key": wall.key,
        "part": wall.part,
        "label": {"before": "1 Before the work", "after": "3 After the work"}.get(wall.part, wall.key),
        "name": wall.place["nickname"] or f"wall {wall.wall}",
        "picture": bare_elevation(wall, f"face-{number}"),
        "second_why": wall.second_why,
        "lines": [_line(line, wall.unit, sheet.blind) for line in wall.lines],
    }


def _line(line: SheetLine, wall_unit: str, blind: bool) -> Context:
    last = max((mark.last["visit_date"] for mark in line.marks if mark.last), default=None)
    return {
        "number": line.number,
        "second": line.second,
        "code": line.method,
        "method": _METHOD_WORDS[line.method],
        "how": _HOW[line.method],
        "kind": line.kind,
        "kind_capitals": line.kind.upper(),
        "unit": line.unit,
        "unit_words": _UNIT_WORDS[line.unit],
        "inward": _INWARD[line.kind],
        "instrument": line.instrument,
        "standoff": length_text(line.standoff_mm, line.unit, denominator=64) if line.standoff_mm else "",
        "last_on": last,
        "marks": [_mark(line, mark, wall_unit, last) for mark in line.marks],
        "foretold": any(mark.fine_mm is not None for mark in line.marks),
        "blind": blind,
    }


def _mark(line: SheetLine, mark: SheetMark, wall_unit: str, last: Any) -> Context:
    place = [f"{_whole(mark.x_mm, wall_unit)} from left" if mark.x_mm is not None else ""]
    place += [f"{_whole(mark.z_mm, wall_unit)} up" if mark.z_mm is not None else ""]
    said = ""
    if mark.last:
        said = _as_read(mark.last)
        said += f" ({mark.last['visit_date'].isoformat()})" if mark.last["visit_date"] != last else ""
    return {
        "mark": mark.mark,
        "place": ", ".join(filter(None, place)),
        "note": mark.note,
        "last": _together(said),
        "fine": _together(range_text(line, mark)),
    }


def _together(text: str) -> str:
    """A mixed number is never torn apart at the end of a line: 3 3/16 would be read as 3."""
    return re.sub(r"(?<=\d) (?=\d+/\d)", "\N{NO-BREAK SPACE}", text)


def _as_read(row: Mapping[str, Any]) -> str:
    """A reading of before: '2 13/16 in' however it was spelt, as it was typed where that is not exactly a fraction."""
    mm, unit = row.get("value_mm"), row["unit"]
    if unit == "in" and mm is not None:
        inches = nearest_fraction(mm / MM_PER_INCH, denominator=64)
        if abs(mm_from_inches(inches) - mm) < 1e-6:
            return f"{fraction_text(inches)} in"
    return f"{row['value_raw']} {unit}".strip()


def _whole(mm: float, unit: str) -> str:
    """Where to look for a mark: to the nearest inch or centimetre."""
    inches = round(mm / MM_PER_INCH) * MM_PER_INCH
    return feet_text(inches, unit) if unit == "in" else feet_text(mm, unit)


def range_text(line: SheetLine, mark: SheetMark) -> str:
    """What is expected and from where to where it is fine: 'expect 1 11/16, fine from 1 9/16 to 1 13/16'.

    Where the placing stands anywhere it is told against the marks that say where: '1 3/16 less than B3'.
    """
    if mark.expected_mm is None or mark.fine_mm is None:
        return ""
    refs = line.refs.get(mark.mark, {})
    if mark.mark in refs:
        return "tells where the placing stands"
    middle = line.value_mm(mark.expected_mm)
    low, high = middle - mark.fine_mm, middle + mark.fine_mm
    if not refs:
        return f"expect {_number(middle, line.unit)}, fine from {_up(low, line.unit)} to {_down(high, line.unit)}"
    expected = {other.mark: other.expected_mm for other in line.marks}
    if any(expected[name] is None for name in refs):
        return ""
    base = sum(weight * line.value_mm(expected[name] or 0.0) for name, weight in refs.items())
    where = " and ".join(refs) + (" when these read alike" if len(refs) > 1 else "")
    low, high = _up_mm(low - base, line.unit), _down_mm(high - base, line.unit)
    fine = f"fine from {_more(low, line.unit)} to {_more(high, line.unit)}"
    return f"expect {_more(middle - base, line.unit)} than {where}, {fine}"


def _number(mm: float, unit: str) -> str:
    return length_text(mm, unit).removesuffix(f" {unit}")


def _step(unit: str) -> float:
    return SIXTEENTH_MM if unit == "in" else 1.0


def _up_mm(mm: float, unit: str) -> float:
    """To the next step of the rule inside the range, so that what is shown is never beyond what is checked."""
    return ceil(mm / _step(unit) - 1e-9) * _step(unit)


def _down_mm(mm: float, unit: str) -> float:
    return floor(mm / _step(unit) + 1e-9) * _step(unit)


def _up(mm: float, unit: str) -> str:
    return _number(_up_mm(mm, unit), unit).removesuffix(".0")


def _down(mm: float, unit: str) -> str:
    return _number(_down_mm(mm, unit), unit).removesuffix(".0")


def _more(mm: float, unit: str) -> str:
    return f"{_number(abs(mm), unit).removesuffix('.0')} {'more' if mm >= 0 else 'less'}"
