"""A table of text, for a terminal or a script."""

from collections.abc import Sequence

from monitor.records import dataclass


@dataclass(frozen=True)
class Listing:
    """A table of text: title, headers, rows; `closing` is what stands below it.

    blocks: the same row by row as lines, for terminals too narrow for the table; wide: headers and rows to show there
    where the table has more columns for scripts than anybody reads.
    """

    title: str
    headers: Sequence[str]
    rows: Sequence[Sequence[str]]
    closing: str = ""
    blocks: Sequence[Sequence[str]] = ()
    wide: tuple[Sequence[str], Sequence[Sequence[str]]] | None = None
