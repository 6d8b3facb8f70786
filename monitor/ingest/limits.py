"""The bounds of one received file, and the errors where it goes beyond them: one home for every reader and door.

A season of visits of a large company is a hundredth of them; what goes beyond is another kind of file, or a trap.
"""

from monitor.errors import IntakeError, Where

MAX_BYTES = 20_000_000
MAX_ROWS = 100_000
MAX_COLUMNS = 200
MAX_CELL_CHARS = 32_767
"""Signs in one cell: as many as a spreadsheet keeps."""
MAX_UNPACKED_BYTES = 80_000_000
WHOLE_UP_TO_BYTES = 8_000_000
"""Unpacked size up to which a workbook is also loaded whole, for its merged cells and its formulas."""

_TOO_LARGE = "The file is larger than any file of readings."


def check_bytes(name: str, count: int) -> None:
    """Raises IntakeError where a file has more than MAX_BYTES."""
    if count > MAX_BYTES:
        raise IntakeError(
            _TOO_LARGE,
            where=Where(file=name),
            got=f"{count:,} bytes",
            expected=f"at most {MAX_BYTES:,} bytes",
            mend="Send it in parts, without pictures.",
        )


def check_unpacked(name: str, count: int) -> None:
    """Raises IntakeError where a workbook unpacks to more than MAX_UNPACKED_BYTES."""
    if count > MAX_UNPACKED_BYTES:
        raise IntakeError(
            "The workbook unpacks to more than any file of readings.",
            where=Where(file=name),
            got=f"{count:,} bytes",
            expected=f"at most {MAX_UNPACKED_BYTES:,} bytes",
            mend="Send the sheet alone, as CSV.",
        )


def check_rows(where: Where, rows: int, columns: int = 0) -> None:
    """Raises IntakeError where a table has more rows or columns than MAX_ROWS and MAX_COLUMNS."""
    if rows > MAX_ROWS or columns > MAX_COLUMNS:
        raise IntakeError(
            _TOO_LARGE,
            where=where,
            got=f"{columns:,} columns" if columns > MAX_COLUMNS else f"more than {MAX_ROWS:,} rows",
            expected=f"at most {MAX_ROWS:,} rows and {MAX_COLUMNS} columns",
            mend="Send it in parts.",
        )


def check_cell(where: Where, text: str) -> None:
    """Raises IntakeError where one cell has more than MAX_CELL_CHARS signs."""
    if len(text) > MAX_CELL_CHARS:
        raise IntakeError(
            "A cell is longer than a spreadsheet can keep.",
            where=where,
            got=f"{len(text):,} signs, '{text[:30]}…'",
            expected=f"at most {MAX_CELL_CHARS:,} signs",
            mend="Look whether the rows of the file were run together, and send it with one reading a row.",
        )
