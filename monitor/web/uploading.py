"""Sending files in by browser: choose, see what they would do, confirm, and read the answer."""

from typing import Annotated

from fastapi import File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from monitor.pipeline.answers import CHANGED, STORED
from monitor.pipeline.uploads import Said
from monitor.web import guard, receiving
from monitor.web.pages import page
from monitor.web.service import Asking, Here

router = guard.router()
_Said = Annotated[str, Form(max_length=100)]
_TITLES = {
    "previewed": "Look, then store it",
    "changed": "Something has changed: look again",
    "stored": "It is in",
}


@router.get("/uploads")
def choose(request: Request, here: Here) -> Response:
    """The form to choose files by."""
    most = here.settings.upload_bytes // 2**20
    return page(request, "upload.html", title="Send readings and photos", most_mb=most)


@router.post("/uploads")
def preview(
    here: Here,
    asking: Asking,
    files: Annotated[list[UploadFile], File()],
    wall: _Said = "",
    visit: _Said = "",
    mark: _Said = "",
) -> Response:
    """Judge the files; the answer is a page of its own that can be loaded again."""
    said = Said(wall.strip(), visit.strip(), mark.strip())
    return RedirectResponse(f"/uploads/{receiving.preview(here, asking, files, said).upload_id}", 303)


@router.get("/uploads/{upload}")
def answer(request: Request, here: Here, asking: Asking, upload: str) -> Response:
    """What the upload would do, or has done."""
    found = receiving.find(here, asking, upload)
    title = _TITLES[found.state] if found.adds or found.state == STORED else "Nothing to store"
    return page(request, "upload_answer.html", title=title, upload=found)


@router.post("/uploads/{upload}/confirm")
def confirm(request: Request, here: Here, asking: Asking, upload: str) -> Response:
    """Store what was shown."""
    found = receiving.confirm(here, asking, upload)
    if found.state == CHANGED:
        return page(request, "upload_answer.html", status=409, title=_TITLES[found.state], upload=found)
    return RedirectResponse(f"/uploads/{upload}", 303)


@router.get("/uploads/{upload}/mend/{name}")
def mend(here: Here, asking: Asking, upload: str, name: str) -> Response:
    """A mend sheet, to be put right and sent."""
    return mend_response(receiving.mend_sheet(here, asking, upload, name), name)


def mend_response(sheet: bytes, name: str) -> Response:
    """A mend sheet as a file to save."""
    headers = {"Content-Disposition": f'attachment; filename="mend-{name}"'}
    return Response(sheet, media_type="text/csv; charset=utf-8", headers=headers)
