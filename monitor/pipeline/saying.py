"""Results as plain sentences for a terminal or an upload's reply; no number is made here."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import groupby

from monitor.pipeline.intake import Taken
from monitor.results import Assessment, Overruled
from monitor.terms import State, Verdict


def of_intake(taken: Taken, *, preview: bool = False) -> tuple[str, Sequence[str]]:
    """One summary line and the messages of one received table."""
    intake = taken.intake
    if taken.first_received is not None and taken.added == 0:
        when = taken.first_received.strftime("%Y-%m-%d %H:%M UTC")
        return f"{intake.source_name}: already in, received on {when}; nothing added.", ()
    parts = [f"{intake.used} used"]
    parts += [f"{count} {word}" for count, word in _not_used(taken) if count]
    noun = "readings" if intake.holds == "readings" else f"rows of {intake.holds}"
    would = "would be received" if preview else "received"
    summary = f"{intake.source_name}: {intake.received} {noun} {would}: {', '.join(parts)}."
    if taken.added != intake.received and intake.holds == "readings":
        summary += f" {taken.added} of them new to the store."
    return summary, (*_alike_once(_messages(taken)), *intake.notes)


def _alike_once(messages: Sequence[str]) -> Iterator[str]:
    """The messages, one that stands several times in a row said once."""
    for message, alike in groupby(messages):
        count = sum(1 for _ in alike)
        yield message if count == 1 else f"{message} ({count} rows)"


def _messages(taken: Taken) -> Sequence[str]:
    """What is said of rows not used, less the rows that are in already: the summary counts those."""
    intake = taken.intake
    if not intake.already_in:
        return intake.messages
    codes = [row["reason_code"] for row in intake.table.to_pylist() if row["state"] != State.USED]
    return [text for code, text in zip(codes, intake.messages, strict=True) if code != "already-in"]


def _not_used(taken: Taken) -> list[tuple[int, str]]:
    intake = taken.intake
    return [
        (intake.held, "held (kept, not used until somebody decides)"),
        (intake.rejected - intake.already_in, "rejected"),
        (intake.already_in, "already in"),
        (intake.could_not_read, "could not be read"),
    ]


def of_intakes(taken: Sequence[Taken]) -> str:
    """Many received tables in one line: how many files, and what became of the rows of readings, each file once."""
    files = len({each.intake.file_sha256 for each in taken})
    again = [each.intake for each in taken if each.first_received is not None and each.added == 0]
    found = [each.intake for each in taken if each.intake.holds == "readings" and each.intake not in again]
    already = sum(intake.already_in for intake in found)
    counts = {
        "used": sum(intake.used for intake in found),
        "held": sum(intake.held for intake in found),
        "rejected": sum(intake.rejected for intake in found) - already,
        "could not be read": sum(intake.could_not_read for intake in found),
        "already in": already,
    }
    said = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
    twice = f", {len(again)} of them sent a second time" if again else ""
    received = sum(intake.received for intake in found)
    return f"{files} files taken in{twice}. {received} rows of readings received: {said}."


ASKS_FOR = ("is_current", "verdict")
"""Columns of the wall results that `of_assessment` looks at."""


def of_assessment(assessment: Assessment) -> str:
    """One line: how many walls, and how many of each verdict."""
    rows = assessment.wall_results
    current = Counter(rows.filter(rows["is_current"])["verdict"].to_pylist())
    said = ", ".join(f"{current[verdict]} {verdict.value}" for verdict in Verdict)
    return f"{current.total()} walls judged for {assessment.judged_on}: {said}."


def of_overruled(overruled: Overruled) -> str:
    """One line: which of the company's settings do not count, and which signed row stands in their place."""
    values = ", ".join(f"{name} {ours:g} (signed: {signed:g})" for name, (ours, signed) in overruled.values.items())
    row = f"thresholds signed from {overruled.valid_from} on ({overruled.source_name}, row {overruled.source_row})"
    return f"Set in the store's settings, but not counted: {values}. The {row} stand before them."
