"""Pages by link for a host that serves files: a folder a link, named by its token, which stands nowhere else.

There a link ends only when the folder is written again and uploaded again.
"""

from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

from monitor.errors import ReportError
from monitor.pipeline import assessing, editions, linked_pages, links, publishing
from monitor.pipeline.links import Link
from monitor.records import dataclass
from monitor.report.language import FIRST, codes
from monitor.store import Store
from monitor.terms import Opened

ROBOTS = b"User-agent: *\nDisallow: /\n"


@dataclass(frozen=True)
class Folder:
    """One folder that was written: the link (None where the name is the token of none), and what it opens now."""

    path: Path
    link: Link | None
    opens: Opened


def write(store: Store, to: Path, *, at: datetime, today: date, token: str = "") -> list[Folder]:
    """Write the folder of a new link's token, and every folder of a link that is there already anew.

    One that opens nothing any more is left with the page that says so. Raises NotFoundError where nothing was assessed
    yet, ReportError where nothing can be written.
    """
    edition = editions.of(store, assessing.newest(store), at)
    content = publishing.book_of_edition(store, edition)
    try:
        to.mkdir(parents=True, exist_ok=True)
        (to / "robots.txt").write_bytes(ROBOTS)
        _nothing(store, to)  # else the host might list the folders, and with them the tokens
        names = {path.name for path in to.iterdir() if path.is_dir() and links.TOKEN.fullmatch(path.name)}
        done = []
        for name in sorted(names | ({token} if token else set())):
            link = links.by_token(store, name)
            opens = link.opens_on(today) if link else Opened.ENDED
            if link and opens is Opened.SHOWN:
                pages = {
                    place: shown.data
                    for place in linked_pages.places(content, link)
                    if (shown := linked_pages.at(store, edition, content, link, place, shown_at=at))
                }
                _replace(to / name, pages)
            else:
                _nothing(store, to / name)
            done.append(Folder(to / name, link, opens))
        return done
    except OSError as error:
        raise ReportError(
            "The folder of links could not be written.",
            got=f"{error.filename or to}: {error.strerror}",
            mend="Choose another folder, or make room there.",
        ) from error


def _nothing(store: Store, folder: Path) -> None:
    company = store.office.company()
    pages = {linked_pages.place_of(code): linked_pages.nothing(company, code) for code in (FIRST, *codes())}
    _replace(folder, pages, but=links.TOKEN.fullmatch(folder.name) is None)


def _replace(folder: Path, pages: dict[str, bytes], *, but: bool = False) -> None:
    """Write the pages and take away whatever else is there; all but folders and robots.txt at the top."""
    for place, data in pages.items():
        path = folder / place
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    kept = {folder / place for place in pages}
    for path in [] if but else list(_files(folder)):
        if path not in kept:
            path.unlink()


def _files(folder: Path) -> Iterator[Path]:
    yield from (path for path in folder.rglob("*") if path.is_file())
