"""One received row on its way to a judged reading: what it says so far, and what is wrong with it."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import date
from typing import Any

from monitor import schema
from monitor.config import Rules
from monitor.errors import LengthError
from monitor.ingest.cells import Cell, Line
from monitor.ingest.expectation import Expectations
from monitor.ingest.findings import Finding
from monitor.ingest.headers import Header, Row
from monitor.ingest.history import History
from monitor.ingest.known import Fact, Known
from monitor.lengths import Length, parse
from monitor.records import dataclass, field
from monitor.terms import State

_NAMED = 12
"""Cells that are named one by one in a sentence."""
_TEXTS = frozenset(f.name for f in schema.READINGS if f.type == "string")


@dataclass(frozen=True)
class Setting:
    """What rows are judged against."""

    known: Known
    history: History
    day_first: bool | None
    today: date
    upload_days: frozenset[date]
    expected: Expectations
    rules: Rules


@dataclass
class Draft:
    """A row being judged. values: columns of schema.READINGS; wall, mark: its register rows once they are found."""

    row: Row
    sheet: str
    values: dict[str, Any]
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    wall: Fact | None = None
    mark: Fact | None = None
    length: Length | None = None

    @property
    def state(self) -> State:
        """Rejected by any finding that rejects, else held by any, else could-not-read, else used."""
        states = {finding.state for finding in self.findings}
        if State.REJECTED in states:
            return State.REJECTED
        if State.HELD in states:
            return State.HELD
        return State.COULD_NOT_READ if self.values["not_read"] else State.USED

    @property
    def at(self) -> str:
        """The cell of the value."""
        return self.row.at("value")

    @property
    def wall_id(self) -> str:
        """The wall as people write it."""
        return f"{self.values['house']}-{self.values['wall']}"

    @property
    def counts(self) -> bool:
        """Whether it is a value that checks of numbers can look at."""
        return self.state is not State.REJECTED and self.values["deflection_mm"] is not None

    def stored(self) -> dict[str, Any]:
        """The row of the readings table."""
        state = self.state
        leading = [finding for finding in self.findings if finding.state is state]
        row = {name: "" if name in _TEXTS else None for name in schema.READINGS.names} | self.values
        row["state"] = state.value
        if state is State.COULD_NOT_READ:
            row["reason_code"] = f"not-read-{self.values['not_read'].replace(' ', '-')}"
            written = self.row.shown("value")
            said = f"{self.at} '{written}'" if written else f"{self.at} is blank"
            row["reason"] = f"{said}: could not be read ({self.not_read_text})."
        else:
            row["reason_code"] = leading[0].code if leading else ""
            row["reason"] = " ".join(finding.reason for finding in self.findings)
        return row

    @property
    def not_read_text(self) -> str:
        """The reason as written, with its word where that differs."""
        word, written = self.values["not_read"], self.row.shown("not_read")
        return word if written.lower() in ("", word) else f"{word}: {written}"


class StoredDraft(Draft):
    """A used reading of the store beside the rows of a file: it is looked at and never judged again."""

    @classmethod
    def of(cls, reading: Mapping[str, Any], known: Known) -> "StoredDraft":
        """The draft of a row of the readings table with a deflection."""
        cells = (Cell(reading["value_raw"]),)
        header = Header(row=0, titles=("value",), columns={"value": 0}, units={}, doubled={})
        draft = cls(Row(header, Line(reading["source_row"], cells)), reading["source_sheet"], dict(reading))
        draft.wall = known.find("walls", reading["house"], reading["wall"])
        with suppress(LengthError):
            draft.length = parse(reading["value_raw"], reading["unit"] or None)
        return draft


def span(drafts: Sequence[Draft]) -> str:
    """Cells of several values: 'E4:E9' where they follow one another, else 'E4, E7 and E9'; none of stored ones.

    Of more than a dozen the first three are named.
    """
    drafts = [draft for draft in drafts if not isinstance(draft, StoredDraft)]
    numbers = [draft.row.number for draft in drafts]
    places = [draft.at for draft in drafts]
    if len(places) > 2 and numbers == list(range(numbers[0], numbers[0] + len(numbers))):
        return f"{places[0]}:{places[-1]}"
    if len(places) > _NAMED:
        places[3:] = [f"{len(places) - 3} more"]
    return " and ".join(filter(None, [", ".join(places[:-1]), places[-1]]))
