"""Pages made from the store when somebody asks for them: those of the newest assessment, kept by their edition.

A page that is shown is published: it goes onto the ledger, so that `verify` knows it when somebody holds it up later.
"""

from fastapi.responses import Response

from monitor.pipeline import damaged, editions, keys, list_rows, pack, photos, publishing
from monitor.pipeline.editions import Edition
from monitor.report import names
from monitor.report.context import Book, Key
from monitor.store import Store
from monitor.store import photos as photos_kept
from monitor.web import guard
from monitor.web.service import Asking, Here, Service, note

router = guard.router()


def page(here: Service, place: str) -> bytes | None:
    """A page of the newest edition, or a file beside it; None where there is none. NotFoundError before the first."""
    store = here.store().sparing()
    edition = _edition(here, store)
    for row in photos.standing(store, edition.run.known_until):
        folders = (names.PHOTOS, names.RELEASED_PHOTOS) if row["released"] else (names.PHOTOS,)
        if place in (names.photo_name(row, folder) for folder in folders):
            return photos_kept.read(store.path, row["sha256"], row["ending"])
    wall = names.wall_of(place)
    content = _book(here, store, edition, wall)
    if wall and wall in content.walls and content.damaged:
        damaged.refuse(store, wall)
    return publishing.show_one(store, edition, content, place, here.now())


def of_wall(here: Service, store: Store, wall: Key) -> tuple[Edition, Book]:
    """The newest edition as it would be published now, and its book of one wall. NotFoundError before the first."""
    edition = _edition(here, store)
    return edition, _book(here, store, edition, wall)


def _edition(here: Service, store: Store) -> Edition:
    return editions.of(store, list_rows.newest(store), here.now())


def _book(here: Service, store: Store, edition: Edition, wall: Key | None) -> Book:
    made_from = ("edition", edition.edition_id, wall)
    return here.kept.of(made_from, lambda: publishing.book_of_edition(store, edition, wall), _is_whole)


def _is_whole(made: Book) -> bool:
    return not made.damaged


@router.get("/review/walls/{wall}/pack")
def packed(here: Here, asking: Asking, wall: str) -> Response:
    """All about one wall in one archive, as the command makes it."""
    store = here.store().sparing()
    assessment = list_rows.newest(store)
    key = keys.registered(store, wall, assessment.known_until)
    written = keys.written(*key)
    data = pack.archive(pack.files(store, assessment, key))
    note(here, asking, "pack", "done", what=f"judged for {assessment.judged_on}", wall=written)
    headers = {"Content-Disposition": f'attachment; filename="{written}_{assessment.judged_on}.zip"'}
    return Response(data, media_type="application/zip", headers=headers)
