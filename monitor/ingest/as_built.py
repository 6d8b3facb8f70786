"""What in an as-built record of bonded straps is outside common practice: noted as doubts, never refused.

Every bound in this file is common practice, no source. A repair can hold outside them; somebody should look.
"""

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from monitor.ingest.known import Fact
from monitor.terms import TopAnchor
from monitor.units import MM_PER_INCH, fraction_text, length_text, nearest_fraction

COLUMNS = (
    "strap_count", "strap_spacing_mm", "surface_to_sound", "cracks_grouted", "top_anchor", "joists_tied",
    "bottom_holes_cleaned", "bottom_hole_depth_mm", "cure_minutes", "heat_source", "heat_distance_mm", "hardness_test",
    "turns", "anchor_gap_mm", "adhesive_margin_mm", "film_hours", "marks_untouched",
)  # fmt: skip

_SPACING_MM = (36 * MM_PER_INCH, 72 * MM_PER_INCH)
_TURNS = (2.0, 3.0)
_CURE_MINUTES = (10.0, 60.0)
_HEATED_CURE_MINUTES = 8.0
_HEAT_DISTANCE_MM = (2 * MM_PER_INCH, 12 * MM_PER_INCH)
_MARGIN_MM = (MM_PER_INCH / 8, MM_PER_INCH / 2)
_FILM_HOURS = 2.0
_NOT_TESTED = {"", "no", "none", "not tested", "-", "n/a"}
_RECORDED = {
    "surface_to_sound": "surface to sound",
    "cracks_grouted": "cracks grouted",
    "bottom_holes_cleaned": "bottom holes cleaned",
    "bottom_hole_depth_mm": "bottom hole depth",
    "cure_minutes": "cure time",
    "turns": "turns",
    "anchor_gap_mm": "gap behind the top anchor",
    "top_anchor": "top anchor",
    "strap_count": "strap count",
    "strap_spacing_mm": "strap spacing",
}


def doubts(event: Fact, wall: Fact) -> list[str]:
    """Doubts about the as-built record of a reinforcement, in words; `wall` gives its length and its unit."""
    if all(event[column] in (None, "") for column in COLUMNS):
        return ["no as-built record"]
    unit = wall.get("unit") or "in"
    found = [*_straps(event, wall, unit), *_surface_and_anchors(event), *_adhesive(event, unit)]
    missing = [name for column, name in _RECORDED.items() if event[column] in (None, "")]
    return [*found, f"not recorded: {', '.join(missing)}"] if missing else found


def _straps(event: Fact, wall: Fact, unit: str) -> Iterator[str]:
    spacing, count, length = event["strap_spacing_mm"], event["strap_count"], wall.get("length_mm")
    if spacing is not None and not _within(spacing, _SPACING_MM):
        yield f"straps {length_text(spacing, unit)} apart: 3 to 6 ft is usual"
    if spacing and count and length and (count + 1) * spacing < length:
        bare = length - (count - 1) * spacing
        yield f"{count} straps at that spacing leave {length_text(bare, unit)} of the wall's length without"


def _surface_and_anchors(event: Fact) -> Iterator[str]:
    if event["surface_to_sound"] is False:
        yield "surface not taken down to sound wall: will the bond hold?"
    if event["cracks_grouted"] is False:
        yield "cracks not grouted: a hinge if the wall comes back?"
    if event["top_anchor"] == TopAnchor.SILL_PLATE and not event["joists_tied"]:
        yield "sill plate without joists tied on both sides"
    if event["top_anchor"] == TopAnchor.OTHER:
        yield "top anchored to neither rim joist nor sill plate"
    if event["bottom_holes_cleaned"] is False:
        yield "holes of the bottom anchor not cleaned"
    turns = event["turns"]
    if turns is not None and turns > _TURNS[1]:
        yield f"{_turns(turns)}: over-tightened?"
    if turns is not None and turns < _TURNS[0]:
        yield f"{_turns(turns)}: tight enough?"
    gap = event["anchor_gap_mm"]
    if gap is not None and gap <= 0:
        yield "no visible gap behind the top anchor: is there room left to tighten?"


def _adhesive(event: Fact, unit: str) -> Iterator[str]:
    cure, heated = event["cure_minutes"], event["heat_source"]
    if cure is not None and (cure < _HEATED_CURE_MINUTES if heated else not _within(cure, _CURE_MINUTES)):
        usual = "about 10 min under heat" if heated else "10 to 60 min"
        yield f"cured {cure:g} min: {usual} is usual"
    distance = event["heat_distance_mm"]
    if distance is not None and not _within(distance, _HEAT_DISTANCE_MM):
        near = "near" if distance < _HEAT_DISTANCE_MM[0] else "far"
        yield f"heat source {length_text(distance, unit)} away: too {near}?"
    if event["hardness_test"].strip().lower() in _NOT_TESTED:
        yield "hardness not tested: a nail's tip should leave no dent"
    margin = event["adhesive_margin_mm"]
    if margin is not None and not _within(margin, _MARGIN_MM):
        yield f"adhesive {length_text(margin, unit)} past the strap edges: about 1/4 in is usual"
    film = event["film_hours"]
    if film is not None and film < _FILM_HOURS:
        yield f"film taken off after {film:g} h: early?"


def _within(value: Any, bounds: tuple[float, float]) -> bool:
    slack = 1e-9
    return bool(bounds[0] - slack <= value <= bounds[1] + slack)


def _turns(turns: float) -> str:
    number = nearest_fraction(turns)
    return f"{fraction_text(number)} turn{'' if number <= Fraction(1) else 's'}"
