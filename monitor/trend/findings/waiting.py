"""Findings that wait for somebody: a visit that is overdue, and readings that are held."""

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from monitor.config import Rules
from monitor.records import dataclass
from monitor.terms import LengthUnit, Outcome, Urgency, Verdict
from monitor.trend import reasons
from monitor.trend.columns import Rows
from monitor.trend.findings.found import VISIT, Found, found
from monitor.trend.sentences import Text, decided, iso, said, where
from monitor.trend.signs import Held


def overdue(walls: Rows, rules: Rules) -> list[Found]:
    """A visit past its due day and its grace."""
    grace = str(rules.grace_days)
    return decided(
        walls,
        (np.isnan(walls.day("due_on")), lambda rows: _due(rows, Outcome.UNDECIDED, Urgency.NONE, np.nan,
            "No visit is planned, for this wall has none to count from.", "Make the zero reading.")),
        (walls.count("overdue_days") == 0, lambda rows: _due(rows, Outcome.NO, Urgency.NONE, 0.0,
            said("The next visit is due on {day}, and {grace} days of grace follow.", day=iso(rows.day("due_on")),
                 grace=grace))),
        (True, lambda rows: _due(rows, Outcome.YES, Urgency.CONFIRM, rows.number("overdue_days"),
            said("The visit due on {day} is {late} past its grace of {grace} days{last}.",
                 day=iso(rows.day("due_on")), late=reasons.counted(rows.count("overdue_days"), "day"), grace=grace,
                 last=_nothing_since(rows)), VISIT)),
    )  # fmt: skip


def _due(walls: Rows, outcome: Outcome, urgency: Urgency, value: npt.ArrayLike, text: Text, step: str = "") -> Found:
    return found(walls, outcome, urgency, value, 0.0, "days", text, step)


def _nothing_since(walls: Rows) -> pa.Array:
    last = walls.day("last_visit")
    return where(~np.isnan(last), said(", and nothing is known of the time since {day}", day=iso(last)))


def held(walls: Rows, rules: Rules) -> list[Found]:
    """Held readings wait for a ruling; one that would lie far inward is confirmed soon, whatever it turns out to be."""
    nothing = "No reading of this wall is held."
    return decided(
        walls,
        (walls.count("held") == 0, lambda rows: found(
            rows, Outcome.NO, Urgency.NONE, 0.0, 0.0, "readings", nothing, "")),
        (True, lambda rows: _held(rows, rules)),
    )  # fmt: skip


def _held(walls: Rows, rules: Rules) -> Found:
    """The few walls that have any, one by one."""
    names = ("held", "not_compared", "inward_mm", "held_mark", "held_on")
    of_walls = zip(walls.tuples(names), reasons.inches(walls), walls.says("verdict", Verdict.LOOK_AGAIN), strict=True)
    told = [_held_told(Held(*row), rules, in_inches, again) for row, in_inches, again in of_walls]
    urgency, value, limit, unit, text, step = zip(*told, strict=True)
    return found(walls, Outcome.YES, pa.array(urgency), value, limit, pa.array(unit), pa.array(text), pa.array(step))


def _held_told(found: Held, rules: Rules, in_inches: bool, look_again: bool) -> tuple[str, float, float, str, str, str]:
    """Urgency, value, limit, unit, reason and next step."""
    text = f"{found.count} {'reading is' if found.count == 1 else 'readings are'} held and not used"
    if found.not_compared:
        text += f", {found.not_compared} of them with no value of the same mark to compare with"
    far = far_inward(found, rules, LengthUnit.INCH if in_inches else LengthUnit.MM)
    if far is not None and found.inward_mm is not None:
        return str(far.urgency), found.inward_mm, far.limit_mm, "mm", f"{text}; {far.what}.", far.next_step
    step = "Release, reject or correct what is held, after asking the technician or reading it again"
    step += ", and make the confirming visit with two set-ups." if look_again else "."
    return str(Urgency.DECISION), float(found.count), 0.0, "readings", f"{text}.", step


@dataclass(frozen=True)
class FarInward:
    """What a held reading that would lie far inward asks for; limit_mm: the limit it is over; what: no full stop."""

    urgency: Urgency
    limit_mm: float
    what: str
    next_step: str


def far_inward(found: Held, rules: Rules, unit: str) -> FarInward | None:
    """What the held reading furthest inward asks for, None where none lies as far as a jump."""
    inward = found.inward_mm
    if inward is None or inward < rules.jump_mm:
        return None
    day = f" of {found.read_on.isoformat()}" if found.read_on else ""
    what = f"mark {found.mark}{day}, if it is right, lies {reasons.both(inward, unit)} inward of its last value"
    if inward >= rules.keep_out_jump_mm:
        step = "Call the house today and have the mark read again."
        return FarInward(Urgency.SAME_DAY, rules.keep_out_jump_mm, what, step)
    return FarInward(Urgency.CONFIRM, rules.jump_mm, what, "Have the mark read again within 2 working days.")
