"""File names of pages: made from house and wall ids alone, never from a name or an address."""

import re

from monitor.report.context import Book, Key, Row
from monitor.report.language import FIRST, codes


def in_language(kind: str, code: str) -> str:
    """The kind of a page in a language: 'homeowner' in the office's own, 'homeowner.es' in Spanish."""
    return kind if code == FIRST else f"{kind}.{code}"


KINDS = ("wall", *(in_language(kind, code) for kind in ("homeowner", "history") for code in codes()), "engineer")
MONTHLY_LIST = "monthly-list.html"
MONTHLY_CSV = "monthly-list.csv"
MONTHLY_XLSX = "monthly-list.xlsx"
INDEX = "index.html"
PLAN = "visit-plan.html"
REPEATABILITY = "repeatability.html"
OVERVIEW = "overview.html"
SCRIPT = "plotly.min.js"
_FILES = {"index": INDEX, "monthly": MONTHLY_LIST, "plan": PLAN, "repeatability": REPEATABILITY, "overview": OVERVIEW}
NUMBER_OF = {MONTHLY_CSV: MONTHLY_LIST, MONTHLY_XLSX: MONTHLY_LIST}
"""Files that bear no number within, and the page whose number is theirs."""

PHOTOS, RELEASED_PHOTOS = "photos", "released-photos"
"""Folders beside the pages: of every photo, for the office and the engineer; of those that homeowners may see."""

_PLAIN = re.compile(r"[^A-Za-z0-9-]")
_CODED = re.compile(r"\.([0-9a-f]{1,6})\.")
_ID = r"((?:[A-Za-z0-9-]|\.[0-9a-f]{1,6}\.)*)"
_PAGE = re.compile(rf"([a-z]+)_{_ID}_{_ID}(\.[a-z]+)?\.html")


def page_name(house: str, wall: str, kind: str) -> str:
    """File name of the page of `kind` (one of KINDS) of one wall; two walls never share a name.

    Any character but letters, digits and the hyphen is written as '.' and its code point in hex and '.'.
    """
    if kind not in KINDS:
        raise ValueError(f"no page of kind {kind!r}; there are {', '.join(KINDS)}")
    name, _, code = kind.partition(".")
    return f"{name}_{_plain(house)}_{_plain(wall)}{'.' * bool(code)}{code}.html"


def wall_of(name: str) -> Key | None:
    """The wall whose page bears that file name, of whatever kind; None where no page of a wall is called so."""
    found = _PAGE.fullmatch(name)
    if not found or f"{found[1]}{found[4] or ''}" not in KINDS:
        return None
    try:
        house, wall = (_CODED.sub(lambda code: chr(int(code[1], 16)), text) for text in found.group(2, 3))
    except ValueError:  # no code point
        return None
    return house, wall


def file_name(kind: str, *keys: str) -> str:
    """File name of a page by its kind, and the keys of its wall where it is of one."""
    return page_name(keys[0], keys[1], kind) if kind in KINDS else _FILES[kind]


def photo_name(photo: Row, folder: str = PHOTOS) -> str:
    """Address of a photo (a row of schema.PHOTOS) beside the pages."""
    return f"{folder}/{photo['photo_id']}.{photo['ending']}"


def wall_keys(book: Book) -> list[Key]:
    """(house, wall) of every wall that has pages, in the order of the index."""
    return list(book.walls)


def anchor(*parts: str) -> str:
    """An id within a page, from keys only; the same keys give the same id."""
    return "-".join(_plain(part).replace(".", "_") for part in parts)


def _plain(text: str) -> str:
    return _PLAIN.sub(lambda found: f".{ord(found.group()):x}.", text)
