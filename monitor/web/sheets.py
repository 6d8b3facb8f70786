"""Field sheets and as-built sheets, made as of now, to open on the spot or to save for where no signal is."""

from datetime import date
from typing import Annotated, Any

from fastapi import Query, Request
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from monitor.errors import NotFoundError
from monitor.pipeline import assessing, field_sheets
from monitor.report import pages
from monitor.web import guard
from monitor.web.pages import page
from monitor.web.service import Here

router = guard.router()
_MOST = 12
_NO_LIST = "The walls were not assessed yet, so nothing says which are due. Name those that you visit."
_ONE_WALL = "A sheet for the day of a reinforcement is of one wall. Name that wall, house-wall: DH-01-N."


@router.get("/field-sheets")
def choose(request: Request, here: Here) -> Response:
    """The form to ask for a sheet by, and the walls that are due today."""
    store, day = here.store(), here.today()
    try:
        due, why_none = (
            field_sheets.route(assessing.newest(store, tables=("plan",)), day, _MOST) if store.assessments() else [],
            _NO_LIST,
        )
    except NotFoundError as error:
        due, why_none = [], str(error)
    return page(request, "field_sheets.html", title="Field sheets", day=day, most=_MOST, due=due, why_none=why_none)


@router.get("/field-sheets/sheet")
def sheet(
    request: Request,
    here: Here,
    day: date,
    walls: Annotated[str, Query(max_length=2000)] = "",
    blind: bool = False,
    work: bool = False,
    save: bool = False,
) -> Response:
    """The sheet of those walls (separated by spaces or commas), of the day's route where none is named.

    work: the as-built sheet of the day of a reinforcement, of one wall. save: as a file to keep on the phone.
    """
    store = here.store()
    named = walls.replace(",", " ").split()
    if work and len(named) != 1:
        raise HTTPException(422, _ONE_WALL)
    assessment = (
        assessing.newest(store, tables=() if named else ("plan",)) if not named or store.assessments() else None
    )
    told: dict[str, Any] = {
        "day": day,
        "known_on": here.now(),
        "assessment": assessment,
        "upload_to": "" if save else "/api/uploads",
    }
    if work:
        made = field_sheets.as_built_sheet(store, named[0], **told)
    else:
        route = named or (field_sheets.route(assessment, day, _MOST) if assessment else [])
        made = field_sheets.field_sheet(store, route, blind=blind, **told)
    headers: dict[str, str] = {}
    more: dict[str, Any] = {"nonce": request.state.nonce}
    if save:
        keys = sorted({wall.key for wall in made.walls})
        name = keys[0] if len(keys) == 1 else f"{len(keys)}-walls"
        kind = "as-built-sheet" if work else "field-sheet"
        headers["Content-Disposition"] = f'attachment; filename="{kind}_{day}_{name}.html"'
        more = {}
    return HTMLResponse(pages.field_sheet(made, **more), headers=headers)
