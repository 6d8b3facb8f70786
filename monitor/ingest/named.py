"""Whom and what a file speaks of, told before anything is looked up: so that only that is read of a large store."""

from collections.abc import Iterator

from monitor import schema
from monitor.errors import IntakeError
from monitor.ingest.cells import Sheet
from monitor.ingest.columns import READING_NEEDS, REGISTER_NEEDS, reading_names, register_names
from monitor.ingest.headers import Row, find_header, rows_below
from monitor.ingest.known import house_of
from monitor.ingest.reader import read_book
from monitor.ingest.sort_of_file import holds_readings
from monitor.lengths import tidy
from monitor.records import dataclass


@dataclass(frozen=True)
class Named:
    """Ids of houses and of people as written, in whatever case; more than a row in the end means may be among them."""

    houses: frozenset[str] = frozenset()
    people: frozenset[str] = frozenset()

    def __or__(self, other: "Named") -> "Named":
        return Named(self.houses | other.houses, self.people | other.people)


def named(name: str, data: bytes) -> Named:
    """What a file of readings or of the register names; nothing where it cannot be read, which reading it will tell."""
    try:
        rows = [row for sheet in read_book(name, data).sheets for row in _rows(sheet)]
    except IntakeError:
        return Named()
    people = {tidy(row.text(column)) for row in rows for column in ("technician", "person")}
    return Named(frozenset(house_of(row.text("house"), row.text("wall")) for row in rows), frozenset(people))


def _rows(sheet: Sheet) -> Iterator[Row]:
    """The rows of a sheet as those of every table that it may be."""
    if holds_readings(sheet):
        yield from rows_below(sheet, find_header(sheet, reading_names(), READING_NEEDS)[0])
        return
    for table in schema.REGISTER:
        yield from rows_below(sheet, find_header(sheet, register_names(table), REGISTER_NEEDS[table])[0])
