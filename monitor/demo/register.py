"""What the clerk sends: people, houses, walls, marks, instruments, thresholds and events; all of it invented."""

from collections.abc import Sequence
from datetime import date

from monitor.demo.scenario import HOMES, STORIES, Story
from monitor.demo.tables import Cell, Table
from monitor.demo.walls import INSTRUMENT, UNIT, day_of, geometry_of, spots_of
from monitor.simulate import Spot
from monitor.terms import EventKind, Kind, LengthUnit, Method, Role, TopAnchor
from monitor.units import INCHES_PER_FOOT, MM_PER_INCH

TECHNICIANS = ("T1", "T2", "T3", "T4")
CLERK = "O1"
ENGINEER = "E1"
_OWNERS = ("Ada", "Bea", "Cal", "Dot", "Eli", "Fay", "Gus", "Hal", "Ida", "Jon", "Kit", "Lou", "May")

Event = dict[str, Cell]


def people() -> Table:
    """Staff, and one owner a house; no name, number or address is anybody's."""
    staff = [(person, Role.TECHNICIAN, f"Technician {person[-1]}") for person in TECHNICIANS]
    staff += [(CLERK, Role.OFFICE, "Clerk One"), (ENGINEER, Role.ENGINEER, "Engineer One")]
    rows: list[dict[str, Cell]] = [
        _person(person, role, "", f"{name} Example", 200 + i) for i, (person, role, name) in enumerate(staff)
    ]
    rows += [
        _person(f"P{i:02d}", Role.OWNER, home.house, f"{name} Example", 100 + i)
        for i, (home, name) in enumerate(zip(HOMES, _OWNERS, strict=True), start=1)
    ]
    return rows


def _person(person: str, role: Role, house: str, name: str, number: int) -> dict[str, Cell]:
    return {
        "person": person,
        "role": role.value,
        "house": house,
        "name": name,
        "phone": f"555-0{number}",
        "email": f"{person.lower()}@example.invalid",
        "note": "invented",
    }


def houses() -> Table:
    """The houses, by what people call them."""
    return [
        {
            "house": home.house,
            "nickname": home.nickname,
            "soil": "clay till",
            "climate": "cold winters, wet April",
            "note": home.note,
        }
        for home in HOMES
    ]


def instruments() -> Table:
    """Each technician's blocks, plumb line, laser and distance meter."""
    return [
        {
            "instrument": prefix + person.replace("T", "-"),
            "method": method.value,
            "stand-off": "3 in" if method is Method.STRING else "",
            "step": "1/16 in" if UNIT[method] is LengthUnit.INCH else "1 mm",
            "note": "pair of milled blocks" if method is Method.STRING else "",
        }
        for method, prefix in INSTRUMENT.items()
        for person in TECHNICIANS
    ]


def thresholds() -> Table:
    """The company's thresholds, signed by its engineer."""
    return [
        {
            "valid from": date(2023, 1, 16),
            "before [mm/yr]": MM_PER_INCH / 8,
            "after [mm/yr]": MM_PER_INCH / 16,
            "total limit": "2 in",
            "take-up days": 90,
            "signed by": ENGINEER,
            "signed on": date(2023, 1, 12),
            "note": "1/8 and 1/16 inch a year",
        }
    ]


def walls() -> Table:
    """All walls, lengths as they were taped."""
    return [_wall(story) for story in STORIES]


def _wall(story: Story) -> dict[str, Cell]:
    geometry, method = geometry_of(story), story.methods[0]
    names = {"N": "north", "E": "east", "S": "south", "W": "west"}
    return {
        "house": story.house,
        "wall": story.wall,
        "nickname": f"{names[story.wall]} wall",
        "length": f"{geometry.length_mm:.0f} mm" if story.house == "DH-06" else _feet(story.length_ft),
        "clear height [mm]": geometry.height_mm,
        "thickness": "8 in",
        "material": "concrete block",
        "crack height [mm]": geometry.crack_mm,
        "backfill height": "6 ft 6 in",
        "left end": geometry.left.value,
        "right end": geometry.right.value,
        "method": method.value,
        "kind": (Kind.DISTANCE if method is Method.METER else story.kind).value,
        "unit": UNIT[method].value,
        "visit months": "",
        "note": "",
    }


def _feet(feet: float) -> str:
    whole, inches = divmod(round(feet * INCHES_PER_FOOT), INCHES_PER_FOOT)
    return f"{whole} ft {inches} in" if inches else f"{whole} ft"


def marks() -> Table:
    """The marks that were set at the zero readings."""
    return [_mark(story, spot) for story in STORIES for spot in spots_of(story) if spot.mark not in ("M3b", "E1", "E5")]


def _mark(
    story: Story,
    spot: Spot,
    *,
    set_on: date | None = None,
    retired_on: date | None = None,
    replaces: str = "",
    strap: bool = False,
    note: str = "",
) -> dict[str, Cell]:
    return {
        "house": story.house,
        "wall": story.wall,
        "mark": spot.mark,
        "x [mm]": round(spot.x_mm, 1),
        "z [mm]": spot.z_mm,
        "row": spot.row,
        "column": spot.column,
        "on strap": "yes" if strap else "no",
        "set on": set_on or day_of(story, 0),
        "retired on": retired_on,
        "replaces": replaces,
        "note": note,
    }


