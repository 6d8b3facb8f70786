"""Photos of the demo: drawn, not taken, in squares of eight pixels; with everything a telephone writes into a picture.

What is planted is what has to go: place, time, device and thumbnail in Exif, XMP, a comment, texts. The place is where
the equator meets the prime meridian, in the sea.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

from monitor.demo import tiny_pictures
from monitor.demo.faults import Walls, date_of
from monitor.demo.register import CLERK
from monitor.demo.tables import Cell, Table
from monitor.simulate import Row
from monitor.terms import Method, PhotoAct

WALL, MONTH = "DH-02-E", 36
PLACE = b"GPS 0.0 N 0.0 E"
NAMED: Mapping[str, str] = {"B3": "IMG_0412.JPG", "M3": "photos\\img_0413; IMG_0414.jpg", "T3": "IMG_0413.JPEG"}
"""Names that the technician writes with readings of the last visit: one of them of a photo that nobody sends."""
_BLOCK, _MORTAR, _STRAP, _RULE, _TICK, _FLOOR, _GRASS, _SKY = (
    (176, 172, 162), (140, 136, 128), (58, 60, 64), (222, 190, 70), (40, 36, 30), (120, 112, 104), (92, 124, 70),
    (168, 196, 214),
)  # fmt: skip

Colour = tuple[int, int, int]


def with_names(walls: Walls) -> Walls:
    """The readings of the last visit with the names of the photos that were taken of their marks."""
    day = date_of(WALL, MONTH)
    return walls | {WALL: [_named(row) if row.visit_date == day else row for row in walls[WALL]]}


def _named(row: Row) -> Row:
    return replace(row, photos=NAMED.get(row.mark, "")) if row.method == Method.PLUMB else row


def make() -> dict[str, bytes]:
    """The files as sent, by name."""
    sideways = _turned(_rule_at(20))
    return {
        "IMG_0412.jpg": tiny_pictures.jpeg(_squares(48, 36, _rule_at(27)), PLACE, orientation=1),
        "IMG_0413.jpeg": tiny_pictures.jpeg(_squares(36, 48, sideways), PLACE, orientation=6),
        "from the garden.png": tiny_pictures.png(_squares(48, 36, _outside), PLACE),
    }


def table() -> Table:
    """What the office did with them, in the order of time."""
    house, wall = WALL.rsplit("-", 1)
    day = date.fromisoformat(date_of(WALL, MONTH))
    tie = {"act": "tie", "house": "", "wall": "", "visit date": "", "mark": "", "who": CLERK, "why": ""}
    place = {"house": house, "wall": wall, "visit date": day.isoformat()}
    return [
        {"at": _at(day, 1, 0), "photo": "IMG_0412.jpg", **tie},
        {"at": _at(day, 1, 1), "photo": "IMG_0413.jpeg", **tie},
        {"at": _at(day, 1, 2), "photo": "from the garden.png", **tie, **place, "why": "east side, from outside"},
        {
            "at": _at(day, 3, 0),
            "photo": "IMG_0412.jpg",
            **tie,
            "act": PhotoAct.RELEASE.value,
            "why": "the owner asked to see the foot of the wall; nothing else in it",
        },
    ]


def _at(day: date, days: int, minute: int) -> Cell:
    return datetime.combine(day + timedelta(days=days), time(9, minute), tzinfo=UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _squares(width: int, height: int, drawn: Callable[[int, int], Colour]) -> list[list[Colour]]:
    return [[drawn(x, y) for x in range(width)] for y in range(height)]


def _rule_at(column: int) -> Callable[[int, int], Colour]:
    """A wall of blocks above a floor, a strap on it, and a rule held upright before it."""

    def drawn(x: int, y: int) -> Colour:
        if x in (column, column + 1) and 6 <= y < 32:
            return _TICK if y % 3 == 0 and x == column else _RULE
        if y >= 32:
            return _FLOOR
        if 12 <= x < 16:
            return _STRAP
        return _MORTAR if y % 6 == 5 or (x + 4 * (y // 6 % 2)) % 8 == 7 else _BLOCK

    return drawn


def _turned(upright: Callable[[int, int], Colour]) -> Callable[[int, int], Colour]:
    """As a telephone held sideways stores a picture of 48 by 36: to be turned a quarter to the right when shown."""
    return lambda x, y: upright(47 - y, x)


def _outside(x: int, y: int) -> Colour:
    if y < 14:
        return _SKY
    return _GRASS if y > 26 else _BLOCK if (x // 4 + y // 3) % 2 else _MORTAR
