"""The app, made of its rooms."""

from functools import cache
from pathlib import Path

from fastapi import FastAPI
from starlette.middleware import Middleware
from starlette.middleware.sessions import SessionMiddleware

from monitor.web import (
    assessing_again,
    linked,
    made,
    own_password,
    problems,
    review_links,
    review_list,
    review_reading,
    review_wall,
    sheets,
    signing_in,
    upload_api,
    uploading,
    written,
)
from monitor.web.document import document
from monitor.web.headers import SecurityHeaders
from monitor.web.service import Clock, Service
from monitor.web.settings import WebSettings

ROOMS = (
    signing_in,
    own_password,
    review_list,
    review_reading,
    review_wall,
    review_links,
    assessing_again,
    sheets,
    uploading,
    upload_api,
    made,
    written,
    linked,
)
"""Modules with a `router` of guarded routes."""


def make_app(store_root: Path, settings: WebSettings, clock: Clock) -> FastAPI:
    """The service over one store. clock: the time now, UTC."""
    cookie = "__Host-wallbow" if settings.over_tls else "wallbow"
    app = FastAPI(
        title="wallbow",
        openapi_url=None,  # the document is one of the guarded routes
        redirect_slashes=False,
        middleware=[
            Middleware(SecurityHeaders, hosts=settings.hosts, over_tls=settings.over_tls),
            Middleware(
                SessionMiddleware,
                secret_key=settings.secret,
                session_cookie=cookie,
                max_age=None,
                same_site="lax",
                https_only=settings.over_tls,
            ),
        ],
    )
    app.state.service = Service(store_root, settings, clock)
    for room in ROOMS:
        app.include_router(room.router)
    problems.add_to(app)
    # FastAPI documents that its document is replaced so
    app.openapi = cache(lambda: document(app.routes))  # type: ignore[method-assign]
    return app
