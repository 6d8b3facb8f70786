"""The error tree: every error says what, where, what was found, what was expected, and the mend."""

from monitor.records import dataclass


@dataclass(frozen=True)
class Where:
    """The place an error speaks of. Each part is optional; `str()` joins those that are known."""

    file: str = ""
    sheet: str = ""
    row: int | None = None
    cell: str = ""
    wall: str = ""

    def __str__(self) -> str:
        place = self.cell or (f"row {self.row}" if self.row is not None else "")
        parts = [
            self.file,
            f"sheet {self.sheet}" if self.sheet else "",
            place,
            f"wall {self.wall}" if self.wall else "",
        ]
        return ", ".join(part for part in parts if part)


class BowError(Exception):
    """Base of all errors that this package raises on purpose.

    what: one sentence; where: the place; got / expected: the value found and what was wanted;
    mend: what the reader can do now.
    """

    def __init__(
        self, what: str, *, where: Where | None = None, got: str = "", expected: str = "", mend: str = ""
    ) -> None:
        super().__init__(what)
        self.what = what
        self.where = where or Where()
        self.got = got
        self.expected = expected
        self.mend = mend

    def __str__(self) -> str:
        parts = [f"{self.where}: " if str(self.where) else "", self.what]
        if self.got:
            parts.append(f" Found: {self.got}.")
        if self.expected:
            parts.append(f" Expected: {self.expected}.")
        if self.mend:
            parts.append(f" Mend: {self.mend}")
        return "".join(parts)


class LengthError(BowError):
    """A length that cannot be read as one number (layer units)."""


class SettingsError(BowError):
    """A setting outside what it may be (layer contract)."""


class TrendError(BowError):
    """The model was asked for something that its input cannot give (layer trend)."""


class IntakeError(BowError):
    """A file, or a part of one, that cannot be taken in at all (layer ingest)."""


class StoreError(BowError):
    """The store is missing, damaged, of another version, or refuses a write (layer store)."""


class WorkError(BowError):
    """Work that others were to do and that was not done (layer joins)."""


class ReportError(BowError):
    """A page could not be made (layer report)."""


class NotFoundError(BowError):
    """A house, wall, mark, reading or person that the register does not know."""
