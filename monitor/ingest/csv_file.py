"""CSV as it comes: any usual encoding and separator, with or without a byte order mark."""

import re

from monitor.errors import IntakeError, Where
from monitor.ingest.cells import Cell, Line, Sheet, make_line, unguarded
from monitor.ingest.csv_rows import csv_rows
from monitor.ingest.limits import check_cell, check_rows

_OLD_ENCODINGS = ["cp1252", "mac_roman", "cp850", "cp437"]
_FRACTIONS = (("cp1252", re.compile(rb"[0-9 ,;\t][\xbc-\xbe]")), ("cp850", re.compile(rb"[0-9 ,;\t][\xab\xac\xf3]")))
"""Where ¼, ½ and ¾ stand; by the other of the two they would be signs that no number is followed by."""
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_STRAY = 0.05
"""Share of zero bytes up to which they are stray signs in a text, not another kind of file."""


def read_csv(name: str, data: bytes) -> tuple[Sheet, list[str]]:
    """The rows of a CSV file, and notes on how it was read. Raises IntakeError where it is no text."""
    text, notes = _decoded(name, data)
    lines: list[Line] = []
    for number, fields in csv_rows(name, text):
        if number == 1 and len(fields) <= 2 and fields and fields[0].strip().lower().startswith("sep="):
            continue
        while fields and not fields[-1]:  # a row of separators alone has as many cells as it has signs
            fields.pop()
        line = make_line(number, [Cell(unguarded(field)) for field in fields]) if fields else None
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
    notes = _padding(name, data)
    data = data.replace(b"\0", b"")
    try:
        return data.decode("utf-8"), notes
    except UnicodeDecodeError:
        encoding = _old_encoding(data)
    if not encoding:
        raise _not_text(name)
    said = f"{name}: old 8-bit text, read as {encoding}; look at its fractions and accents."
    return data.decode(encoding, "replace"), [*notes, said]


def _padding(name: str, data: bytes) -> list[str]:
    """A note on zero bytes at the end; IntakeError where they stand in place of the end of a row."""
    text = data.rstrip(b"\0")
    zeros = len(data) - len(text)
    if not zeros:
        return []
    if not text.endswith((b"\n", b"\r")):
        raise IntakeError(
            "The file ends in zero bytes in the middle of a row, as one does that was not written to its end.",
            where=Where(file=name, row=text.count(b"\n") + 1),
            got=f"{zeros} zero bytes",
            expected="the end of the row",
            mend="Send the whole file again: rows below may be missing too.",
        )
    return [f"{name}: ends in {zeros} zero bytes, as after a copy that was cut off; look whether its last rows came."]


def _old_encoding(data: bytes) -> str:
    """The encoding by which a sign after a number is a fraction, else the likeliest; '' where it is no text."""
    for encoding, fractions in _FRACTIONS:
        if fractions.search(data):
            return encoding
    from charset_normalizer import from_bytes  # wanted for old 8-bit text only

    best = from_bytes(data, cp_isolation=_OLD_ENCODINGS).best()
    return best.encoding if best else ""


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
