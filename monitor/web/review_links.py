"""The links of one wall, for the office: which there are, who opened them, a new one, an end to one."""

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from monitor.errors import BowError, StoreError
from monitor.pipeline import keys, link_listing, links
from monitor.terms import LinkTo
from monitor.web import guard
from monitor.web.pages import page
from monitor.web.review_list import address
from monitor.web.review_wall import Text, day_of
from monitor.web.service import Asking, Here, Service, note
from monitor.web.taking import Asked

router = guard.router()
_OPENS = {
    LinkTo.HOMEOWNER: "the homeowner's page",
    LinkTo.HISTORY: "the history, for a sale",
    LinkTo.PACK: "the engineer's pack",
}


@router.get("/review/walls/{wall}/links")
def of_wall(request: Request, here: Here, wall: str) -> Response:
    """The links as they stand."""
    return _shown(request, here, wall, Asked())


@router.post("/review/walls/{wall}/links")
def make(
    request: Request,
    here: Here,
    asking: Asking,
    wall: str,
    opens: Text = "",
    until: Text = "",
    person: Text = "",
    why: Text = "",
) -> Response:
    """Make a link, and show its address this once."""
    asked = Asked("make", {"opens": opens, "until": until, "person": person, "why": why})
    try:
        if opens not in list(LinkTo):
            raise HTTPException(422, "What the link opens must be said. Choose one.")
        link, token = links.make(
            here.store(), wall, LinkTo(opens), who=asking.name, why=why, made_at=here.now(), today=here.today(),
            expires_on=day_of(until), person_id=person,
        )  # fmt: skip
    except StoreError:
        raise
    except (BowError, HTTPException) as error:
        problem = str(error.detail if isinstance(error, HTTPException) else error)
        return _shown(request, here, wall, Asked("make", asked.typed, problem=problem))
    note(here, asking, "link made", "done", what=f"{opens}, id {link.row['link_id']}", wall=keys.written(*link.key))
    new = f"{here.settings.public_url.rstrip('/')}/h/{token}/"
    return _shown(request, here, wall, Asked(), new=new)


@router.post("/review/links/{link}/end")
def end(request: Request, here: Here, asking: Asking, link: str, why: Text = "") -> Response:
    """End a link for good."""
    store = here.store()
    found = links.find(store, link)
    wall = keys.written(*found.key)
    try:
        links.end(store, found, who=asking.name, why=why, made_at=here.now())
    except StoreError:
        raise
    except BowError as error:
        return _shown(request, here, wall, Asked("end", {"why": why}, problem=str(error)))
    note(here, asking, "link ended", "done", what=f"id {found.row['link_id']}: {why}", wall=wall)
    return RedirectResponse(f"{address(wall)}/links", 303)


def _shown(request: Request, here: Service, wall: str, asked: Asked, *, new: str = "") -> Response:
    store = here.store()
    key = keys.registered(store, wall)
    written = keys.written(*key)
    found = links.every(store, written)[::-1]
    listed = link_listing.listing(store, found, here.today())
    return page(
        request,
        "review_links.html",
        status=asked.status,
        title=f"Links to {written}",
        wall=written,
        rows=[dict(zip(listed.headers, row, strict=True)) for row in listed.rows],
        openings={link.row["link_id"]: links.openings(store, link)[::-1] for link in found},
        standing={link.row["link_id"] for link in found if not link.ended},
        kinds=[(kind.value, words) for kind, words in _OPENS.items()],
        usual={kind.value: links.usual_expiry(store, key, kind, here.today()) for kind in LinkTo},
        asked=asked,
        new=new,
        back=address(written),
        today=here.today(),
    )
