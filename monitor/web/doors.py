"""Who may open which door: the one table of all routes. A route that does not stand here cannot be made.

Every role that may read may not therefore change: each method of a path has its own line.
"""

from collections.abc import Mapping

from monitor import terms
from monitor.records import dataclass
from monitor.terms import Role

TECHNICIAN, OFFICE, ENGINEER = Role.TECHNICIAN, Role.OFFICE, Role.ENGINEER
STAFF = frozenset(terms.STAFF)
READERS = frozenset({OFFICE, ENGINEER})
UPLOADERS = frozenset({TECHNICIAN, OFFICE})
DESK = frozenset(terms.DESK)


@dataclass(frozen=True)
class Door:
    """roles: who may come in; None: anybody (the sign-in page, no icon, pages by link, a page's number).

    is_upload: takes files, so the body may be large and the rate of uploads counts. without_session: no cookie is
    read or set.
    """

    roles: frozenset[Role] | None
    is_upload: bool = False
    without_session: bool = False


DOORS: Mapping[str, Door] = {
    "GET /sign-in": Door(None),
    "POST /sign-in": Door(None),
    "GET /favicon.ico": Door(None, without_session=True),
    "GET /h/{token}": Door(None, without_session=True),
    "GET /h/{token}/{place:path}": Door(None, without_session=True),
    "GET /check": Door(None, without_session=True),
    "POST /sign-out": Door(STAFF),
    "GET /": Door(STAFF),
    "GET /password": Door(STAFF),
    "POST /password": Door(STAFF),
    "GET /audit": Door(DESK),
    "GET /pages": Door(READERS),
    "GET /pages/{place:path}": Door(READERS),
    "GET /review": Door(READERS),
    "GET /review/plan": Door(READERS),
    "GET /review/assess": Door(DESK),
    "POST /review/assess": Door(DESK),
    "GET /review/walls/{wall}": Door(READERS),
    "GET /review/walls/{wall}/pack": Door(READERS),
    "GET /review/walls/{wall}/links": Door(DESK),
    "POST /review/walls/{wall}/links": Door(DESK),
    "POST /review/links/{link}/end": Door(DESK),
    "POST /review/walls/{wall}/decide": Door(DESK),
    "POST /review/walls/{wall}/rulings": Door(DESK),
    "POST /review/walls/{wall}/acknowledge": Door(DESK),
    "GET /review/readings/{reading}": Door(READERS),
    "POST /review/readings/{reading}": Door(DESK),
    "GET /uploads": Door(UPLOADERS),
    "POST /uploads": Door(UPLOADERS, is_upload=True),
    "GET /uploads/{upload}": Door(UPLOADERS),
    "POST /uploads/{upload}/confirm": Door(UPLOADERS),
    "GET /uploads/{upload}/mend/{name}": Door(UPLOADERS),
    "GET /field-sheets": Door(UPLOADERS),
    "GET /field-sheets/sheet": Door(UPLOADERS),
    "GET /api/session": Door(STAFF),
    "POST /api/uploads": Door(UPLOADERS, is_upload=True),
    "POST /api/uploads/{upload}/confirm": Door(UPLOADERS),
    "GET /api/uploads/{upload}": Door(UPLOADERS),
    "GET /api/uploads/{upload}/mend/{name}": Door(UPLOADERS),
    "GET /api/openapi.json": Door(STAFF),
}
"""By method and path as the route is written."""

API = "/api/"
"""Paths below it answer scripts: JSON, problems as RFC 9457 has them, a personal key or a session with its token."""


def door(method: str, path: str) -> Door:
    """The door of a route. KeyError, when the app is made, where none is declared."""
    return DOORS[f"{method} {path}"]
