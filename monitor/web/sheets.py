"""Field sheets by browser: made as of now, to open on the spot or to save on the phone for where no signal is."""

from datetime import date
from typing import Annotated, Any

from fastapi import Query, Request
from fastapi.responses import HTMLResponse, Response

from monitor.pipeline import assessing, field_sheets
from monitor.report import pages
from monitor.web import guard
from monitor.web.pages import page
from monitor.web.service import Here

router = guard.router()
_MOST = 12


@router.get("/field-sheets")
def choose(request: Request, here: Here) -> Response:
    """The form to ask for a sheet by."""
    return page(request, "field_sheets.html", title="Field sheets", day=here.today(), most=_MOST)


@router.get("/field-sheets/sheet")
def sheet(
    request: Request,
    here: Here,
    day: date,
    walls: Annotated[str, Query(max_length=2000)] = "",
    blind: bool = False,
    save: bool = False,
) -> Response:
    """The sheet of those walls (separated by spaces or commas), of the day's route where none is named.

    save: as a file to keep on the phone.
    """
    store = here.store()
    named = walls.replace(",", " ").split()
    assessment = assessing.newest(store) if not named or store.assessments() else None
    made = field_sheets.field_sheet(
        store,
        named or (field_sheets.route(assessment, day, _MOST) if assessment else []),
        day=day,
        known_on=here.now(),
        assessment=assessment,
        upload_to="" if save else "/api/uploads",
        blind=blind,
    )
    headers: dict[str, str] = {}
    more: dict[str, Any] = {"nonce": request.state.nonce}
    if save:
        name = made.walls[0].key if len(made.walls) == 1 else f"{len(made.walls)}-walls"
        headers["Content-Disposition"] = f'attachment; filename="field-sheet_{day}_{name}.html"'
        more = {}
    return HTMLResponse(pages.field_sheet(made, **more), headers=headers)
