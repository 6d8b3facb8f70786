"""Whether a sheet holds readings or a table of the register, by its headings: the two go in by different commands."""

from monitor.errors import IntakeError, Where
from monitor.ingest.cells import Book, Sheet
from monitor.ingest.columns import READING_NEEDS, REGISTER_NEEDS, reading_names, register_names
from monitor.ingest.headers import find_header
from monitor.ingest.reader import read_book


def holds_readings(sheet: Sheet) -> bool:
    """Whether the sheet has the headings of readings."""
    return find_header(sheet, reading_names(), READING_NEEDS)[1]


def register_table(sheet: Sheet) -> str:
    """The register table whose headings the sheet has, '' where it has none's or more of the readings' headings."""
    as_readings = len(find_header(sheet, reading_names(), READING_NEEDS)[0].columns)
    looked = [(table, *find_header(sheet, register_names(table), needs)) for table, needs in REGISTER_NEEDS.items()]
    found = [
        (len(header.columns), table) for table, header, whole in looked if whole and len(header.columns) >= as_readings
    ]
    return max(found, default=(0, ""))[1]


def kinds_of(name: str, data: bytes) -> frozenset[str]:
    """What a file holds by its headings: 'readings', 'register' or both; 'readings' where it has neither's.

    Raises IntakeError where it cannot be opened.
    """
    sheets = read_book(name, data).sheets
    readings = [sheet for sheet in sheets if holds_readings(sheet)]
    register = any(register_table(sheet) for sheet in sheets if sheet not in readings)
    return frozenset(({"register"} if register else set()) | ({"readings"} if readings or not register else set()))


def refuse_readings(book: Book, sheet: Sheet) -> IntakeError:
    """The error of readings sent as a register."""
    return IntakeError(
        "These are readings, and this command takes in the register.",
        where=Where(file=book.name, sheet=sheet.name),
        expected="people, houses, walls, marks, instruments, thresholds or events",
        mend="Send the file with `wallbow ingest`.",
    )


def refuse_register(book: Book, sheet: Sheet, table: str) -> IntakeError:
    """The error of a register table sent as readings."""
    return IntakeError(
        f"This is the register's table of {table}, and this command takes in readings.",
        where=Where(file=book.name, sheet=sheet.name),
        expected=f"at least the columns {', '.join(need.replace('_', ' ') for need in READING_NEEDS)}",
        mend="Send the file with `wallbow register`.",
    )
