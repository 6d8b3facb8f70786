"""The doors without an account: pages by link, and whether a page's number is on record.

A link that ended, expired or never was answers alike, byte for byte and with one status, so that nothing is learnt by
guessing. Whoever guesses often is no longer answered. No cookie is set here.
"""

from collections.abc import Sequence
from typing import Annotated

from fastapi import Query, Request
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from monitor.errors import NotFoundError
from monitor.pipeline import linked_pages, links, page_proof, proof_words
from monitor.pipeline.linked_pages import FIRST_PLACE
from monitor.report.language import FIRST, codes
from monitor.store import Store
from monitor.terms import Opened
from monitor.web import guard, made
from monitor.web.pages import page
from monitor.web.service import Asking, Here, Service, Visitor, note
from monitor.web.written import KINDS, policy

router = guard.router()
_ROBOTS = {"X-Robots-Tag": "noindex, nofollow, noarchive"}
_TOO_OFTEN = "That was often in a short time. Wait a few minutes."
_ONCE = "1 per 15 minute"


@router.get("/h/{token}")
def first(token: str) -> Response:
    """The address of a link with its last stroke left out."""
    if not links.TOKEN.fullmatch(token):
        raise HTTPException(404, "There is no such page.")
    return RedirectResponse(f"/h/{token}/", 308)


@router.get("/h/{token}/{place:path}")
def by_link(here: Here, asking: Asking, token: str, place: str) -> Response:
    """A page by link, or the neutral page."""
    store = here.store()
    link = links.by_token(store, token)
    if link is None:
        return _guessed(here, store, asking, place)
    result = link.opens_on(here.today())
    if result is Opened.SHOWN:
        try:
            edition, content = made.of_wall(here, store, link.key)
        except NotFoundError:
            result = Opened.NOTHING_YET
        else:
            shown = linked_pages.at(store, edition, content, link, place or FIRST_PLACE, shown_at=here.now())
            if shown:
                if shown.ending in ("html", "zip"):
                    links.opened(store, link, result, here.now())
                return _answer(shown.data, shown.ending)
            return _nothing(store, place)
    links.opened(store, link, result, here.now())
    return _nothing(store, place)


@router.get("/check")
def check(request: Request, here: Here, asking: Asking, number: Annotated[str, Query(max_length=60)] = "") -> Response:
    """Whether a page with this number is on record, and whether another took its place; nothing about whose it is."""
    lines: Sequence[str] = ()
    if number.strip():
        if not here.allowed(here.settings.checks_by_address, "check", asking.address):
            raise HTTPException(429, _TOO_OFTEN, headers={"Retry-After": "300"})
        try:
            lines = proof_words.for_anybody(page_proof.of_number(here.store(), number))
        except NotFoundError as error:
            lines = [str(error)]
    company = here.store().office.company()
    return page(
        request, "check.html", headers=_ROBOTS, title="Is this page on record?", number=number, lines=lines,
        company=company.get("name") or "the company", contact=company.get("contact") or "",
    )  # fmt: skip


def _guessed(here: Service, store: Store, asking: Visitor, place: str) -> Response:
    if not here.allowed(here.settings.unknown_links_by_address, "link", asking.address):
        if here.allowed(_ONCE, "noted", "link", asking.address):
            note(here, asking, "link", "refused: too many that open nothing")
        raise HTTPException(429, _TOO_OFTEN, headers={"Retry-After": "300"})
    return _nothing(store, place)


def _nothing(store: Store, place: str) -> Response:
    code = place.partition(".")[0]
    data = linked_pages.nothing(store.office.company(), code if code in codes() else FIRST)
    return _answer(data, "html", 404)


def _answer(data: bytes, ending: str, status: int = 200) -> Response:
    headers = dict(_ROBOTS)
    if ending == "html":
        headers["Content-Security-Policy"] = policy(data)
    if ending == "zip":
        headers["Content-Disposition"] = f'attachment; filename="{linked_pages.PACK}"'
    return Response(data, status, headers, KINDS[ending])
