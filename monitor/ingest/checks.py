"""Checks of one visit's rows together, and of a whole file: each is a function that yields rows and what is wrong.

A new check is one more function in VISIT_CHECKS or FILE_CHECKS. A visit here is one day (and part) at one wall by one
method. Only rows that are not rejected and have a deflection are looked at.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from monitor.ingest.chance import copy_chance
from monitor.ingest.draft import Draft, Setting, span
from monitor.ingest.findings import Finding
from monitor.ingest.geometry import deflection_mm, needs_standoff
from monitor.ingest.history import History
from monitor.terms import Kind, Method, State
from monitor.units import MM_PER_INCH, length_text

UPLOAD_DAY_HOUSES = 5
"""So many houses dated the day of upload are asked about (common practice, no source)."""
COPIED_CHANCE = 1e-3
_FACTOR = range(20, 33)
"""Ratios, rounded, that say inches for millimetres: 25.4 and what a wall can have moved meanwhile."""
_GAP_TO_STANDOFF = (0.06, 4.0)
"""Gap over stand-off, middle of a set-up: outside these no wall can be (76 mm blocks: 5 to 305 mm)."""
_CLOSE_MM = MM_PER_INCH / 4
_SAME_MM = 1e-9

Verdicts = Iterator[tuple[Draft, Finding]]


@dataclass(frozen=True)
class Visit:
    """Rows of one wall, day, part and method, in file order."""

    drafts: Sequence[Draft]
    history: History

    @property
    def setups(self) -> list[list[Draft]]:
        """The rows of each set-up."""
        return list(_grouped(self.drafts, lambda draft: draft.values["setup"]).values())


def same_place(drafts: Sequence[Draft], setting: Setting) -> Verdicts:
    """A row that is in already adds nothing; another number for the same place is a question."""
    for rows in _grouped([d for d in drafts if _placed(d)], _place).values():
        for draft in rows:
            others = [(row, "the store") for row in setting.history.same_place(draft.values)]
            others += [(other.values, f"row {other.row.number}") for other in rows if other is not draft]
            copies = [place for row, place in others if _same(row, draft.values)]
            is_first = draft is rows[0] and "the store" not in copies
            if copies and not is_first:
                yield draft, _already_in(draft, copies[0])
            elif differing := [(row, place) for row, place in others if _differs(row, draft.values)]:
                yield draft, _same_visit_differs(draft, *differing[0])


def _placed(draft: Draft) -> bool:
    read = draft.values["not_read"] or draft.values["value_mm"] is not None
    return draft.state is not State.REJECTED and draft.values["visit_date"] is not None and bool(read)


def _place(draft: Draft) -> tuple[Any, ...]:
    names = ("house", "wall", "visit_date", "part", "method", "setup", "mark")
    return tuple(draft.values[name] for name in names)


def _same(row: Any, other: Any) -> bool:
    if row["not_read"] or other["not_read"]:
        return bool(row["not_read"]) and bool(other["not_read"])
    return bool(row["kind"] == other["kind"] and abs(row["value_mm"] - other["value_mm"]) <= _SAME_MM)


def _differs(row: Any, other: Any) -> bool:
    return not row["not_read"] and not other["not_read"] and not _same(row, other)


def _already_in(draft: Draft, place: str) -> Finding:
    if place == "the store":
        return Finding(State.REJECTED, "already-in", f"{draft.at}: this reading is in already.", "Nothing to do.")
    return Finding(State.REJECTED, "twice-in-file", f"{draft.at}: {place} says the same.", "Nothing to do.")


def _same_visit_differs(draft: Draft, other: Any, place: str) -> Finding:
    source = f"in {other['source_name']}" if place == "the store" else f"in {place}"
    return Finding(
        State.HELD,
        "same-visit-differs",
        f"{draft.at} '{draft.values['value_raw']}' for {draft.values['mark']}, but '{other['value_raw']}' is given"
        f" {source} for the same visit and set-up.",
        "A second set-up? Give it its own number. A correction? Correct the earlier reading with who and why.",
    )


def upload_day(drafts: Sequence[Draft], setting: Setting) -> Verdicts:
    """Many houses, all rows dated the day of upload: was that the day of the visits?"""
    dated = [draft for draft in drafts if draft.values["visit_date"] and draft.wall]
    houses = {draft.values["house"] for draft in dated}
    if len(houses) < UPLOAD_DAY_HOUSES or {d.values["visit_date"] for d in dated} - setting.upload_days:
        return
    for draft in dated:
        if draft.state is not State.REJECTED:
            yield (
                draft,
                Finding(
                    State.HELD,
                    "upload-day",
                    f"{draft.row.at('visit_date')}: all {len(houses)} houses of the file are dated"
                    f" {draft.values['visit_date']}, the day it was sent.",
                    "Were they all visited that day?",
                ),
            )


def unit_factor(visit: Visit) -> Verdicts:
    """A set-up that is 25.4 times off its marks' last readings, or off what its stand-off allows."""
    for setup in visit.setups:
        drafts = [draft for draft in setup if draft.length and not draft.length.feet]
        ratios = [ratio for draft in drafts if (ratio := _ratio_to_last(draft, visit.history)) is not None]
        too_large = bool(ratios) and all(round(ratio) in _FACTOR for ratio in ratios)
        too_small = bool(ratios) and all(ratio > 0 and round(1 / ratio) in _FACTOR for ratio in ratios)
        if not ratios:
            gaps = [abs(d.values["value_mm"]) / d.values["standoff_mm"] for d in drafts if _is_stood_off_gap(d)]
            low, high = _GAP_TO_STANDOFF
            too_small, too_large = bool(gaps) and median(gaps) < low, bool(gaps) and median(gaps) > high
        unit = setup[0].values["unit"]
        if (too_large and unit == "in") or (too_small and unit == "mm"):
            other, column = ("millimetres", "an inch") if unit == "in" else ("inches", "a mm")
            size = "large" if too_large else "small"
            looks = "looks" if len(drafts) == 1 else "look"
            wrong = f"{span(drafts)} {looks} like {other} in {column} column (all 25.4 x too {size})."
            for draft in drafts:
                yield draft, Finding(State.HELD, "unit-factor", wrong, "Which unit was read?")


