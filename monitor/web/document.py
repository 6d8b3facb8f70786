"""The OpenAPI document: what FastAPI makes of the routes, with what the table of doors says of each."""

from collections.abc import Sequence
from typing import Any

from fastapi.openapi.utils import get_openapi
from starlette.routing import BaseRoute

from monitor import __version__
from monitor.web.doors import DOORS
from monitor.web.problems import JSON, Problem

_ABOUT = (
    "Readings of basement walls in, and what became of each. Send a personal key with every request. Problems come as "
    "RFC 9457 has them. A flag is not a structural assessment, and neither is its absence: only a licensed engineer "
    "who has seen the wall can judge it, and local codes apply."
)
_KEY = {"personalKey": {"type": "http", "scheme": "bearer", "description": "made by `wallbow account new-key`"}}


def document(routes: Sequence[BaseRoute]) -> dict[str, Any]:
    """The document of the routes that are in the schema; each says which roles may ask."""
    found = get_openapi(title="wallbow", version=__version__, description=_ABOUT, routes=routes)
    found.setdefault("components", {})["securitySchemes"] = _KEY
    for path, operations in found["paths"].items():
        for method, operation in operations.items():
            roles = DOORS[f"{method.upper()} {path}"].roles or ()
            operation["security"] = [{"personalKey": []}]
            operation["description"] += f"\n\nFor: {', '.join(sorted(roles))}."
            for answer in operation["responses"].values():
                _as_problem(answer)
    return found


def _as_problem(answer: dict[str, Any]) -> None:
    """Let a problem have its own media type, where the model alone would make it plain JSON."""
    told = answer.get("content", {}).get("application/json", {})
    if told.get("schema", {}).get("$ref", "").endswith(f"/{Problem.__name__}"):
        answer["content"] = {JSON: told}
