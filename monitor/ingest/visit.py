"""Rows of one visit together, and the form of what a check finds."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from monitor.ingest.draft import Draft
from monitor.ingest.expectation import Expectations
from monitor.ingest.findings import Finding
from monitor.ingest.history import History
from monitor.records import dataclass, field

Verdicts = Iterator[tuple[Draft, Finding]]
"""Rows, and what is wrong with each."""


@dataclass(frozen=True)
class Visit:
    """Rows of one wall, day, part and method that have a deflection, in file order.

    methods: every method by which the file reads that wall that day; expected: what was expected of it; stored: used
    rows of the same set-ups that are in the store already: they help to judge, and are not judged again.
    """

    drafts: Sequence[Draft]
    history: History
    methods: frozenset[str]
    expected: Expectations = field(default_factory=Expectations)
    stored: Sequence[Draft] = ()

    @property
    def whole(self) -> list[Draft]:
        """The rows with those stored before."""
        return [*self.drafts, *self.stored]

    @property
    def whole_setups(self) -> list[list[Draft]]:
        """The rows of each set-up with those stored before, the file's own first."""
        return list(grouped(self.whole, "setup").values())

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
