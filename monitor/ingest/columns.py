"""The one table of column names: what each column of a file may be called, by schema name."""

from collections.abc import Mapping

from monitor import schema

READING_COLUMNS = (
    "house", "wall", "visit_date", "part", "technician", "method", "instrument", "setup", "standoff", "mark", "value",
    "unit", "kind", "not_read", "seen", "weather", "crack_width", "photos", "note", "mends",
)  # fmt: skip
READING_NEEDS = ("wall", "visit_date", "mark", "value")
"""The house may stand in the wall's id (DH-01-N)."""

REGISTER_NEEDS: Mapping[str, tuple[str, ...]] = {
    "houses": ("house",),
    "walls": ("house", "wall", "length_mm", "clear_height_mm"),
    "marks": ("house", "wall", "mark", "x_mm", "z_mm"),
    "instruments": ("instrument", "method"),
    "thresholds": ("valid_from", "before_mm_per_year", "after_mm_per_year"),
    "events": ("house", "wall", "event_date", "kind"),
    "people": ("person", "role"),
}
"""Columns without which a sheet is not that table, and cells that may not be blank."""

_PROVENANCE = {"source_sha256", "source_name", "source_sheet", "source_row", "known_at", "doubts"}

_OTHER_NAMES: Mapping[str, tuple[str, ...]] = {
    "house": ("house id", "house no", "home", "site", "property"),
    "wall": ("wall id", "wall no"),
    "visit_date": ("date", "visit", "visited", "visited on", "date of visit", "reading date", "date read"),
    "part": ("before or after", "before/after", "before after", "before or after work"),
    "technician": ("tech", "person", "read by", "taken by", "who", "initials"),
    "method": ("how", "method used"),
    "instrument": ("block", "block id", "blocks", "instrument id", "stand-off block", "stand-off block id"),
    "setup": ("set-up no", "set-up number", "placing"),
    "standoff": ("stand-off used", "offset", "block height"),
    "mark": ("mark id", "mark no", "point", "station", "spot"),
    "value": ("reading", "measured", "measurement", "as read", "value as typed", "gap", "deflection"),
    "unit": ("units", "uom"),
    "kind": ("kind of value", "gap or deflection", "what", "value is"),
    "not_read": ("could not read", "couldn't read", "could-not-read reason", "not read because", "reason"),
    "seen": ("signs", "what was seen", "signs seen", "observed"),
    "weather": ("wet/dry/frost", "conditions"),
    "crack_width": ("crack", "width of crack"),
    "photos": ("photo", "photo names", "pictures"),
    "note": ("notes", "remark", "remarks", "comment", "comments"),
    "mends": ("replaces reading", "reading id"),
}

_OTHER_REGISTER_NAMES: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "houses": {"house": _OTHER_NAMES["house"], "nickname": ("name", "called")},
    "walls": {
        "nickname": ("name", "called"),
        "length": ("wall length", "len"),
        "clear_height": ("height", "wall height", "clear ht"),
        "thickness": ("wall thickness", "thick"),
        "crack_height": ("crack", "height of crack"),
        "backfill_height": ("backfill", "soil height", "fill height"),
        "left_end": ("left",),
        "right_end": ("right",),
        "unit": ("units",),
        "visit_months": ("schedule", "visit schedule", "visits"),
        "zero_total": ("total at zero", "zero deflection"),
        "limit": ("total limit",),
    },
    "marks": {
        "x": ("from left", "distance from left", "distance from left corner", "x from left"),
        "z": ("height", "height above floor", "z above floor"),
        "on_strap": ("strap", "on a strap"),
        "set_on": ("set", "set date", "date set"),
        "retired_on": ("retired", "retired date", "date retired", "lost on"),
        "replaces": ("replaces mark",),
        "column": ("col",),
    },
    "instruments": {
        "instrument": ("id", "block", "instrument id"),
        "standoff": ("block height", "offset"),
        "step": ("finest step", "resolution"),
    },
    "thresholds": {
        "valid_from": ("from", "since"),
        "before": ("before reinforcement", "rate before"),
        "after": ("after reinforcement", "rate after"),
        "total_limit": ("total", "limit"),
        "take_up": ("take-up window",),
        "signed_by": ("signed", "signature"),
        "signed_on": ("date signed", "signed date"),
    },
    "events": {
        "event_id": ("id", "event id"),
        "event_date": ("date", "day"),
        "kind": ("event", "event kind", "what"),
        "marks": ("marks touched", "mark"),
        "strap_count": ("straps", "number of straps"),
        "strap_spacing": ("spacing",),
        "surface_to_sound": ("surface sound", "sound surface"),
        "cracks_grouted": ("grouted",),
        "joists_tied": ("joists tied both sides",),
        "bottom_holes_cleaned": ("holes cleaned",),
        "bottom_hole_depth": ("hole depth",),
        "cure": ("cure time",),
        "heat_source": ("heat", "heated"),
        "heat_distance": ("heat source distance", "distance of heat source"),
        "hardness_test": ("hardness", "hardness tested"),
        "turns": ("tightening",),
        "anchor_gap": ("gap behind anchor",),
        "adhesive_margin": ("margin",),
        "film": ("film left on",),
        "marks_untouched": ("untouched marks",),
    },
    "people": {"person": ("id", "person id"), "email": ("mail", "e-mail"), "phone": ("telephone", "tel")},
}

_UNIT_SUFFIXES = ("_mm_per_year", "_mm", "_minutes", "_hours", "_days")


def reading_names() -> dict[str, str]:
    """Every name that a column of a readings file may have, to the column."""
    return {name: column for column in READING_COLUMNS for name in (column, *_OTHER_NAMES.get(column, ()))}


def register_columns(table: str) -> tuple[str, ...]:
    """Columns of a register table that a file can fill."""
    return tuple(name for name in schema.find(table).names if name not in _PROVENANCE)


def register_names(table: str) -> dict[str, str]:
    """Every name that a column of that register table may have, to its schema name."""
    others = _OTHER_REGISTER_NAMES[table]
    names: dict[str, str] = {}
    for column in register_columns(table):
        bare = without_unit_suffix(column)
        common = _OTHER_NAMES.get(column, ()) if column in ("house", "wall", "note", "mark") else ()
        for name in (column, bare, *others.get(bare, ()), *common):
            names.setdefault(name, column)
    return names


def without_unit_suffix(column: str) -> str:
    """'length_mm' -> 'length'."""
    for suffix in _UNIT_SUFFIXES:
        if column.endswith(suffix):
            return column.removesuffix(suffix)
    return column
