"""Rows of one visit together, and the form of what a check finds."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from monitor.ingest.draft import Draft
from monitor.ingest.expectation import Expectations
from monitor.ingest.findings import Finding
from monitor.ingest.history import History

Verdicts = Iterator[tuple[Draft, Finding]]
"""Rows, and what is wrong with each."""


@dataclass(frozen=True)
class Visit:
    """Rows of one wall, day, part and method that have a deflection, in file order.

    methods: every method by which the file reads that wall that day; expected: what was expected of it.
    """

    drafts: Sequence[Draft]
    history: History
    methods: frozenset[str]
    expected: Expectations = field(default_factory=Expectations)

    @property
    def setups(self) -> list[list[Draft]]:
        """The rows of each set-up."""
        return list(grouped(self.drafts, "setup").values())


def grouped(drafts: Iterable[Draft], *columns: str) -> dict[tuple[Any, ...], list[Draft]]:
    """Drafts by their values of some columns, in file order."""
    groups: dict[tuple[Any, ...], list[Draft]] = defaultdict(list)
    for draft in drafts:
        groups[tuple(draft.values[column] for column in columns)].append(draft)
    return groups
