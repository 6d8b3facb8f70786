"""What is accepted at a visit but worth a word: a method new to the wall, a crack that does not fit the bow."""

from collections.abc import Callable

from monitor.ingest.geometry import hinge_opening_mm
from monitor.ingest.visit import Visit
from monitor.terms import Method
from monitor.units import MM_PER_INCH, length_text

_CRACK_SLACK_MM = MM_PER_INCH / 4
"""How much wider than the hinge opens it a crack may be read without a word (common practice, no source)."""


def method_is_new(visit: Visit) -> None:
    """A method that the wall was never read by starts a new stretch, unless both were read that day."""
    first = visit.drafts[0]
    before = {row["method"] for row in visit.history.last_visit(first.values)}
    if not before or visit.methods & before:
        return
    if not visit.history.last_visit(first.values, method=first.values["method"]):
        first.notes.append(
            f"{first.wall_id} is read by {first.values['method']} for the first time"
            f" ({' and '.join(sorted(before))} before): a new stretch starts."
            " Give a same-day reading by both methods to join them."
        )


def crack_fits_bow(visit: Visit) -> None:
    """A crack wider than the bow to a string can open: a free cross-check of both."""
    for draft in visit.drafts:
        wall, crack_mm = draft.wall or {}, draft.values["crack_width_mm"]
        height, thickness = wall.get("clear_height_mm"), wall.get("thickness_mm")
        if not (crack_mm and height and thickness and draft.values["method"] == Method.STRING):
            continue
        opening = hinge_opening_mm(draft.values["deflection_mm"], height, thickness)
        if crack_mm > opening + _CRACK_SLACK_MM:
            unit = draft.values["unit"]
            draft.notes.append(
                f"{draft.row.at('crack_width')}: a crack {length_text(crack_mm, unit)} wide, but a wall that has bowed"
                f" {length_text(draft.values['deflection_mm'], unit)} opens it {length_text(opening, unit)} at most."
                " Look at both again."
            )


VISIT_NOTES: tuple[Callable[[Visit], None], ...] = (method_is_new, crack_fits_bow)
