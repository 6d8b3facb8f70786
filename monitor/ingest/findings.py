"""What is wrong with one row, said once: its state, a fixed code, and two sentences, what is wrong and the mend."""

import re

from monitor.errors import LengthError
from monitor.lengths import AmbiguousLengthError
from monitor.records import dataclass
from monitor.terms import State

_ERROR_CELL = re.compile(r"#(?:NULL!|DIV/0!|VALUE!|REF!|NAME\?|NUM!|N/A|GETTING_DATA|SPILL!|CALC!)")
"""What a spreadsheet shows where a formula fails (ECMA-376 Part 1, 18.17.3, and newer ones from memory)."""


@dataclass(frozen=True)
class Finding:
    """state: held (a question to a person) or rejected; wrong names the cell, what was found and what was expected."""

    state: State
    code: str
    wrong: str
    mend: str

    @property
    def reason(self) -> str:
        """Both sentences."""
        return f"{self.wrong} {self.mend}".strip()


class CellError(Exception):
    """One cell cannot be used; carries the finding to the row's judge, and never leaves this room."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.reason)
        self.finding = finding


def rejected(code: str, wrong: str, mend: str) -> CellError:
    """The error of a cell that makes its row rejected."""
    return CellError(Finding(State.REJECTED, code, wrong, mend))


def held(code: str, wrong: str, mend: str) -> CellError:
    """The error of a cell that makes its row held, with a question as the mend."""
    return CellError(Finding(State.HELD, code, wrong, mend))


def mend_of_formula(text: str) -> str:
    """The mend of a cell whose formula nobody has computed, or could not be; '' of any other."""
    if _ERROR_CELL.fullmatch(text.strip()):
        return "The formula in it failed: type what was read."
    if text.startswith("="):
        return "A formula that was not computed: type what was read, or open the workbook, save it and send it again."
    return ""


def of_length(place: str, error: LengthError) -> CellError:
    """A length that cannot be read: held where a person can choose, else rejected."""
    wrong = f"{place} '{' '.join(error.got.split())}': {error.expected} expected."
    if mend := mend_of_formula(error.got):
        return rejected("length", wrong, mend)
    if isinstance(error, AmbiguousLengthError):
        return held("length-ambiguous", wrong, error.mend)
    return rejected("length", wrong, error.mend)