def later_marks() -> dict[date, Table]:
    """Marks that were set, lost or covered by a strap later, by the day the clerk heard of it."""
    found: dict[date, list[dict[str, Cell]]] = {}
    for story in STORIES:
        spots = {spot.mark: spot for spot in spots_of(story)}
        if story.lost_month is not None:
            day = day_of(story, story.lost_month)
            found.setdefault(day, []).extend(
                [
                    _mark(story, spots["M3"], retired_on=day, note="painted over"),
                    _mark(story, spots["M3b"], set_on=day, replaces="M3"),
                ]
            )
        if story.laser_month is not None:
            day = day_of(story, story.laser_month)
            ends = [_mark(story, spots[mark], set_on=day, note="end spot of the laser") for mark in ("E1", "E5")]
            found.setdefault(day, []).extend(ends)
        if "M3" in story.surface_mm and story.straps_month is not None:
            day = day_of(story, story.straps_month)
            found.setdefault(day, []).append(_mark(story, spots["M3"], strap=True, note="strap over the mark"))
    return dict(found)


def events() -> dict[date, Table]:
    """What happened to the walls, by day."""
    found: dict[date, list[Event]] = {}
    for story in STORIES:
        for event in _events(story):
            day = event["event date"]
            if isinstance(day, date):
                found.setdefault(day, []).append(event)
    return dict(sorted(found.items()))


def _events(story: Story) -> list[Event]:
    told: list[Event] = []
    if story.straps_month is not None:
        work = day_of(story, story.straps_month)
        if story.name == "DH-13-E":
            told.append(_event(story, work, EventKind.DIGGING, note="dug out to the footing"))
            told.append(_event(story, work, EventKind.STRAIGHTENING, note="pushed back with jacks by about 1/2 in"))
        if story.surface_mm:
            told.append(
                _event(
                    story, work, EventKind.SURFACE_WORK, marks=" ".join(story.surface_mm), note="M2 ground, strap on M3"
                )
            )
        told.append(_event(story, work, EventKind.REINFORCEMENT, **({"note": "bonded straps"} | AS_BUILT[story.name])))
    if story.name == "DH-03-S":
        told.append(_event(story, date(2024, 8, 20), EventKind.DRAINAGE, note="downspout led 10 ft away"))
    if story.laser_month is not None:
        day = day_of(story, story.laser_month)
        told.append(_event(story, day, EventKind.METHOD_CHANGE, method=Method.LASER.value, note="new laser"))
    if story.lost_month is not None:
        day = day_of(story, story.lost_month)
        told.append(_event(story, day, EventKind.LOST_MARK, marks="M3", new_mark="M3b", note="painted over"))
    if story.covered_month is not None:
        day = day_of(story, story.covered_month)
        told.append(_event(story, day, EventKind.COVERED, marks="M1 M2 M4 M5", note="finished; hatch at M3"))
    return told


def _event(story: Story, day: date, kind: EventKind, **cells: Cell) -> Event:
    event: Event = {"house": story.house, "wall": story.wall, "event date": day, "kind": kind.value}
    event |= {"marks": "", "method": "", "new mark": "", "note": ""}
    event |= dict.fromkeys(_AS_BUILT_COLUMNS, "")
    unknown = {name.replace("_", " ") for name in cells} - set(event)
    if unknown:
        raise KeyError(f"no such column of an event: {sorted(unknown)}")
    return event | {name.replace("_", " "): cell for name, cell in cells.items()}


_AS_BUILT_COLUMNS = (
    "strap count", "strap spacing", "surface to sound", "cracks grouted", "top anchor", "joists tied",
    "bottom holes cleaned", "bottom hole depth", "cure minutes", "heat source", "heat distance", "hardness test",
    "turns", "anchor gap", "adhesive margin", "film hours", "marks untouched",
)  # fmt: skip


def _as_built(count: int, top: TopAnchor, untouched: Sequence[str], **odd: Cell) -> dict[str, Cell]:
    """The record of straps as they should be put up (common practice, no source), with what was odd about these."""
    record: dict[str, Cell] = {
        "strap_count": count,
        "strap_spacing": "4 ft",
        "surface_to_sound": "yes",
        "cracks_grouted": "yes",
        "top_anchor": top.value,
        "joists_tied": "yes" if top is TopAnchor.SILL_PLATE else "",
        "bottom_holes_cleaned": "yes",
        "bottom_hole_depth": "4 in",
        "cure_minutes": 40,
        "heat_source": "no",
        "hardness_test": "nail tip leaves no dent",
        "turns": "2 1/2",
        "anchor_gap": "1/2 in",
        "adhesive_margin": "1/4 in",
        "film_hours": 4,
        "marks_untouched": " ".join(untouched),
    }
    return record | odd


_ROW = ("M1", "M2", "M3", "M4", "M5")
AS_BUILT = {
    "DH-01-N": _as_built(7, TopAnchor.RIM_JOIST, (*_ROW, "T2", "T3", "T4", "B2", "B3", "B4")),
    "DH-02-E": _as_built(
        6, TopAnchor.SILL_PLATE, (), bottom_holes_cleaned="no", bottom_hole_depth="1 1/2 in", turns="3 1/2"
    ),
    "DH-03-S": _as_built(5, TopAnchor.OTHER, (), anchor_gap="0 in", note="joists run along the wall, no blocking"),
    "DH-05-N": _as_built(
        8, TopAnchor.RIM_JOIST, ("M1", "M4", "M5"), cure_minutes=10, heat_source="yes", heat_distance="4 in"
    ),
    "DH-13-E": _as_built(7, TopAnchor.RIM_JOIST, ()),
}
