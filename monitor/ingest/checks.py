"""The order in which rows are checked together: the whole file, then visit by visit, each against those before it."""

from collections.abc import Iterable, Sequence

from monitor.ingest.draft import Draft, Setting, StoredDraft
from monitor.ingest.file_checks import FILE_CHECKS
from monitor.ingest.findings import Finding
from monitor.ingest.history import when
from monitor.ingest.urgent import hurry
from monitor.ingest.visit import Visit, grouped
from monitor.ingest.visit_checks import VISIT_CHECKS
from monitor.ingest.visit_notes import VISIT_NOTES

_DAY = ("house", "wall", "visit_date")


def run(drafts: Sequence[Draft], setting: Setting) -> None:
    """Run all checks and write what they find into the drafts."""
    for file_check in FILE_CHECKS:
        _write(list(file_check(drafts, setting)))
    counting = [draft for draft in drafts if draft.counts and draft.values["visit_date"]]
    methods = {
        day: frozenset(draft.values["method"] for draft in same_day)
        for day, same_day in grouped(counting, *_DAY).items()
    }
    visits = grouped(counting, *_DAY, "part", "method").values()
    for rows in sorted(visits, key=lambda rows: when(rows[0].values)):
        day = tuple(rows[0].values[column] for column in _DAY)
        visit = Visit(rows, setting.history, methods[day], setting.expected, _stored(rows, setting))
        for visit_check in VISIT_CHECKS:
            _write(list(visit_check(visit)))
        hurry(visit, setting.rules)
        for note in VISIT_NOTES:
            note(visit)
        for draft in visit.drafts:
            setting.history.add(draft.stored())


def _stored(rows: Sequence[Draft], setting: Setting) -> list[Draft]:
    """Used rows of the same set-ups that came with another file."""
    return [
        StoredDraft.of(row, setting.known)
        for number in dict.fromkeys(draft.values["setup"] for draft in rows)
        for row in setting.history.of_setup(rows[0].values | {"setup": number})
    ]


def _write(verdicts: Iterable[tuple[Draft, Finding]]) -> None:
    for draft, finding in verdicts:
        if not isinstance(draft, StoredDraft):
            draft.findings.append(finding)
