"""The written pages: from the folder that `wallbow reports` writes, else made from the store when they are asked for.

Of a folder those pages only are shown that are on record as published. What is made on demand is, byte for byte, what
`wallbow reports` would write of the newest assessment.
"""

import re
from base64 import b64encode
from hashlib import sha256
from pathlib import Path

from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from monitor.report import names, pages
from monitor.web import guard, made
from monitor.web.service import Here, Service

router = guard.router()
_PLACE = re.compile(r"(?:[A-Za-z0-9-]+/)?[A-Za-z0-9_-][A-Za-z0-9._-]*")
KINDS = {
    "html": "text/html; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "js": "text/javascript; charset=utf-8",
    "jpg": "image/jpeg",
    "jpeg": "image/jpeg",
    "png": "image/png",
    "zip": "application/zip",
}
"""Media types by ending."""
_PICTURES = ("jpg", "jpeg", "png")
_SCRIPT = re.compile(rb"<script>(.*?)</script>", re.S)
_NOWHERE = "There is no such page."
_OTHER = (
    "This page is not byte for byte as it was published, so it is not shown. Write the pages again: wallbow reports."
)


@router.get("/pages")
def first() -> Response:
    """The page of links to all others."""
    return RedirectResponse(f"/pages/{names.INDEX}", 303)


@router.get("/pages/{place:path}")
def written(here: Here, place: str) -> Response:
    """One written page or a file beside it."""
    ending = place.rpartition(".")[2]
    if not _PLACE.fullmatch(place) or ending not in KINDS:
        raise HTTPException(404, _NOWHERE)
    if here.settings.pages is None:
        return _answer(made.page(here, place), ending)
    data = _file(Path(here.settings.pages), place)
    if ending not in _PICTURES and not _is_published(here, place, sha256(data).hexdigest()):
        raise HTTPException(409, _OTHER)
    return _answer(data, ending)


def _answer(data: bytes | None, ending: str) -> Response:
    if data is None:
        raise HTTPException(404, _NOWHERE)
    headers = {"Content-Security-Policy": policy(data)} if ending == "html" else {}
    return Response(data, media_type=KINDS[ending], headers=headers)


def policy(data: bytes) -> str:
    """The policy of a published page: its own scripts by their hashes, its charts' styles, nothing from outside."""
    hashes = " ".join(f"'sha256-{b64encode(sha256(text).digest()).decode()}'" for text in _SCRIPT.findall(data))
    return (
        f"default-src 'none'; script-src 'self' {hashes}; style-src 'unsafe-inline'; img-src 'self' data: blob:; "
        "form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
    )


def _file(folder: Path, place: str) -> bytes:
    inside = folder / place
    if not inside.is_file() or not inside.resolve().is_relative_to(folder.resolve()):
        raise HTTPException(404, _NOWHERE)
    return inside.read_bytes()


def _is_published(here: Service, place: str, found: str) -> bool:
    if place == names.SCRIPT:
        return found == sha256(pages.plotly_script()).hexdigest()
    return any(row["sha256"] == found for row in here.store().office.rows("pages", page=place))
