"""What a link opens: the pages of one wall under names that tell nothing, and the photos that their reader may see."""

from collections.abc import Mapping
from datetime import datetime

from monitor.pipeline import list_rows, pack, publishing
from monitor.pipeline.editions import Edition
from monitor.pipeline.links import Link
from monitor.records import dataclass
from monitor.report import names, pages
from monitor.report.context import Book, Row
from monitor.report.language import FIRST, codes
from monitor.store import Store, photos
from monitor.terms import LinkTo

FIRST_PLACE = "index.html"
PACK = "records.zip"


@dataclass(frozen=True)
class Shown:
    """Bytes and what they are: an ending of a file name."""

    data: bytes
    ending: str


def places(content: Book, link: Link) -> list[str]:
    """Every place that the link has, beside one another: the first page first."""
    if link.row["opens"] == LinkTo.PACK:
        return [*(place_of(code) for code in codes()), PACK]
    return [*(place_of(code) for code in codes()), *_photos(content, link)]


def at(store: Store, edition: Edition, content: Book, link: Link, place: str, *, shown_at: datetime) -> Shown | None:
    """What stands at a place of the link; a page is put onto the ledger as it is shown. None where there is nothing.

    content: `book_of_edition` of that very edition, of all walls or of the link's.
    """
    if link.key not in content.walls:
        return None
    photo = _photos(content, link).get(place)
    if photo is not None:
        return Shown(photos.read(store.path, photo["sha256"], photo["ending"]), photo["ending"])
    code = next((code for code in codes() if place == place_of(code)), None)
    if link.row["opens"] == LinkTo.PACK:
        if place == PACK:
            return Shown(pack.archive(pack.files(store, list_rows.places(store, edition.run), link.key)), "zip")
        others = {other: place_of(other) for other in codes() if other != code}
        return Shown(pages.pack_door(content, *link.key, code, others, PACK), "html") if code else None
    if code is None:
        return None
    kind = link.row["opens"]
    addresses = {names.page_name(*link.key, names.in_language(kind, other)): place_of(other) for other in codes()}
    name = names.page_name(*link.key, names.in_language(kind, code))
    data = publishing.show_one(store, edition, content, name, shown_at, addresses)
    return Shown(data, "html") if data else None


def nothing(company: Mapping[str, str], code: str) -> bytes:
    """The page of a link that opens nothing: the same for one that ended, expired, or never was."""
    return pages.no_page(company, code, {other: place_of(other) for other in codes() if other != code})


def place_of(code: str) -> str:
    """The place of a page in a language beside the others of its link."""
    return FIRST_PLACE if code == FIRST else f"{code}.html"


def _photos(content: Book, link: Link) -> dict[str, Row]:
    if link.row["opens"] == LinkTo.PACK:
        return {}
    rows = [row for row in content.photos if row["released"] and (row["house"], row["wall"]) == link.key]
    return {names.photo_name(row, names.RELEASED_PHOTOS): row for row in rows}
