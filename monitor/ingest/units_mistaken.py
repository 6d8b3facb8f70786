"""Inches written for millimetres, or the reverse: by the last readings, or by what the stand-off allows."""

from statistics import median

from monitor.ingest.draft import Draft, span
from monitor.ingest.findings import Finding
from monitor.ingest.geometry import needs_standoff
from monitor.ingest.history import History
from monitor.ingest.visit import Verdicts, Visit
from monitor.terms import Kind, Method, State

_FACTOR = range(20, 33)
"""Ratios, rounded, that say inches for millimetres: 25.4 and what a wall can have moved meanwhile."""
_GAP_TO_STANDOFF = (0.06, 4.0)
"""Gap over stand-off, middle of a set-up: outside these no wall can be (76 mm blocks: 5 to 305 mm)."""


def unit_factor(visit: Visit) -> Verdicts:
    """A set-up that is 25.4 times off its marks' last readings, or off what its stand-off allows."""
    for setup in visit.whole_setups:
        drafts = [draft for draft in setup if draft.length and not draft.length.feet]
        unit = setup[0].values["unit"]
        ratios = [ratio for draft in drafts if (ratio := _ratio_to_last(draft, visit.history)) is not None]
        if ratios:
            too_large = all(round(ratio) in _FACTOR for ratio in ratios)
            too_small = all(ratio > 0 and round(1 / ratio) in _FACTOR for ratio in ratios)
        else:
            too_large, too_small = _against_standoff(drafts, unit)
        if too_large or too_small:
            wrong = f"{span(drafts)} {looks_like(unit, too_large, several=len(drafts) > 1)}."
            for draft in drafts:
                yield draft, Finding(State.HELD, "unit-factor", wrong, "Which unit was read?")


def _ratio_to_last(draft: Draft, history: History) -> float | None:
    last = history.last_of_mark(draft.values)
    if last is None or not draft.values["value_mm"] or abs(last["value_mm"]) < 2:
        return None
    return float(draft.values["value_mm"] / last["value_mm"])


def _against_standoff(drafts: list[Draft], unit: str) -> tuple[bool, bool]:
    """Whether inches can only be millimetres, or the reverse, by what the blocks leave for a gap."""
    gaps = [
        draft.values["value_mm"] / draft.values["standoff_mm"]
        for draft in drafts
        if _is_stood_off_gap(draft) and draft.values["value_mm"] > 0
    ]
    if not gaps:
        return False, False
    low, high = _GAP_TO_STANDOFF
    return unit == "in" and median(gaps) > high, unit == "mm" and median(gaps) < low


def looks_like(unit: str, too_large: bool, *, several: bool) -> str:
    """What a set-up 25.4 times off looks like, said of one cell or of several."""
    size = f"25.4 x too {'large' if too_large else 'small'}"
    if (unit == "in") != too_large:
        return f"{'are' if several else 'is'} {size} for {unit}, as if converted twice"
    other, column = ("millimetres", "an inch") if unit == "in" else ("inches", "a mm")
    return f"{'look' if several else 'looks'} like {other} in {column} column ({'all ' if several else ''}{size})"


def _is_stood_off_gap(draft: Draft) -> bool:
    method, kind = Method(draft.values["method"]), Kind(draft.values["kind"])
    return needs_standoff(method, kind) and (draft.values["standoff_mm"] or 0) > 0
