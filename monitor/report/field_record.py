"""What a field sheet is made of: walls, the lines they are read along, and what each mark is expected to read."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from monitor.records import dataclass
from monitor.terms import EventKind, Kind

Row = Mapping[str, Any]


@dataclass(frozen=True)
class SheetMark:
    """A mark to be read. last: its latest used reading by that method (value_raw, unit, visit_date), None where none.

    expected_mm: the deflection it should read, inward positive; fine_mm: how far off that it may be before intake
    doubts it; None where nothing is foretold. note: what to know before looking for it.
    """

    mark: str
    x_mm: float | None
    z_mm: float | None
    last: Row | None = None
    expected_mm: float | None = None
    fine_mm: float | None = None
    note: str = ""


@dataclass(frozen=True)
class SheetLine:
    """One placing of string, plumb line, laser or base plate, with its marks in the order in which they are read.

    number: its set-up number; the second placing has `second`. refs: where a placing stands anywhere, the marks that
    tell where, with their weights at each mark: the mark's expected reading moves with theirs; else empty.
    """

    number: int
    second: int
    method: str
    kind: str
    unit: str
    instrument: str
    standoff_mm: float | None
    marks: Sequence[SheetMark]
    refs: Mapping[str, Mapping[str, float]]

    def value_mm(self, deflection_mm: float) -> float:
        """The number that is read at a deflection."""
        if self.kind == Kind.DEFLECTION:
            return deflection_mm
        return (0.0 if self.kind == Kind.DISTANCE else self.standoff_mm or 0.0) - deflection_mm


@dataclass(frozen=True)
class SheetWall:
    """One wall of a sheet. second_why: why all of it is read a second time, '' where it is not; part: terms.Part."""

    house: str
    wall: str
    place: Row
    marks: Sequence[Row]
    events: Sequence[Row]
    lines: Sequence[SheetLine]
    second_why: str
    part: str = ""

    @property
    def key(self) -> str:
        """House and wall as people write them: DH-01-N."""
        return f"{self.house}-{self.wall}"

    @property
    def unit(self) -> str:
        """Unit of the wall's lengths."""
        return self.place["unit"] or "in"

    @property
    def reinforcements(self) -> list[Row]:
        """Events that bonded straps to it."""
        return [row for row in self.events if row["kind"] == EventKind.REINFORCEMENT]


@dataclass(frozen=True)
class FieldSheet:
    """A sheet for one visit or a day's route.

    day: the day it is made for. judged_on: the day of the assessment that flags rest on, None where there is none.
    instruments: rows of the register. people: ids of the technicians. confirms: a second placing agrees where a reading
    of it is off by more than that share of what the first is. upload_to: address of the service that takes the file,
    '' where there is none. blind: ranges are hidden until a value is typed. work: it is for the day of a reinforcement,
    and its walls are one wall before and after.
    """

    day: date
    judged_on: date | None
    known_until: datetime
    newest_reading: date | None
    walls: Sequence[SheetWall]
    instruments: Sequence[Row]
    people: Sequence[str]
    company: Mapping[str, str]
    code_version: str
    confirms: float
    upload_to: str = ""
    blind: bool = False
    work: bool = False
