"""Signing in and out, and the page everybody starts at."""

from typing import Annotated

from fastapi import Form, Query, Request
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from monitor.web import accounts, guard, sessions
from monitor.web.guard import SIGN_IN
from monitor.web.pages import page
from monitor.web.service import Asking, Here, Service, Visitor, note

router = guard.router()
_ONCE = "1 per 15 minute"
CHANGED = "password"
_DONE = {CHANGED: "Your password is changed. Sign in with the new one."}
_WRONG = "No open account has this name and password. After many failures signing in waits for a quarter of an hour."


@router.get(SIGN_IN)
def sign_in_form(request: Request, asking: Asking, done: Annotated[str, Query(max_length=20)] = "") -> Response:
    """The form to sign in by."""
    if asking.account:
        return RedirectResponse("/", 303)
    return page(request, "sign_in.html", title="Sign in", said=_DONE.get(done, ""), wrong="", name="")


@router.post(SIGN_IN)
def sign_in(
    request: Request,
    here: Here,
    asking: Asking,
    name: Annotated[str, Form(max_length=100)],
    password: Annotated[str, Form(max_length=1000)],
) -> Response:
    """Begin a session, or say that name and password do not open one."""
    not_too_many(here, asking, name)
    account = accounts.by_password(here.store(), name, password)
    if account is None:
        failed(here, asking, name)
        note(here, asking, "sign in", "refused", what=name)
        return page(request, "sign_in.html", status=401, title="Sign in", said="", wrong=_WRONG, name=name)
    sessions.begin(request.session, account, here.now())
    note(here, Visitor(account, asking.address), "sign in", "done")
    return RedirectResponse("/", 303)


def failed(here: Service, asking: Visitor, name: str) -> None:
    """Count a wrong password, against the address that it came from and the account that it was meant for."""
    here.allowed(here.settings.sign_in_failures_by_address, "address", asking.address)
    here.allowed(here.settings.sign_in_failures_by_account, "account", name.strip().casefold())


def not_too_many(here: Service, asking: Visitor, name: str) -> None:
    """Raises HTTPException 429 where too many wrong passwords came from this address or for this account."""
    settings = here.settings
    by_address = here.exceeded(settings.sign_in_failures_by_address, "address", asking.address)
    if by_address or here.exceeded(settings.sign_in_failures_by_account, "account", name.strip().casefold()):
        if here.allowed(_ONCE, "noted", asking.address, name):  # else whoever hammers at the door fills the record
            note(here, asking, "sign in", "refused: too many failures", what=name)
        raise guard.too_many()


@router.post("/sign-out")
def sign_out(request: Request, here: Here, asking: Asking) -> Response:
    """End the session for good."""
    if asking.by_key:
        raise HTTPException(400, "A personal key has no session to end.")
    sessions.end(request.session, here.store(), here.now())
    note(here, asking, "sign out", "done")
    return RedirectResponse(SIGN_IN, 303)


@router.get("/")
def start(request: Request, asking: Asking) -> Response:
    """Where everybody starts: what this role comes for."""
    assert asking.account is not None
    return page(request, "start.html", title="Start", role=asking.account.role)


@router.get("/favicon.ico")
def no_icon() -> Response:
    """There is none, and browsers that ask are told so without an error."""
    return Response(status_code=204, headers={"Cache-Control": "public, max-age=86400"})


@router.get("/api/session", include_in_schema=False)
def session(asking: Asking) -> dict[str, str]:
    """Who is signed in, and the token that a page open since before has to send with what it changes."""
    assert asking.account is not None
    return {"account": asking.name, "role": asking.account.role, "csrf": asking.csrf}


@router.get("/audit")
def audit_page(request: Request, here: Here) -> Response:
    """The newest rows of the audit."""
    rows = here.store().office.rows("audit")[-300:][::-1]
    return page(request, "audit.html", title="Who did what", rows=rows)
