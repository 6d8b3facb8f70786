"""Received bytes to a book of text cells: XLSX, CSV or a field sheet's file, told by content, not by name."""

import hashlib

from monitor.errors import IntakeError, Where
from monitor.ingest.cells import Book
from monitor.ingest.csv_file import read_csv
from monitor.ingest.limits import check_bytes
from monitor.ingest.other_kinds import refuse_other_kinds
from monitor.ingest.visit_sheet import looks_like_sheet, read_visit_sheet

_ZIP = b"PK\x03\x04"


def read_book(name: str, data: bytes) -> Book:
    """The file's sheets. Raises IntakeError where it is empty, too large, damaged or of another kind."""
    check_bytes(name, len(data))
    refuse_other_kinds(name, data)
    if data.startswith(_ZIP):
        from monitor.ingest.xlsx_file import read_xlsx  # with the library of workbooks, which few files are

        sheets, notes = read_xlsx(name, data)
    elif looks_like_sheet(data):
        sheets, notes = read_visit_sheet(name, data)
    else:
        sheet, notes = read_csv(name, data)
        sheets = [sheet] if sheet.lines else []
    if not sheets:
        raise IntakeError(
            "The file is empty.",
            where=Where(file=name),
            expected="a header row and rows below it",
            mend="Look whether the right file was sent.",
        )
    return Book(name, hashlib.sha256(data).hexdigest(), tuple(sheets), tuple(notes))
