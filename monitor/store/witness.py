"""The witness: a line for everything that was acknowledged, so that nothing can go away, or grow older, unseen.

Each line starts with the hash of the rest, and is on the disk before the acknowledgement is given. A process that dies
between its deed and its line leaves a deed without a line: it is there, and nobody was told so; `verify` remarks on it.
"""

import json
import os
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import cached_property
from itertools import islice
from pathlib import Path
from typing import Any

from filelock import FileLock

from monitor.records import dataclass, field
from monitor.store.files import sha256, writing

FILE = "witness.log"
LOCK = "witness.lock"
_SIGNS = 16
_TAIL, _FURTHER, _TAILS = 1 << 16, 8, 2
"""Bytes at the end that are looked at first, how many times as many next, and how often for lines of some adds."""
_OF_ADD = re.compile(rb'"add":(\["[a-z_]+","[0-9a-f]{64}"\])')
_KNOWN_AT = re.compile(rb'"known_at":"([^"]+)"')

Add = tuple[str, str]
"""Table and name of an add."""


@dataclass(frozen=True)
class Seen:
    """One add as it was acknowledged: the SHA-256 of its file, and what its rows speak of.

    sha256: '' where it was compacted already when the store came to this version. about: house, wall and day, '' where
    there is none; empty where they were too many to tell. mends: whether one of its readings may be sent in to mend
    another one.
    """

    sha256: str
    about: frozenset[tuple[str, str, str]]
    mends: bool = True

    @cached_property
    def walls(self) -> frozenset[tuple[str, str]]:
        """The walls it speaks of; none where they were too many to tell."""
        return frozenset((house, wall) for house, wall, _ in self.about)


@dataclass
class Testimony:
    """All that the lines say. turns: of the office records; broken: numbers of lines that are not as they were written;
    is_cut: whether the last one is cut off.
    """

    adds: dict[Add, Seen] = field(default_factory=dict)
    turns: int = 0
    broken: list[int] = field(default_factory=list)
    is_cut: bool = False


def line_of_add(
    table: str, name: str, file_sha256: str, known_at: datetime, about: Iterable[Sequence[str]], *, mends: bool = True
) -> dict[str, Any]:
    """What is said of an add. known_at: when the newest of its rows became known; the rest as in `Seen`."""
    said = {"add": [table, name], "sha256": file_sha256, "known_at": known_at.isoformat()}
    return said | {"mends": mends, "about": sorted(map(list, about))}


def line_of_office(turn: int) -> dict[str, Any]:
    """What is said of a change of the office records, which are numbered."""
    return {"office": turn}


def to_bytes(lines: Iterable[Mapping[str, Any]]) -> bytes:
    """Lines as the file holds them."""
    texts = [json.dumps(line, ensure_ascii=False, separators=(",", ":")) for line in lines]
    return "".join(f"{sha256(text.encode())[:_SIGNS]} {text}\n" for text in texts).encode()


def append(root: Path, lines: Iterable[Mapping[str, Any]]) -> None:
    """Say it, for good. What a process that died left of a line is taken away first. Raises StoreError."""
    path = root / FILE
    with writing(path), FileLock(root / LOCK), path.open("r+b") as file:
        end = _end(file.fileno())
        try:
            os.ftruncate(file.fileno(), end)
            file.seek(end)
            file.write(to_bytes(lines))
            file.flush()
            os.fsync(file.fileno())
        except OSError:
            os.ftruncate(file.fileno(), end)
            raise


def read(root: Path) -> Testimony:
    """All that was said. FileNotFoundError where nothing is there."""
    said = Testimony()
    *whole, rest = (root / FILE).read_bytes().split(b"\n")
    said.is_cut = bool(rest)
    for number, line in enumerate(whole, start=1):
        found = _said(line)
        if found is None:
            said.broken.append(number)
        elif "add" in found:
            table, name = found["add"]
            said.adds[table, name] = _seen(found)
        else:
            said.turns = max(said.turns, found["office"])
    return said


def of_some(root: Path, adds: Collection[Add]) -> dict[Add, Seen]:
    """What was said of some adds, as far as it stands in the last lines: who asks for an older one reads the add."""
    wanted = {json.dumps(add, separators=(",", ":")).encode(): add for add in adds}
    found: dict[Add, Seen] = {}
    for lines in islice(_from_the_end(root), _TAILS):
        for line in lines:
            of = _OF_ADD.search(line)
            if of and of[1] in wanted and (said := _said(line)):
                found[wanted[of[1]]] = _seen(said)
        if len(found) == len(wanted):
            break
    return found


def adds(root: Path) -> set[Add]:
    """The adds that were told of, without their walls, which are as many as the company has. Raises as `read`."""
    with (root / FILE).open("rb") as file:
        found = (_said(line[:-1]) for line in file)  # the last sign of one that was cut off is none to leave out
        return {(table, name) for said in found if said and "add" in said for table, name in [said["add"]]}


def _said(line: bytes) -> dict[str, Any] | None:
    """What a line says; None where it is not as it was written."""
    signs, _, text = line.partition(b" ")
    if signs.decode(errors="replace") != sha256(text)[:_SIGNS]:
        return None
    found: dict[str, Any] = json.loads(text)
    return found


def has(root: Path, table: str, name: str) -> bool:
    """Whether an add was told of. Looks at no line closely: a hundred thousand of them take a hundredth of a second."""
    return json.dumps([table, name], separators=(",", ":")).encode() in (root / FILE).read_bytes()


def newest_known(root: Path) -> datetime | None:
    """When the newest add became known, told from the last lines that are of adds, as each is known after the last."""
    for lines in _from_the_end(root):
        said = [(found[1], line) for line in lines if (found := _KNOWN_AT.search(line))]
        newest_first = sorted(said, reverse=True)  # moments of one time zone stand in order as they are written
        if (proven := next((at for at, line in newest_first if _said(line)), None)) is not None:
            return datetime.fromisoformat(proven.decode())
    return None


def _seen(said: Mapping[str, Any]) -> Seen:
    """An add by what its line says; one from before it was said may mend another."""
    return Seen(said["sha256"], frozenset(map(tuple, said["about"])), said.get("mends", True))


def _from_the_end(root: Path) -> Iterator[list[bytes]]:
    """The last lines, of which the first may be without its beginning; each time more of them, until it is all."""
    with (root / FILE).open("rb") as file:
        size, reach = os.fstat(file.fileno()).st_size, _TAIL
        while True:
            file.seek(max(0, size - reach))
            yield file.read().split(b"\n")
            if reach >= size:
                return
            reach *= _FURTHER


def _end(handle: int) -> int:
    """Where the last whole line ends."""
    size = os.fstat(handle).st_size
    at = size
    while at:
        start = max(0, at - 4096)
        os.lseek(handle, start, os.SEEK_SET)
        found = os.read(handle, at - start).rfind(b"\n")
        if found >= 0:
            return start + found + 1
        at = start
    return 0
