"""What the history page for a sale says: dated, to somebody who does not know the wall. No word of it is an advert."""

from collections.abc import Mapping

from monitor.terms import EventKind, Method, TopAnchor

SAID: Mapping[str, str] = {
    "title": "Measurement history of {wall}",
    "dated": "As known on {known_on}, judged for {judged_on}. It says nothing about any day after the last visit.",
    "for": "For a buyer, an agent or an inspector. Written by {company}, who measured the wall.",
    "address": "Address, to be written in by the owner",
    "visits": "{visits}, the first on {first}, the last on {last}",
    "one visit": "1 visit, on {first}",
    "never": "none yet",
    "often": "about every {months}",
    "by": "{people} of {company}; who they were is on record there",
    "total": "{total}, measured relative to {reference}, at {place}",
    "total unknown": "not known: this way of reading cannot tell it",
    "total unread": "not known: no visit yet",
    "not the movement": (
        "The difference of the two is not simply the movement: between them lies {work}, which changes the surface, "
        "the marks or what they are measured against."
    ),
    "seen": "{day}: our technician saw {seen}.",
    "strap facts": "{count} straps, {spacing} apart, centre to centre",
    "as told": "as told to us",
    "of all": "Of {received} received, {parts}.",
    "held": "A reading of {date} is held: it does not fit the others, and is not used until it is read again.",
    "several held": (
        "{count} readings of {date} are held: they do not fit the others, and are not used until they are read again."
    ),
    "released": "A reading of {date} had been held; it was looked into on {known} and is used.",
    "set aside": "A reading of {date} was set aside on {known}; it is kept and not used.",
    "corrected": "A reading of {date} was corrected on {known}: {old} → {new}.",
    "before straps": "before the straps",
    "only period": "all visits",
    "since straps": "since the straps of {day}",
    "takes place": "It takes the place of page number {number}, judged for {judged_on}.",
    "confirm": (
        "To have this page confirmed, give {company}{contact} the page number {number}, or better the file itself. "
        "They can say whether it is as they wrote it and whether a newer page has taken its place, and why. "
        "A page that they cannot confirm proves nothing."
    ),
}

RATE: Mapping[str, str] = {
    "none": "not told: {visits} cannot show a rate",
    "not measured": "not measured: the way it was read cannot show it yet",
    "jump": "not told: the latest visit shows a sudden change, which is no rate",
    "inward": "moved in, most likely {rate} ({beside}), {range}",
    "quiet": "no inward movement measured; if there was any, very likely less than {upper} ({upper_beside})",
    "open": "not settled: {range}; most likely {rate} ({beside})",
    "open outward": "not settled: {range}",
}
"""A period's rate in plain words."""

STATE: Mapping[str, str] = {
    "no visit": "This wall has not been read yet.",
    "too early": "The visits so far are too few, or too close together, to say whether the wall is moving.",
    "too few visits": "The visits so far are too few to show whether the wall is moving.",
    "nothing measured": "The way this wall has been read cannot show yet whether it is moving.",
    "no movement measured": "No inward movement was measured; smaller movement than is told below would not show.",
    "slow": "The wall moved in slowly, by less than the rate at which the company asks for a decision.",
    "small, not settled": "The readings hint at inward movement, but the measuring is not fine enough to be sure.",
    "inward, not settled": (
        "The wall moved in; whether faster than the rate at which the company asks for a decision is not settled."
    ),
    "to be confirmed": "The readings show inward movement; a confirming visit is to follow.",
    "comes and goes": "The wall moves in and back again with the seasons; no lasting change was measured.",
    "moving": "The wall was measured to be moving in.",
    "moving after straps": "The wall was measured to be still moving in since the straps were fitted.",
    "large change": "The last visit shows a large change that is being checked.",
    "jump": "The last visit shows a sudden change that is being checked.",
    "large total": "The wall has come in, in all, by more than the limit at which the company asks for a decision.",
    "seen": "At the last visit something was seen that is being checked: {seen}.",
    "overdue": "A visit is overdue. Nothing is known about the time since {last}.",
    "covered": "At the visit of {unseen} the wall could not be seen. Nothing is known about the time since {last}.",
    "being checked": "A reading that does not fit the others is being checked; it is not used.",
    "several being checked": "Readings that do not fit the others are being checked; they are not used.",
}
"""The same states as on the homeowner's page, said to a third person."""

WORK: Mapping[str, str] = {
    EventKind.REINFORCEMENT: "straps fitted",
    EventKind.SURFACE_WORK: "work on the wall's surface",
    EventKind.STRAIGHTENING: "wall pushed back outward",
    EventKind.DIGGING: "soil dug away outside",
    EventKind.DRAINAGE: "work on drainage",
    EventKind.METHOD_CHANGE: "way of reading changed",
    EventKind.REFERENCE_CHANGE: "fixed points of measuring changed",
    EventKind.LOST_MARK: "a mark lost and replaced",
    EventKind.COVERED: "wall, or a part of it, finished over",
    EventKind.UNCOVERED: "wall laid open again",
}

METHOD: Mapping[str, str] = {
    Method.STRING: "a string line along the wall",
    Method.PLUMB: "a plumb line",
    Method.LASER: "a laser line and a rule",
    Method.METER: "a distance meter from the opposite wall",
}

ANCHOR: Mapping[str, str] = {
    TopAnchor.RIM_JOIST: "top anchored to the rim joist",
    TopAnchor.SILL_PLATE: "top anchored to the sill plate",
    TopAnchor.OTHER: "top anchored to neither rim joist nor sill plate",
}

FACTS: Mapping[str, tuple[str, str]] = {
    "surface_to_sound": (
        "surface taken down to sound, clean wall",
        "surface not taken down to sound, clean wall",
    ),
    "cracks_grouted": ("cracks cleared and grouted first", "cracks not grouted first"),
    "joists_tied": ("joists tied to the sill on both sides", "joists not tied to the sill on both sides"),
    "bottom_holes_cleaned": ("holes of the bottom anchor cleaned", "holes of the bottom anchor not cleaned"),
}
"""What the record of the work says, where it says yes and where no."""

BOTTOM_DEPTH = "holes of the bottom anchor {depth} deep"
NO_RECORD = "no record of how"

MEANINGS: tuple[tuple[str, str], ...] = (
    ("Mark", "A point on the wall that is read again at every visit."),
    ("In, inward", "Into the room, away from the soil."),
    (
        "A rate, such as 0.10 inch a year",
        "How far the quickest of the marks moves in a year, by a line laid through all visits that count.",
    ),
    (
        "Between ... and ...",
        "In nine cases of ten the true rate lies in there. The readings cannot tell where in between.",
    ),
    ("Very likely less than", "In nineteen cases of twenty the true rate is smaller than that."),
    (
        "No inward movement measured",
        "The readings show none that is larger than the errors of measuring. It does not mean that the wall does not "
        "move.",
    ),
    ("Straps", "Bands of fibre bonded to the wall from floor to top, and anchored at both."),
    ("Held", "A reading that does not fit. It is kept, shown, and not used until somebody has looked into it."),
)