def _ratio_to_last(draft: Draft, history: History) -> float | None:
    last = history.last_of_mark(draft.values)
    if last is None or not draft.values["value_mm"] or abs(last["value_mm"]) < 2:
        return None
    return float(draft.values["value_mm"] / last["value_mm"])


def _is_stood_off_gap(draft: Draft) -> bool:
    method, kind = Method(draft.values["method"]), Kind(draft.values["kind"])
    return needs_standoff(method, kind) and (draft.values["standoff_mm"] or 0) > 0


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
                yield draft, _kind_question(draft, str(usual), visit.history)


def _kind_question(draft: Draft, usual: str, history: History) -> Finding:
    value, standoff, unit = draft.values["value_mm"], draft.values["standoff_mm"], draft.values["unit"]
    given = draft.values["kind"]
    readings = [
        f"{length_text(deflection_mm(value, kind, standoff), unit)} as {kind}" for kind in (Kind.GAP, Kind.DEFLECTION)
    ]
    last = history.last_of_mark(draft.values | {"kind": usual})
    before = f"; the last visit had {length_text(last['deflection_mm'], unit)}" if last else ""
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
    drafts = [draft for draft in visit.drafts if draft.state is State.USED]
    if not drafts or len(drafts) < len(visit.drafts):
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


FILE_CHECKS: tuple[Callable[[Sequence[Draft], Setting], Verdicts], ...] = (same_place, upload_day)
VISIT_CHECKS: tuple[Callable[[Visit], Verdicts], ...] = (unit_factor, kind_differs, sign_and_zero, copied)


def run(drafts: Sequence[Draft], setting: Setting) -> None:
    """Run all checks and write what they find into the drafts; visits in order of date, each against those before."""
    for file_check in FILE_CHECKS:
        _note(list(file_check(drafts, setting)))
    visits = _grouped([draft for draft in drafts if draft.counts and draft.values["visit_date"]], _visit_key)
    for key in sorted(visits, key=lambda key: (key[2], key[:2], _PART_ORDER[key[3]], key[4])):
        visit = Visit(visits[key], setting.history)
        for visit_check in VISIT_CHECKS:
            _note(list(visit_check(visit)))
        for draft in visit.drafts:
            setting.history.add(draft.stored())


_PART_ORDER = {"before": 0, "": 1, "after": 2}


def _visit_key(draft: Draft) -> tuple[Any, ...]:
    return tuple(draft.values[name] for name in ("house", "wall", "visit_date", "part", "method"))


def _note(verdicts: Iterable[tuple[Draft, Finding]]) -> None:
    for draft, finding in verdicts:
        draft.findings.append(finding)


def _grouped(drafts: Iterable[Draft], key: Callable[[Draft], Any]) -> dict[Any, list[Draft]]:
    groups: dict[Any, list[Draft]] = defaultdict(list)
    for draft in drafts:
        groups[key(draft)].append(draft)
    return groups
