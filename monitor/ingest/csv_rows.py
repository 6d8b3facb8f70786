"""Text to rows of fields, by RFC 4180 as far as people keep to it; where a row could have been swallowed, an error."""

import csv
import io
from collections.abc import Iterator
from itertools import islice

from monitor.errors import IntakeError, Where
from monitor.ingest.limits import MAX_RECORD_SIGNS

_SEPARATORS = ",;\t|"
_PROBE_ROWS = 50
_END = "\x00end"


def csv_rows(name: str, text: str) -> Iterator[tuple[int, list[str]]]:
    """Number of each row and its fields. Raises IntakeError where rows run together or the file was cut off."""
    separator = _separator(text)
    lines = _Lines(name, text)
    number, width, alike, before = 0, 0, 0, 0
    try:
        for number, fields in enumerate(csv.reader(lines, delimiter=separator), 1):
            if lines.at_end:
                if fields != [_END]:
                    raise _not_closed(name, number, fields[-1].removesuffix(_END), ", and the file ends in that cell")
                _check_last(name, number - 1, text, width, alike, before)
                return
            if _swallows(lines.of_row, fields, separator):
                raise _not_closed(name, number, max(fields, key=len), ", so that rows run together")
            lines.begin_row()
            width, before = width or len(fields), len(fields)
            alike += bool(fields) and before == width
            yield number, fields
    except csv.Error as error:
        raise IntakeError(
            "A cell is longer than a spreadsheet can keep, or the rows of the file cannot be told apart.",
            where=Where(file=name, row=number + 1),
            got=str(error),
            expected="CSV",
            mend="Save it as XLSX or as CSV UTF-8 and send it again.",
        ) from None


class _Lines:
    """The lines of a text, and after them one more: what it comes to lie in tells whether a cell was still open."""

    def __init__(self, name: str, text: str) -> None:
        self._name, self._text = name, text
        self.of_row: list[str] = []
        self._signs = 0
        self.at_end = False

    def begin_row(self) -> None:
        """Forget the lines of the row before."""
        self.of_row.clear()
        self._signs = 0

    def __iter__(self) -> Iterator[str]:
        for line in io.StringIO(self._text, newline=""):
            self.of_row.append(line)
            self._signs += len(line)
            if self._signs > MAX_RECORD_SIGNS:
                raise IntakeError(
                    "A row of the file is longer than any row of readings.",
                    where=Where(file=self._name),
                    got=f"{self._signs:,} signs, '{self.of_row[0][:30]}…'",
                    expected=f"at most {MAX_RECORD_SIGNS:,} signs",
                    mend="Look whether the rows of the file were run together, and send it with one reading a row.",
                )
            yield line
        self.at_end = True
        yield _END


def _swallows(of_row: list[str], fields: list[str], separator: str) -> bool:
    """Whether a cell over several lines was hardly meant: a quote is not at its end, or a separator begins it."""
    if len(of_row) < 2:
        return False
    if any(field.startswith(separator) for field in fields):
        return True
    try:
        list(csv.reader(of_row, delimiter=separator, strict=True))
    except csv.Error:
        return True
    return False


def _not_closed(name: str, row: int, got: str, then: str) -> IntakeError:
    return IntakeError(
        f"A quotation mark is opened and not closed{then}.",
        where=Where(file=name, row=row),
        got=" / ".join(got[:40].split("\n")),
        expected="a quotation mark at both ends of the cell, or none",
        mend='If the file was cut off, send it whole. Else write inches as 1 3/16 with "in" in the unit column,'
        " or save the file as XLSX.",
    )


def _check_last(name: str, row: int, text: str, width: int, alike: int, last: int) -> None:
    """A last row that is shorter than all others, without the end of a line, was cut off; more rows may be missing."""
    if last < width and alike == row - 1 > 1 and not text.endswith(("\n", "\r")):
        raise IntakeError(
            "The file was cut off in its last row.",
            where=Where(file=name, row=row),
            got=f"{last} cells",
            expected=f"{width}, as in all other rows",
            mend="Send the whole file again: rows below may be missing too. If it is whole, end its last row with a new"
            " line.",
        )


def _separator(text: str) -> str:
    """The separator that parts the first rows into the most fields."""
    first = list(islice((line for line in io.StringIO(text, newline="") if line.strip()), _PROBE_ROWS))

    def fields(separator: str) -> int:
        counts = sorted(len(row) for line in first for row in csv.reader([line], delimiter=separator))
        return counts[len(counts) // 2] if counts else 0

    try:
        return max(_SEPARATORS, key=fields)
    except csv.Error:
        return ","
