"""The guard before every route: who asks, whether the door is open to them, and whether they meant to ask.

It stands before the body is read, so nobody without a right to send can make the service take in files.
"""

from asyncio import wait_for
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.routing import APIRoute
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.types import Message

from monitor.web import accounts, passwords, sessions
from monitor.web.accounts import Account
from monitor.web.doors import API, Door, door
from monitor.web.service import Service, Visitor, note

CSRF_FIELD, CSRF_HEADER = "csrf", "x-csrf-token"
_READING = frozenset({"GET", "HEAD"})
SIGN_IN = "/sign-in"
_NOT_OURS = "This form is too old, or was not sent from one of our own pages. Open it again."
_TOO_MUCH = {
    True: "This is more than the {:,.0f} MB that can be sent at once. Send fewer files at a time, or smaller ones.",
    False: "This is more than the {:,.0f} KB that a form takes. Shorten what is written in it.",
}
"""By whether the door is one of uploads."""

_Handler = Callable[[Request], Coroutine[Any, Any, Response]]


class SignInFirst(HTTPException):
    """Nobody is signed in where somebody must be."""

    def __init__(self, detail: str = "Sign in first.") -> None:
        super().__init__(401, detail, headers={"WWW-Authenticate": "Bearer"})


class GuardedRoute(APIRoute):
    """A route that asks the guard first; it can be made only where the table of doors has its line."""

    def __init__(self, path: str, endpoint: Callable[..., Any], **more: Any) -> None:
        more["include_in_schema"] = more.get("include_in_schema", True) and path.startswith(API)
        super().__init__(path, endpoint, **more)
        self.doors = {method: door(method, path) for method in self.methods or ()}

    def get_route_handler(self) -> _Handler:
        """The handler behind the guard."""
        handler = super().get_route_handler()

        async def guarded(request: Request) -> Response:
            here: Service = request.app.state.service
            opened = self.doors[request.method]
            if opened.without_session:
                request.state.visitor = Visitor(None, address_of(request))
            else:
                request.state.visitor = await run_in_threadpool(_who, here, request)
            await run_in_threadpool(_admit, here, request, opened)
            request = Request(request.scope, _limited(request, here, opened))
            if request.method not in _READING and not request.state.visitor.by_key:
                await _meant(here, request)
            return await handler(request)

        return guarded


def router() -> APIRouter:
    """A router all of whose routes are guarded."""
    return APIRouter(route_class=GuardedRoute)


def address_of(request: Request) -> str:
    """The address that the request came from (the proxy's word for it is taken only where the proxy is trusted)."""
    return request.client.host if request.client else ""


def _admit(here: Service, request: Request, opened: Door) -> None:
    """Let in who asks. Raises HTTPException where the door is not open to them."""
    visitor: Visitor = request.state.visitor
    if opened.roles is None:
        return
    if visitor.account is None:
        raise SignInFirst
    if visitor.account.role not in opened.roles:
        note(here, visitor, f"{request.method} {request.url.path}", "refused: not for this role")
        whose = " and ".join(sorted(opened.roles))
        raise HTTPException(403, f"This is not for the role {visitor.account.role}; it is for {whose}.")
    if opened.is_upload and not here.allowed(here.settings.uploads_by_account, "uploads", visitor.name):
        raise HTTPException(429, "That was many uploads in a short time. Wait a minute.", headers={"Retry-After": "60"})


def _who(here: Service, request: Request) -> Visitor:
    address = address_of(request)
    scheme, _, key = request.headers.get("authorization", "").partition(" ")
    if scheme.casefold() == "bearer":
        return Visitor(_by_key(here, address, key.strip()), address, by_key=True)
    account = sessions.account_of(request.session, here.store(), here.settings, here.now())
    return Visitor(account, address, sessions.token(request.session))


def _by_key(here: Service, address: str, key: str) -> Account:
    rate = here.settings.sign_in_failures_by_address
    if here.exceeded(rate, "address", address):
        raise too_many()
    account = accounts.by_key(here.store(), key)
    if account is None:
        here.allowed(rate, "address", address)
        note(here, Visitor(None, address), "personal key", "refused", what=passwords.split_key(key)[0])
        raise SignInFirst("This key opens nothing. Ask the office for a new one.")
    return account


def too_many() -> HTTPException:
    """The answer to too many failures to sign in."""
    return HTTPException(
        429, "Too many failures to sign in. Wait a quarter of an hour.", headers={"Retry-After": "900"}
    )


async def _meant(here: Service, request: Request) -> None:
    """Whether a change was asked for by one of the service's own pages: its origin, and the session's token.

    A page that sends no referrer sends its own forms with the origin 'null', so where the browser says itself that
    the request comes from the same origin, that counts; an origin that is named must be the service's own.
    """
    site, origin = request.headers.get("sec-fetch-site"), request.headers.get("origin")
    foreign = site not in (None, "same-origin") or (
        origin not in (None, "null") and origin not in here.settings.origins
    )
    if foreign:
        raise HTTPException(403, _NOT_OURS)
    given = request.headers.get(CSRF_HEADER)
    if given is None and not request.url.path.startswith(API):
        field = (await request.form()).get(CSRF_FIELD)
        given = field if isinstance(field, str) else None
    if not sessions.is_token(request.session, given or ""):
        raise HTTPException(403, _NOT_OURS)


def _limited(request: Request, here: Service, opened: Door) -> Callable[[], Awaitable[Message]]:
    """The request's body as it comes, cut off where it grows larger than this door takes."""
    most = here.settings.upload_bytes if opened.is_upload else here.settings.form_bytes
    said = request.headers.get("content-length", "")
    taken = int(said) if said.isdecimal() and int(said) > most else 0

    async def receive() -> Message:
        nonlocal taken
        try:
            message = await wait_for(request.receive(), here.settings.patience_seconds)
        except TimeoutError:
            raise HTTPException(408, "Nothing more came for a while. Send it again.") from None
        taken += len(message.get("body", b""))
        if taken > most:
            raise HTTPException(
                413, _TOO_MUCH[opened.is_upload].format(most / 2**20 if opened.is_upload else most / 2**10)
            )
        return message

    return receive
