"""Frozen records that the stages hand on; only the doors to people render them."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime

import pyarrow as pa

from monitor import schema
from monitor.records import dataclass, field

QUIET = ("house", "wall", "verdict")
"""What is kept of a wall that asks for nobody, where only those that ask are read."""


@dataclass(frozen=True)
class Intake:
    """What one file of readings, or of one register table, became.

    table: rows with the schema `holds`; for readings every received row is there with its state.
    already_in: how many of the rejected rows only say again what is in the store.
    messages: one per row not used, in file order.
    mend_sheet: CSV bytes with only the failing rows, None where none failed.
    """

    source_name: str
    source_sha256: str
    file_sha256: str
    holds: str
    table: pa.Table
    received: int
    used: int
    held: int
    rejected: int
    could_not_read: int
    messages: Sequence[str] = ()
    mend_sheet: bytes | None = None
    notes: Sequence[str] = ()
    already_in: int = 0

    def __post_init__(self) -> None:
        """The invariant of every intake: nothing is lost."""
        if self.received != self.used + self.held + self.rejected + self.could_not_read:
            raise AssertionError(f"{self.source_name}: received {self.received} rows, but their states do not add up")


@dataclass(frozen=True)
class Assessment:
    """All results of one run: tables of schema.RESULTS, the day they were judged for, and what was known."""

    judged_on: date
    known_until: datetime
    settings_sha256: str
    facts_sha256: str
    wall_results: pa.Table = field(default_factory=lambda: schema.empty("wall_results"))
    mark_results: pa.Table = field(default_factory=lambda: schema.empty("mark_results"))
    movement: pa.Table = field(default_factory=lambda: schema.empty("movement"))
    findings: pa.Table = field(default_factory=lambda: schema.empty("findings"))
    suspects: pa.Table = field(default_factory=lambda: schema.empty("suspects"))
    repairs: pa.Table = field(default_factory=lambda: schema.empty("repairs"))
    plan: pa.Table = field(default_factory=lambda: schema.empty("plan"))
    quiet: pa.Table = field(default_factory=lambda: schema.empty("wall_results").select(QUIET), compare=False)
    """The columns QUIET of walls that were judged and whose rows were left out, as a list says how many they are."""
    results_sha256: str = field(default="", compare=False)
    """Of all its results, whichever of its tables were read (schema.RUNS); '' where nobody told it."""


@dataclass(frozen=True)
class Overruled:
    """Rules that a company set and that do not count, by name as set and as signed, and the signed row that counts."""

    valid_from: date
    source_name: str
    source_row: int
    values: Mapping[str, tuple[float, float]]


@dataclass(frozen=True)
class Damage:
    """One thing that `verify` found wrong: the place, what, what is affected, what still stands, and the mend."""

    place: str
    what: str
    affected: str
    mend: str
    stands: str


@dataclass(frozen=True)
class Proof:
    """What `verify` looked at, and what it found.

    remarks: what is no damage, but what somebody may want to know, a sentence each.
    """

    files: int
    rows: int
    damages: Sequence[Damage] = ()
    remarks: Sequence[str] = ()

    @property
    def whole(self) -> bool:
        """Whether nothing was found wrong."""
        return not self.damages
