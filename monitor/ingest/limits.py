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
MAX_ROW_NUMBER = 1_048_576
MAX_CELLS_IN_ROW = 16_384
"""Rows and columns of a spreadsheet (common practice, no source), empty ones counted."""
MAX_CELLS = 2_000_000
"""Cells of a workbook, empty ones with a format counted."""
MAX_ELEMENTS = 500_000
"""What else a workbook holds: styles, merged blocks, links."""
MAX_RECORD_SIGNS = 1_000_000
"""Signs in one row of a CSV file, separators counted."""

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


def too_many_cells(where: Where, count: int) -> IntakeError:
    """The error of a workbook with more cells, or more of what else it may hold, than any that is read."""
    return IntakeError(
        "The workbook holds more cells than any file of readings, empty ones with a format counted.",
        where=where,
        got=f"more than {count - 1:,} of them",
        expected=f"at most {MAX_CELLS:,}, and {MAX_CELLS_IN_ROW:,} in a row",
        mend="Copy the filled rows to a new workbook, or save the sheet as CSV UTF-8, and send that.",
    )


def check_cell(where: Where, text: str) -> None:
    """Raises IntakeError where one cell has more than MAX_CELL_CHARS signs."""
    check_cell_length(where, len(text), text)


def check_cell_length(where: Where, count: int, begins: str) -> None:
    """The same for a cell of which only the beginning, or a piece, is at hand."""
    if count > MAX_CELL_CHARS:
        raise IntakeError(
            "A cell is longer than a spreadsheet can keep.",
            where=where,
            got=f"{count:,} signs, '{begins[:30]}…'",
            expected=f"at most {MAX_CELL_CHARS:,} signs",
            mend="Look whether the rows of the file were run together, and send it with one reading a row.",
        )
