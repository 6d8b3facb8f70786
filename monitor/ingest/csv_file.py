"""CSV as it comes: any usual encoding and separator, with or without a byte order mark."""

import csv
import io
from collections.abc import Iterator

from charset_normalizer import from_bytes

from monitor.errors import IntakeError, Where
from monitor.ingest.cells import Cell, Line, Sheet, make_line, unguarded
from monitor.ingest.limits import check_cell, check_rows

_SEPARATORS = ",;\t|"
_OLD_ENCODINGS = ["cp1252", "mac_roman", "cp850", "cp437"]
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_PROBE_ROWS = 50
_STRAY = 0.05
"""Share of zero bytes up to which they are stray signs in a text, not another kind of file."""


def read_csv(name: str, data: bytes) -> tuple[Sheet, list[str]]:
    """The rows of a CSV file, and notes on how it was read. Raises IntakeError where it is no text."""
    text, notes = _decoded(name, data)
    lines: list[Line] = []
    for number, fields in enumerate(_records(name, text), 1):
        if number == 1 and len(fields) <= 2 and fields and fields[0].strip().lower().startswith("sep="):
            continue
        line = make_line(number, [Cell(unguarded(field)) for field in fields])
        if line:
            where = Where(file=name, row=number)
            check_rows(where, len(lines) + 1, len(line.cells))
            check_cell(where, max((cell.text for cell in line.cells), key=len))
            lines.append(line)
    return Sheet("", tuple(lines)), notes


def _decoded(name: str, data: bytes) -> tuple[str, list[str]]:
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return _strict(name, data, encoding), []
    if data.count(b"\0") > len(data) * _STRAY:
        raise _not_text(name)
    data = data.replace(b"\0", b"")
    try:
        return data.decode("utf-8"), []
    except UnicodeDecodeError:
        best = from_bytes(data, cp_isolation=_OLD_ENCODINGS).best()
    if best is None:
        raise _not_text(name)
    return str(best), [f"{name}: old 8-bit text, read as {best.encoding}; look at its fractions and accents."]


def _strict(name: str, data: bytes, encoding: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        raise _not_text(name) from None


def _not_text(name: str) -> IntakeError:
    return IntakeError(
        "The file is neither a spreadsheet (XLSX) nor text (CSV).",
        where=Where(file=name),
        expected="CSV in UTF-8, or XLSX",
        mend="Save it as XLSX or as CSV UTF-8 and send it again.",
    )


def _records(name: str, text: str) -> Iterator[list[str]]:
    """Rows of fields. A quote that is opened and never closed would swallow rows, so it is refused."""
    separator = _separator(text)
    try:
        for number, fields in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=separator), 1):
            swallowed = [field for field in fields if field.count("\n") > 1 and separator in field]
            if swallowed:
                raise IntakeError(
                    "A quotation mark is opened and not closed, so that rows run together.",
                    where=Where(file=name, row=number),
                    got=swallowed[0][:40].replace("\n", " / "),
                    expected="a quotation mark at both ends of the cell, or none",
                    mend='Write inches as 1 3/16 with "in" in the unit column, or save the file as XLSX.',
                )
            yield fields
    except csv.Error as error:
        raise IntakeError(
            "The rows of the file cannot be told apart.",
            where=Where(file=name),
            got=str(error),
            expected="CSV",
            mend="Save it as XLSX or as CSV UTF-8 and send it again.",
        ) from None


def _separator(text: str) -> str:
    """The separator that parts the first rows into the most fields."""
    first = [line for line in text.splitlines() if line.strip()][:_PROBE_ROWS]

    def fields(separator: str) -> int:
        counts = sorted(len(row) for row in csv.reader(first, delimiter=separator))
        return counts[len(counts) // 2] if counts else 0

    try:
        return max(_SEPARATORS, key=fields)
    except csv.Error:
        return ","
