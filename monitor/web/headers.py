"""Headers of every answer: nothing from outside, no script or style but the page's own, no frame, no copy kept.

And of every request the Host: a name that nobody reaches the service by is one that somebody else's page made up.
"""

import secrets
from collections.abc import Collection

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send


def policy(nonce: str) -> str:
    """The content security policy of a page: script and style bear the nonce of this one answer."""
    return (
        f"default-src 'none'; script-src 'nonce-{nonce}'; style-src 'nonce-{nonce}'; img-src 'self' data:; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    )


class SecurityHeaders:
    """Adds the headers that an answer does not set itself, and makes the nonce (request.state.nonce)."""

    def __init__(self, app: ASGIApp, *, hosts: Collection[str], over_tls: bool) -> None:
        self.app = app
        self.hosts = hosts
        self.over_tls = over_tls

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        nonce = secrets.token_urlsafe(16)
        scope.setdefault("state", {})["nonce"] = nonce

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers(nonce).items():
                    headers.setdefault(name, value)
            await send(message)

        known = Headers(scope=scope).get("host", "").casefold() in self.hosts
        answer = self.app if known else PlainTextResponse("Nobody reaches this service by that name.", 400)
        await answer(scope, receive, with_headers)

    def _headers(self, nonce: str) -> dict[str, str]:
        found = {
            "Content-Security-Policy": policy(nonce),
            "X-Content-Type-Options": "nosniff",
            "Referrer-Policy": "no-referrer",
            "X-Frame-Options": "DENY",
            "Cache-Control": "no-store",
            "Cross-Origin-Opener-Policy": "same-origin",
            "Cross-Origin-Resource-Policy": "same-origin",
            "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
        }
        return found | ({"Strict-Transport-Security": "max-age=31536000"} if self.over_tls else {})
