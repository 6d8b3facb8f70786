"""Checks of one visit's rows against the visits before and against what a wall can do.

A new check is one more function in VISIT_CHECKS: it is given a Visit and yields rows, each with what is wrong.
"""

from collections.abc import Callable

from monitor.ingest.chance import copy_chance
from monitor.ingest.draft import Draft
from monitor.ingest.findings import Finding
from monitor.ingest.geometry import deflection_mm
from monitor.ingest.misfits import misread, shifted
from monitor.ingest.mistaken import mistaken
from monitor.ingest.units_mistaken import unit_factor
from monitor.ingest.visit import Verdicts, Visit
from monitor.terms import Kind, Method, State
from monitor.units import MM_PER_INCH, length_text

COPIED_CHANCE = 1e-3
_LONGEST_MM = {Kind.GAP: 1_500.0, Kind.DEFLECTION: 500.0, Kind.DISTANCE: 60_000.0}
"""Longest value of each kind (common practice, no source)."""
_CLOSE_MM = MM_PER_INCH / 4
_SAME_MM = 1e-9


def too_far(visit: Visit) -> Verdicts:
    """A length that no rule on a wall, or meter in a house, reads."""
    for draft in visit.drafts:
        longest_mm = _LONGEST_MM[Kind(draft.values["kind"])]
        if abs(draft.values["value_mm"]) > longest_mm:
            most = length_text(longest_mm, draft.values["unit"])
            wrong = f"{draft.at} '{draft.row.shown('value')}': at most {most} expected of a {draft.values['kind']}."
            yield draft, Finding(State.HELD, "too-far", wrong, "Was it read so?")


def kind_differs(visit: Visit) -> Verdicts:
    """Gap given where the wall is registered for deflection, or the reverse: the whole set-up is asked about."""
    mixed = {Kind.GAP.value, Kind.DEFLECTION.value}
    for drafts in visit.setups:
        wall = drafts[0].wall or {}
        usual = wall.get("kind")
        if wall.get("method") not in ("", drafts[0].values["method"]) or usual not in mixed:
            continue
        if any(draft.values["kind"] in mixed - {usual} for draft in drafts):
            for draft in drafts:
                yield draft, _kind_question(draft, str(usual), visit)


def _kind_question(draft: Draft, usual: str, visit: Visit) -> Finding:
    value, standoff, unit = draft.values["value_mm"], draft.values["standoff_mm"], draft.values["unit"]
    given = draft.values["kind"]
    readings = [
        f"{length_text(deflection_mm(value, kind, standoff), unit)} as {kind}" for kind in (Kind.GAP, Kind.DEFLECTION)
    ]
    last = visit.history.last_of_mark(draft.values | {"kind": usual})
    before = f"; the last visit had {length_text(last['deflection_mm'], unit)}" if last else ""
    foretold = visit.expected.of(draft.values).get(draft.values["mark"])
    if foretold and not foretold.is_free:
        before += f"; {length_text(foretold.mean_mm, unit)} is expected now"
    return Finding(
        State.HELD,
        "kind-differs",
        f"{draft.at} '{draft.values['value_raw']}' is given as {given} in a set-up of {draft.wall_id}, which is"
        f" registered for {usual}: inward {' and '.join(readings)}{before}.",
        "Gap or deflection?",
    )


def sign_and_zero(visit: Visit) -> Verdicts:
    """A minus, or a 0 that may have meant blank; a deflection near the last one is let pass."""
    for draft in visit.drafts:
        value, unit = draft.values["value_mm"], draft.values["unit"]
        if value > 0:
            continue
        last = visit.history.last_of_mark(draft.values)
        change_mm = None if last is None else draft.values["deflection_mm"] - last["deflection_mm"]
        is_deflection = draft.values["kind"] == Kind.DEFLECTION
        if is_deflection and (abs(value) if change_mm is None else abs(change_mm)) < _CLOSE_MM:
            continue
        text = f"{draft.at} '{draft.values['value_raw']}'"
        if value < 0:
            question = "Negative = outward. Is the wall behind the line, or was a minus slipped in?"
            yield draft, Finding(State.HELD, "negative", f"{text} is negative.", question)
        else:
            jump = f"0 would be a {length_text(abs(change_mm), unit)} jump." if change_mm else "0 is hardly a reading."
            yield draft, Finding(State.HELD, "zero", f"{text}: {jump}", "Leave the cell blank if it was not read.")


def copied(visit: Visit) -> Verdicts:
    """Every number of the visit equals the last visit's, and chance does not make that likely."""
    drafts = [draft for draft in visit.whole if draft.state is State.USED]
    if len(drafts) < len(visit.whole):
        return
    method = drafts[0].values["method"]
    last = {
        (row["setup"], row["mark"], row["kind"]): row
        for row in visit.history.last_visit(drafts[0].values, method=method)
    }
    for draft in drafts:
        row = last.get((draft.values["setup"], draft.values["mark"], draft.values["kind"]))
        if row is None or abs(row["value_mm"] - draft.values["value_mm"]) > _SAME_MM:
            return
    chance = copy_chance(len(drafts), drafts[0].values["step_mm"], Method(method))
    if chance < COPIED_CHANCE:
        before = next(iter(last.values()))["visit_date"]
        wrong = f"All {len(drafts)} readings from {drafts[0].at} on equal those of {before}: chance under 1 in 1,000."
        for draft in drafts:
            yield draft, Finding(State.HELD, "copied", wrong, "Were these read?")


VISIT_CHECKS: tuple[Callable[[Visit], Verdicts], ...] = (
    unit_factor, too_far, kind_differs, mistaken, sign_and_zero, copied, misread, shifted,
)  # fmt: skip
"""Whole set-ups before single rows: what explains all of a set-up is said of all of it."""
