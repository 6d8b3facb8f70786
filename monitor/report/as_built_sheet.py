"""The sheet for the day of a reinforcement: the readings before and after, and between them the record of the work."""

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.report.field_record import FieldSheet
from monitor.terms import TopAnchor

Context = dict[str, Any]

_YES_NO = ("yes", "no")
_STEPS: Sequence[tuple[str, Sequence[tuple[str, str, str | Sequence[str]]]]] = (
    ("Surface", (
        ("surface_to_sound", "Taken down to sound, clean wall", _YES_NO),
        ("cracks_grouted", "Cracks cleared and grouted", _YES_NO),
    )),
    ("Bottom anchor", (
        ("bottom_holes_cleaned", "Holes cleaned", _YES_NO),
        ("bottom_hole_depth", "Depth of the holes, measured", "length"),
    )),
    ("Straps", (
        ("positions", "Each strap's distance from the left corner", "text"),
        ("strap_count", "Number of straps", "number"),
        ("strap_spacing", "Spacing, centre to centre", "length"),
        ("adhesive_margin", "Adhesive past the edges", "length"),
        ("film_hours", "Film left on, hours", "number"),
    )),
    ("Cure", (
        ("cure_minutes", "Minutes until tested", "number"),
        ("heat_source", "Under a heat source", _YES_NO),
        ("heat_distance", "Distance of the heat source", "length"),
        ("hardness_test", "How hardness was tested, and what it showed", "text"),
    )),
    ("Top anchor", (
        ("top_anchor", "Anchored to", tuple(str(word) for word in TopAnchor)),
        ("joists_tied", "Joists tied to the sill, both sides", _YES_NO),
        ("turns", "Turns after finger-tight", "number"),
        ("anchor_gap", "Gap left behind the anchor", "length"),
    )),
)  # fmt: skip
"""What is recorded, in the order of the work: column of the register's events, words, and what may be entered."""

FATES: Mapping[str, str] = {
    "untouched": "not touched",
    "surface": "surface worked on",
    "strap": "strap over it",
    "moved": "moved: a new mark",
    "lost": "lost",
}
"""What became of a mark on the day; the first is what `marks untouched` of the record lists."""


def as_built(sheet: FieldSheet) -> Context:
    """What the page of a field sheet has more on such a day; empty on others."""
    if not sheet.work:
        return {"work": None}
    wall = sheet.walls[0]
    unit = "in" if wall.unit == "in" else "mm"
    return {
        "work": {
            "key": wall.key,
            "unit": unit,
            "steps": [
                (title, [{"name": name, "words": words, "may_be": may_be} for name, words, may_be in fields])
                for title, fields in _STEPS
            ],
            "marks": [mark.mark for mark in _marks_read(sheet)],
            "fates": FATES,
        }
    }


def _marks_read(sheet: FieldSheet) -> list[Any]:
    found = {mark.mark: mark for line in sheet.walls[0].lines for mark in line.marks}
    return list(found.values())


def work_data(sheet: FieldSheet) -> Context:
    """What the script needs of the register to write the record: unit, and the marks' own rows."""
    if not sheet.work:
        return {}
    wall = sheet.walls[0]
    return {
        "work": {
            "house": wall.house,
            "wall": wall.wall,
            "unit": "in" if wall.unit == "in" else "mm",
            "marks": {row["mark"]: _mark_row(row) for row in wall.marks},
        }
    }


def _mark_row(row: Mapping[str, Any]) -> dict[str, str]:
    """A mark's row as a file of the register has it."""
    return {
        "x": f"{row['x_mm']:g} mm" if row["x_mm"] is not None else "",
        "z": f"{row['z_mm']:g} mm" if row["z_mm"] is not None else "",
        "row": row["row"],
        "column": row["column"],
        "on_strap": "yes" if row["on_strap"] else "no",
        "set_on": row["set_on"].isoformat() if row["set_on"] else "",
        "retired_on": row["retired_on"].isoformat() if row["retired_on"] else "",
        "replaces": row["replaces"],
        "note": row["note"],
    }
