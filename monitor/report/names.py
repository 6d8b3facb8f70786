"""File names of pages: made from house and wall ids alone, never from a name or an address."""

import re

from monitor.report.context import Book, Key

KINDS = ("wall", "homeowner")
MONTHLY_LIST = "monthly-list.html"
MONTHLY_CSV = "monthly-list.csv"
MONTHLY_XLSX = "monthly-list.xlsx"
INDEX = "index.html"
PLAN = "visit-plan.html"
REPEATABILITY = "repeatability.html"
SCRIPT = "plotly.min.js"

_PLAIN = re.compile(r"[^A-Za-z0-9-]")


def page_name(house: str, wall: str, kind: str) -> str:
    """File name of the page of `kind` ('wall' or 'homeowner') of one wall; two walls never share a name.

    Any character but letters, digits and the hyphen is written as '.' and its code point in hex and '.'.
    """
    if kind not in KINDS:
        raise ValueError(f"no page of kind {kind!r}; there are {', '.join(KINDS)}")
    return f"{kind}_{_plain(house)}_{_plain(wall)}.html"


def wall_keys(book: Book) -> list[Key]:
    """(house, wall) of every wall that has pages, in the order of the index."""
    return list(book.walls)


def anchor(*parts: str) -> str:
    """An id within a page, from keys only; the same keys give the same id."""
    return "-".join(_plain(part).replace(".", "_") for part in parts)


def _plain(text: str) -> str:
    return _PLAIN.sub(lambda found: f".{ord(found.group()):x}.", text)
