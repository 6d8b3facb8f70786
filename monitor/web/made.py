"""Pages made from the store when somebody asks for them: those of the newest assessment, kept by their edition.

A page that is shown is published: it goes onto the ledger, so that `verify` knows it when somebody holds it up later.
"""

from fastapi.responses import Response

from monitor.pipeline import assessing, damaged, editions, keys, pack, publishing
from monitor.pipeline.editions import Edition
from monitor.report import names
from monitor.report.context import Book
from monitor.store import Store, photos
from monitor.web import guard
from monitor.web.service import Asking, Here, Service, note

router = guard.router()


def page(here: Service, place: str) -> bytes | None:
    """A page of the newest edition, or a file beside it; None where there is none. NotFoundError before the first."""
    store = here.store().sparing()
    edition, content = newest(here, store)
    for row in content.photos:
        folders = (names.PHOTOS, names.RELEASED_PHOTOS) if row["released"] else (names.PHOTOS,)
        if place in (names.photo_name(row, folder) for folder in folders):
            return photos.read(store.path, row["sha256"], row["ending"])
    for key in content.walls if content.damaged else ():
        if place in (names.page_name(*key, kind) for kind in names.KINDS):
            damaged.refuse(store, key)
    return publishing.show_one(store, edition, content, place, here.now())


def book(here: Service, store: Store) -> Book:
    """The book of the newest edition as it would be published now."""
    return newest(here, store)[1]


def newest(here: Service, store: Store) -> tuple[Edition, Book]:
    """The newest edition as it would be published now, and its book. NotFoundError before the first assessment."""
    edition = editions.of(store, assessing.newest(store), here.now())
    made_from = ("edition", edition.edition_id)
    return here.kept.of(made_from, lambda: (edition, publishing.book_of_edition(store, edition)), _is_whole)


def _is_whole(made: tuple[Edition, Book]) -> bool:
    return not made[1].damaged


@router.get("/review/walls/{wall}/pack")
def packed(here: Here, asking: Asking, wall: str) -> Response:
    """All about one wall in one archive, as the command makes it."""
    store = here.store().sparing()
    assessment = assessing.newest(store)
    key = keys.registered(store, wall, assessment.known_until)
    written = keys.written(*key)
    data = pack.archive(pack.files(store, assessment, key))
    note(here, asking, "pack", "done", what=f"judged for {assessment.judged_on}", wall=written)
    headers = {"Content-Disposition": f'attachment; filename="{written}_{assessment.judged_on}.zip"'}
    return Response(data, media_type="application/zip", headers=headers)
