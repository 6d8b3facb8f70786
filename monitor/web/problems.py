"""What goes wrong, told in one shape: problem details (RFC 9457) to scripts, a page with the same words to people."""

from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException

from monitor.errors import BowError, NotFoundError, StoreError
from monitor.pipeline.who import RulingError
from monitor.web.doors import API
from monitor.web.guard import SIGN_IN, SignInFirst
from monitor.web.pages import page

JSON = "application/problem+json"
_TITLES = {
    400: "This cannot be read",
    401: "Sign in first",
    403: "Not allowed",
    404: "Not found",
    405: "Not done this way",
    408: "Too slow",
    409: "Something has changed meanwhile",
    413: "Too large",
    422: "Not taken",
    429: "Too much at once",
    500: "A fault of the program",
    503: "The store cannot be used",
}

_PLAIN = {
    400: "This cannot be read as it was sent.",
    404: "There is no such page. Look whether the address is whole.",
    405: "This address is not used that way.",
}
"""In place of the bare name of a status, where nobody said more."""


class Problem(BaseModel):
    """What went wrong (RFC 9457)."""

    title: str = Field(description="what kind of problem it is", examples=["Not taken"])
    status: int = Field(description="the HTTP status", examples=[422])
    detail: str = Field(description="what is wrong, and the mend", examples=["The file is empty."])
    instance: str = Field(description="the path that was asked for", examples=["/api/uploads"])


def add_to(app: FastAPI) -> None:
    """Let every error of the app be told this way."""

    async def http(request: Request, error: HTTPException) -> Response:
        by_hand = request.method == "GET" and not request.url.path.startswith(API)
        if isinstance(error, SignInFirst) and by_hand and "authorization" not in request.headers:
            return RedirectResponse(SIGN_IN, 303)
        said = error.detail if error.detail != HTTPStatus(error.status_code).phrase else _PLAIN[error.status_code]
        return told(request, error.status_code, said, dict(error.headers or {}))

    async def own(request: Request, error: BowError) -> Response:
        return told(request, status_of(error), str(error))

    async def unreadable(request: Request, error: RequestValidationError) -> Response:
        return told(request, 422, _unreadable(error.errors()[0]))

    async def fault(request: Request, error: Exception) -> Response:
        del error  # the server's log has it; nobody outside needs to
        return told(request, 500, "The program failed, and nothing of this request was acknowledged. Tell the office.")

    app.add_exception_handler(HTTPException, http)  # type: ignore[arg-type]
    app.add_exception_handler(BowError, own)  # type: ignore[arg-type]
    app.add_exception_handler(RequestValidationError, unreadable)  # type: ignore[arg-type]
    app.add_exception_handler(Exception, fault)


def _unreadable(first: dict[str, Any]) -> str:
    """What is wrong with the first thing that was asked for wrongly, by the name of its field."""
    name, kind = str(first["loc"][-1]), str(first["type"])
    if kind == "missing":
        return f"'{name}' is missing. Fill it in, and send it again."
    if kind.startswith("date"):
        return f"'{first['input']}' is no {name}. Write it like 2026-05-31."
    if kind == "string_too_long":
        return f"'{name}' is too long. At most {first['ctx']['max_length']:,} signs are taken."
    return f"'{name}' cannot be read as it was sent ({first['msg']})."


def status_of(error: BowError) -> int:
    """The HTTP status of an error of this package."""
    if isinstance(error, NotFoundError):
        return 404
    if isinstance(error, StoreError):
        return 503
    return 409 if isinstance(error, RulingError) else 422


def told(request: Request, status: int, detail: str, headers: dict[str, str] | None = None) -> Response:
    """The problem, as a page or as problem details."""
    title = _TITLES.get(status, "Not done")
    if request.url.path.startswith(API):
        problem = Problem(title=title, status=status, detail=detail, instance=request.url.path)
        return JSONResponse(problem.model_dump(), status, headers, JSON)
    return page(request, "problem.html", status=status, headers=headers, title=title, detail=detail)
