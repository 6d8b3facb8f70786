"""Sending files in by script: the same as the pages do, as JSON."""

from typing import Annotated, Any

from fastapi import File, Form, Path, Request, UploadFile
from fastapi.responses import JSONResponse, Response

from monitor.pipeline.answers import CHANGED, Upload
from monitor.pipeline.uploads import Said
from monitor.web import guard, receiving
from monitor.web.problems import Problem
from monitor.web.service import Asking, Here
from monitor.web.upload_models import UploadAnswer
from monitor.web.uploading import mend_response

router = guard.router()
_Id = Annotated[str, Path(description="id that the preview gave", pattern="^[0-9a-f]{32}$", examples=["0" * 32])]
_SHEET = {"text/csv": {"schema": {"type": "string"}}}


def _problems(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The problems that a route may answer, beside those of every route."""
    return {status: {"model": Problem, "description": _WHEN[status]} for status in (401, 403, 429, *statuses)}


_WHEN = {
    400: "the request cannot be read",
    401: "no key, or one that opens nothing",
    403: "not for this role",
    404: "no such upload of this account, or its day is over",
    409: "what the store knows changed after the preview; nothing is stored, and this is a new preview to confirm",
    413: "more or larger files than are taken at once",
    422: "no file, or one that cannot be told",
    429: "too many requests in a short time",
    503: "the store cannot be used; nothing was acknowledged",
}


@router.post(
    "/api/uploads",
    response_model=UploadAnswer,
    responses=_problems(400, 413, 422, 503),
    summary="See what files would do",
    tags=["uploads"],
)
def preview_upload(
    here: Here,
    asking: Asking,
    files: Annotated[
        list[UploadFile],
        File(
            min_length=1,
            description="CSV or XLSX files of readings or of the register, field sheets' files (JSON), or photos "
            "(JPEG, PNG), which are tied to the readings that name them",
        ),
    ],
    wall: Annotated[
        str, Form(max_length=100, description="what the photos show where no reading names them: wall, house-wall")
    ] = "",
    visit: Annotated[str, Form(max_length=100, description="and the day of the visit, like 2026-05-31")] = "",
    mark: Annotated[str, Form(max_length=100, description="and the mark")] = "",
) -> Upload:
    """Judge the files as if they came one after the other, the register's first, and store nothing.

    A file that cannot be taken in says so in its `problem`. The same files are the same upload: asking again is
    harmless.
    """
    return receiving.preview(here, asking, files, Said(wall.strip(), visit.strip(), mark.strip()))


@router.post(
    "/api/uploads/{upload}/confirm",
    response_model=UploadAnswer,
    responses=_problems(404, 422, 503) | {409: {"model": UploadAnswer, "description": _WHEN[409]}},
    summary="Store what was previewed",
    tags=["uploads"],
)
def confirm_upload(here: Here, asking: Asking, upload: _Id) -> Upload | Response:
    """Store exactly what the preview told. The answer comes when it is on the disk; confirming twice is harmless."""
    found = receiving.confirm(here, asking, upload)
    if found.state == CHANGED:
        return JSONResponse(UploadAnswer.model_validate(found).model_dump(mode="json"), 409)
    return found


@router.get(
    "/api/uploads/{upload}",
    response_model=UploadAnswer,
    responses=_problems(404, 422, 503),
    summary="The answer to an upload, again",
    tags=["uploads"],
)
def find_upload(here: Here, asking: Asking, upload: _Id) -> Upload:
    """The answer of the preview, or of confirming; for a day."""
    return receiving.find(here, asking, upload)


@router.get(
    "/api/uploads/{upload}/mend/{name}",
    response_class=Response,
    responses=_problems(404, 422, 503) | {200: {"content": _SHEET, "description": "the failing rows alone, as CSV"}},
    summary="A mend sheet",
    tags=["uploads"],
)
def mend_sheet(
    here: Here,
    asking: Asking,
    upload: _Id,
    name: Annotated[
        str, Path(description="name that the answer gives", pattern=r"^[0-9]{1,4}\.csv$", examples=["0.csv"])
    ],
) -> Response:
    """The failing rows of a table as received, each with what is wrong and the mend: put them right and send that."""
    return mend_response(receiving.mend_sheet(here, asking, upload, name), name)


@router.get("/api/openapi.json", include_in_schema=False)
def document(request: Request) -> JSONResponse:
    """The OpenAPI document of this interface."""
    return JSONResponse(request.app.openapi())
