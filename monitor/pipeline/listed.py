"""A table of text, for a terminal or a script."""

from collections.abc import Callable, Iterator, Sequence
from operator import eq
from typing import Generic, TypeVar, overload

from monitor.records import dataclass

Of = TypeVar("Of")
To = TypeVar("To")


class Made(Sequence[To], Generic[Of, To]):
    """Each of a sequence made into something else as it is read, so that a long one is never all there."""

    def __init__(self, of: Sequence[Of], make: Callable[[Of], To]) -> None:
        self._of, self._make = of, make

    def __len__(self) -> int:
        """How many there are."""
        return len(self._of)

    def __iter__(self) -> Iterator[To]:
        """One after the other."""
        return map(self._make, self._of)

    @overload
    def __getitem__(self, at: int) -> To: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[To]: ...
    def __getitem__(self, at: int | slice) -> To | Sequence[To]:
        """One, or some."""
        return Made(self._of[at], self._make) if isinstance(at, slice) else self._make(self._of[at])

    def __eq__(self, other: object) -> bool:
        """Whether both are as long, and the same one after the other."""
        return isinstance(other, Made) and len(self) == len(other) and all(map(eq, self, other))

    __hash__ = None  # type: ignore[assignment]  # as of any sequence that is compared by what it holds


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
