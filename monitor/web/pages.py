"""Templates to answers, in the look of the reports: web.html extends the reports' base.html."""

from functools import cache
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

from monitor.report.pages import WORDS
from monitor.terms import Role
from monitor.web.doors import DOORS
from monitor.web.service import Visitor

_NAVIGATION = (
    ("Start", "/"),
    ("Monthly list", "/review"),
    ("Visit plan", "/review/plan"),
    ("Field sheets", "/field-sheets"),
    ("Send readings", "/uploads"),
    ("Pages", "/pages"),
    ("Audit", "/audit"),
)
"""Pages linked from every page, those only that the visitor's role may open."""


def page(
    request: Request, template: str, *, status: int = 200, headers: dict[str, str] | None = None, **context: Any
) -> HTMLResponse:
    """A page of the service; `title` is asked for, and all templates know visitor, csrf, nonce and navigation."""
    visitor = getattr(request.state, "visitor", None) or Visitor(None, "")
    body = (
        _environment()
        .get_template(template)
        .render(
            context
            | {
                "visitor": visitor,
                "csrf": visitor.csrf,
                "nonce": request.state.nonce,
                "navigation": _navigation(visitor.account.role if visitor.account else None),
                "here": request.url.path,
            }
        )
    )
    return HTMLResponse(body, status, headers)


def _navigation(role: Role | None) -> list[tuple[str, str]]:
    return [(word, path) for word, path in _NAVIGATION if role in (DOORS[f"GET {path}"].roles or ())]


@cache
def _environment() -> Environment:
    loaders = [PackageLoader("monitor", "web/templates"), PackageLoader("monitor", "report/templates")]
    environment = Environment(
        loader=ChoiceLoader(loaders), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.globals |= WORDS
    return environment
