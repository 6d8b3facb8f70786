"""What the register knows, asked by id: houses, walls, marks, instruments, people, events; and the nearest ids."""

import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from monitor import schema
from monitor.lengths import tidy

Fact = Mapping[str, Any]
"""One row of a register table, by column."""
Key = tuple[str, ...]
Every = Callable[[str], Iterable[Key]]


class Known:
    """The register as it stands; rows of a file under way can be added. Ids are found whatever their case.

    every: where the tables have only what a file names, all ids of a table, each as the values of its key; asked only
    where an id is not found.
    """

    def __init__(self, tables: schema.Tables, every: Every | None = None) -> None:
        self._every = every
        self._rows: dict[str, dict[tuple[str, ...], Fact]] = {name: {} for name in schema.REGISTER}
        self._marks_of: dict[str, dict[str, Fact]] = defaultdict(dict)
        self._events_of: dict[str, list[Fact]] = defaultdict(list)
        for name in schema.REGISTER:
            rows = tables[name].to_pylist() if name in tables else []
            for row in sorted(rows, key=lambda row: str(row.get("known_at") or "")):
                self.add(name, row)

    def add(self, table: str, row: Fact) -> None:
        """Let a row be known; of two with one key the later stands."""
        key = tuple(str(row[part]).casefold() for part in schema.KEY[table])
        if table == "events" and key not in self._rows[table]:
            self._events_of[wall_id(row["house"], row["wall"]).casefold()].append(row)
        if table == "marks":
            self._marks_of[wall_id(row["house"], row["wall"]).casefold()][str(row["mark"]).casefold()] = row
        self._rows[table][key] = row

    def find(self, table: str, *key: str) -> Fact | None:
        """The row with that key, or None."""
        return self._rows[table].get(tuple(tidy(part).casefold() for part in key))

    def ids(self, table: str) -> list[str]:
        """Ids of that table in order; a wall's is house-wall."""
        keys = [tuple(str(row[part]) for part in schema.KEY[table]) for row in self._rows[table].values()]
        others = self._every(table) if self._every else ()
        each = {tuple(part.casefold() for part in key): key for key in (*others, *keys)}
        return sorted(wall_id(*key) if table == "walls" else key[-1] for key in each.values())

    def marks(self, house: str, wall: str) -> Mapping[str, Fact]:
        """The marks of a wall, by id in lower case."""
        return self._marks_of.get(wall_id(house, wall).casefold(), {})

    def events(self, house: str, wall: str) -> list[Fact]:
        """The events of a wall."""
        return self._events_of.get(wall_id(house, wall).casefold(), [])

    def split_wall(self, house: str, wall: str) -> tuple[str, str]:
        """House and wall as registered, where the wall may be written with its house (DH-01-N); else as written."""
        written, house, wall = tidy(house), house_of(house, wall), tidy(wall)
        prefix = f"{house}-".casefold()
        if written and wall.casefold().startswith(prefix) and not self.find("walls", house, wall):
            wall = wall[len(prefix) :]
        if not written:
            wall = wall.rpartition("-")[2]
        row = self.find("walls", house, wall) or {"house": house, "wall": wall}
        return str(row["house"]), str(row["wall"])


def house_of(house: str, wall: str) -> str:
    """The house that is meant, in whatever case, where the wall may be written with its house."""
    return tidy(house) or tidy(wall).rpartition("-")[0]


def foreign_letters(text: str) -> str:
    """A sentence on letters that only look like those of an id, '' where there are none."""
    named = {sign: unicodedata.name(sign, "").capitalize() for sign in tidy(text) if sign.isalpha() and sign > "\x7f"}
    return f"Its {next(iter(named))} is a {next(iter(named.values()))}: type it anew. " if named else ""


def wall_id(house: str, wall: str) -> str:
    """The id of a wall as people write it."""
    return f"{house}-{wall}"


def nearest(text: str, ids: Iterable[str], count: int = 3, at_least: float = 0) -> str:
    """The nearest ids, most alike first, as 'A, B or C'; '' where there are none. at_least: how alike, of 100."""
    from rapidfuzz import fuzz, process, utils  # wanted for what is misspelt only

    found = process.extract(
        text, list(ids), scorer=fuzz.ratio, processor=utils.default_process, limit=count, score_cutoff=at_least
    )
    names = [name for name, _, _ in found]
    return either(names)


def either(names: Sequence[str]) -> str:
    """'A, B or C'; '' where there are none."""
    return " or ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))
