"""What people write for the closed sets of words, beside the words themselves."""

from collections.abc import Mapping

from monitor.terms import End, EventKind, Kind, Method, NotRead, Part, Role, Seen, TopAnchor

METHODS: Mapping[str, Method] = {
    **dict.fromkeys(("string line", "string-line", "line"), Method.STRING),
    **dict.fromkeys(("plumb line", "plumb bob", "plumb-line", "bob"), Method.PLUMB),
    **dict.fromkeys(("laser plane", "laser and rule", "cross-line laser", "rotary laser"), Method.LASER),
    **dict.fromkeys(("distance meter", "laser distance meter", "laser distance", "distance"), Method.METER),
}  # fmt: skip
KINDS: Mapping[str, Kind] = {
    "g": Kind.GAP, "defl": Kind.DEFLECTION, "dist": Kind.DISTANCE,
}  # fmt: skip
PARTS: Mapping[str, Part] = {
    **dict.fromkeys(("-", "n/a", "none", "no work"), Part.NONE),
    **dict.fromkeys(("b", "before work", "before the work"), Part.BEFORE),
    **dict.fromkeys(("a", "after work", "after the work"), Part.AFTER),
}
NOT_READ: Mapping[str, NotRead] = {
    **dict.fromkeys(("finished", "drywall", "wall covered", "panelled"), NotRead.COVERED),
    **dict.fromkeys(("obstructed", "in the way", "stored goods", "no access to mark"), NotRead.BLOCKED),
    **dict.fromkeys(("lost", "gone", "mark gone", "mark missing", "fell off", "painted over"), NotRead.MARK_LOST),
    **dict.fromkeys(("no access", "not home", "nobody home", "locked"), NotRead.NO_ENTRY),
    **dict.fromkeys(("not read", "unread", "skipped", "could not read", "x"), NotRead.OTHER),
}
SEEN: Mapping[str, Seen] = {
    "lip at crack": Seen.LIP, "step": Seen.LIP, "new cracks": Seen.NEW_CRACK, "crack new": Seen.NEW_CRACK,
    "crushed": Seen.CRUSHED_BLOCK, "crushed blocks": Seen.CRUSHED_BLOCK, "joists off": Seen.JOISTS_OFF,
    "noise": Seen.NOISE, "cracking": Seen.NOISE, "gushing": Seen.GUSHING_WATER, "water": Seen.STANDING_WATER,
}  # fmt: skip
SEEN_NOTHING = frozenset({"", "-", "no", "none", "nothing", "n/a", "na", "ok"})
ENDS: Mapping[str, End] = {
    **dict.fromkeys(("return wall", "corner", "held", "yes"), End.RETURN),
    **dict.fromkeys(("no return", "open", "unheld", "no"), End.FREE),
}
EVENT_KINDS: Mapping[str, EventKind] = {
    **dict.fromkeys(("straps", "reinforced", "strap installation"), EventKind.REINFORCEMENT),
    **dict.fromkeys(("grinding", "paint", "painting", "parging"), EventKind.SURFACE_WORK),
    **dict.fromkeys(("dig", "excavation"), EventKind.DIGGING),
    **dict.fromkeys(("drain", "drains"), EventKind.DRAINAGE),
    **dict.fromkeys(("straightened", "dig and straighten"), EventKind.STRAIGHTENING),
    **dict.fromkeys(("mark lost", "lost marks"), EventKind.LOST_MARK),
    **dict.fromkeys(("covered wall", "finished"), EventKind.COVERED),
}
TOP_ANCHORS: Mapping[str, TopAnchor] = {
    **dict.fromkeys(("rim", "band joist", "rim board"), TopAnchor.RIM_JOIST),
    **dict.fromkeys(("sill", "mudsill"), TopAnchor.SILL_PLATE),
}
ROLES: Mapping[str, Role] = {"tech": Role.TECHNICIAN, "homeowner": Role.OWNER, "manager": Role.OFFICE}
