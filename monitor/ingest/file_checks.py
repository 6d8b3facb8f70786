"""Checks of all rows of a file together: what is in already, and days that cannot all be."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from monitor.ingest.draft import Draft, Setting
from monitor.ingest.findings import Finding
from monitor.ingest.fits import value_text
from monitor.ingest.history import PLACE
from monitor.ingest.mistaken import swapped
from monitor.ingest.visit import Verdicts, grouped
from monitor.terms import State

UPLOAD_DAY_HOUSES = 9
"""So many houses dated the day of upload are asked about: one more than a technician visits on a full day, 5 to 8, and
sends the same evening (common practice, no source)."""
_SAME_DIGITS = 6
"""Decimals of a millimetre by which two numbers are one."""


def same_place(drafts: Sequence[Draft], setting: Setting) -> Verdicts:
    """A row that is in already adds nothing; another number for the same place is a question."""
    for rows in grouped([draft for draft in drafts if _placed(draft)], *PLACE).values():
        alike: dict[Any, list[Draft]] = defaultdict(list)
        for draft in rows:
            alike[_said(draft.values)].append(draft)
        stored = setting.history.same_place(rows[0].values)
        for draft in rows:
            others = [row for row in stored if row["reading_id"] != draft.values["mends"]]
            in_store = next((row for row in others if _same(row, draft.values)), None)
            first = alike[_said(draft.values)][0]
            if in_store:
                yield draft, _already_in_store(draft, in_store)
            elif first is not draft:
                wrong = f"{draft.at}: row {first.row.number} says the same."
                yield draft, Finding(State.REJECTED, "twice-in-file", wrong, "Nothing to do.")
            elif other := _other_number(draft, others, alike):
                yield draft, _same_visit_differs(draft, *other, setting)


def _placed(draft: Draft) -> bool:
    read = draft.values["not_read"] or draft.values["value_mm"] is not None
    return draft.state is not State.REJECTED and draft.values["visit_date"] is not None and bool(read)


def _said(row: Any) -> Any:
    """What a row says of its place: equal in rows that say the same."""
    return "" if row["not_read"] else (row["kind"], round(row["value_mm"], _SAME_DIGITS))


def _same(row: Any, other: Any) -> bool:
    return bool(_said(row) == _said(other))


def _other_number(draft: Draft, stored: Sequence[Any], alike: Mapping[Any, list[Draft]]) -> tuple[Any, str] | None:
    """A used reading of the store, or a row of the file, that gives another number for the place, and where it is."""
    if draft.values["not_read"]:
        return None
    for row in stored:
        if row.get("state") in ("", State.USED) and not row["not_read"] and not _same(row, draft.values):
            return row, "the store"
    own = _said(draft.values)
    return next(
        ((rows[0].values, f"row {rows[0].row.number}") for said, rows in alike.items() if said not in ("", own)), None
    )


def _already_in_store(draft: Draft, other: Any) -> Finding:
    fate = {State.HELD.value: ", and held", State.REJECTED.value: ", and was rejected by a person"}
    wrong = f"{draft.at}: this reading is in already{fate.get(other['state'], '')}."
    return Finding(State.REJECTED, "already-in", wrong, "Nothing to do.")


def _same_visit_differs(draft: Draft, other: Any, place: str, setting: Setting) -> Finding:
    source = f"in {other['source_name']}" if place == "the store" else f"in {place}"
    return Finding(
        State.HELD,
        "same-visit-differs",
        f"{draft.at} '{draft.values['value_raw']}' for {draft.values['mark']}, but '{other['value_raw']}' is given"
        f" {source} for the same visit and set-up{_expected_there(draft, setting)}.",
        "A second set-up? Give it its own number. A correction? Correct the earlier reading with who and why.",
    )


def _expected_there(draft: Draft, setting: Setting) -> str:
    """What was expected instead of both, where a single reading of the method can be foretold."""
    foretold = setting.expected.of(draft.values).get(draft.values["mark"])
    if foretold is None or foretold.is_free or draft.values["deflection_mm"] is None:
        return ""
    return f"; {value_text(draft, foretold.mean_mm)} was expected"


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


FILE_CHECKS: tuple[Callable[[Sequence[Draft], Setting], Verdicts], ...] = (same_place, upload_day, swapped)
