"""The written pages, from the folder that `wallbow reports` writes: those only that are on record as published."""

import re
from base64 import b64encode
from hashlib import sha256
from pathlib import Path

from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from monitor.report import names, pages
from monitor.web import guard
from monitor.web.service import Here, Service

router = guard.router()
_PLACE = re.compile(r"(?:[A-Za-z0-9-]+/)?[A-Za-z0-9_-][A-Za-z0-9._-]*")
_KINDS = {
    "html": "text/html; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "js": "text/javascript; charset=utf-8",
    "jpg": "image/jpeg",
    "jpeg": "image/jpeg",
    "png": "image/png",
}
_PICTURES = ("jpg", "jpeg", "png")
_SCRIPT = re.compile(rb"<script>(.*?)</script>", re.S)
_NONE = "This service has no folder of pages. Start it with --pages FOLDER, where `wallbow reports` writes them."
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
    data = _file(here, place)
    ending = place.rpartition(".")[2]
    if ending not in _PICTURES and not _is_published(here, place, sha256(data).hexdigest()):
        raise HTTPException(409, _OTHER)
    headers = {"Content-Security-Policy": policy(data)} if ending == "html" else {}
    return Response(data, media_type=_KINDS[ending], headers=headers)


def policy(data: bytes) -> str:
    """The policy of a published page: its own scripts by their hashes, its charts' styles, nothing from outside."""
    hashes = " ".join(f"'sha256-{b64encode(sha256(text).digest()).decode()}'" for text in _SCRIPT.findall(data))
    return (
        f"default-src 'none'; script-src 'self' {hashes}; style-src 'unsafe-inline'; img-src 'self' data: blob:; "
        "form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
    )


def _file(here: Service, place: str) -> bytes:
    folder = here.settings.pages
    if folder is None:
        raise HTTPException(404, _NONE)
    inside = Path(folder) / place
    known = _PLACE.fullmatch(place) and place.rpartition(".")[2] in _KINDS
    if not known or not inside.is_file() or not inside.resolve().is_relative_to(Path(folder).resolve()):
        raise HTTPException(404, "There is no such page.")
    return inside.read_bytes()


def _is_published(here: Service, place: str, found: str) -> bool:
    if place == names.SCRIPT:
        return found == sha256(pages.plotly_script()).hexdigest()
    return any(row["sha256"] == found for row in here.store().office.rows("pages", page=place))
