"""Files received with a request, and what both doors of uploads do with them: judge, tell, store, put on record."""

from collections.abc import Collection, Sequence
from typing import Any

from fastapi import UploadFile
from starlette.exceptions import HTTPException

from monitor.pipeline import uploads
from monitor.pipeline.answers import STORED, Upload
from monitor.pipeline.uploads import Said, Sent
from monitor.store import Store
from monitor.terms import Role
from monitor.web.service import Service, Visitor, note


def preview(here: Service, asking: Visitor, received: Sequence[UploadFile], said: Said) -> Upload:
    """The answer that confirming would give, with nothing stored. Raises HTTPException 413, IntakeError."""
    if len(received) > here.settings.upload_files:
        raise HTTPException(413, f"These are {len(received)} files; send at most {here.settings.upload_files} at once.")
    sent = [Sent(uploads.named(file.filename or ""), file.file.read()) for file in received]
    sent = [file for file in sent if file.data or file.name != "unnamed"]  # a form with no file chosen sends one empty
    store = here.store()
    with store.office.held_open():
        upload = uploads.preview(store, sent, said=said, **_asked(here, asking, store))
        note(here, asking, "upload preview", upload.says, what=upload.upload_id, store=store)
    return upload


def _asked(here: Service, asking: Visitor, store: Store) -> dict[str, Any]:
    """Who asks, when, and what bears on it, as previews and confirmings take it."""
    return {
        "account": asking.name,
        "at": here.now(store),
        "today": here.today(),
        "may": _may(asking),
        "looks": here.looks,
    }


def confirm(here: Service, asking: Visitor, upload_id: str) -> Upload:
    """The upload stored, or told anew where the store's knowledge changed. Raises NotFoundError."""
    store = here.store()
    with store.office.held_open():
        upload = uploads.confirm(store, upload_id, **_asked(here, asking, store))
        walls = " ".join(wall.wall for wall in upload.walls)
        said = upload.says if upload.state == STORED else f"not stored, changed since the preview: {upload.says}"
        note(here, asking, "upload confirm", said, what=upload_id, wall=walls, store=store)
    return upload


def _may(asking: Visitor) -> Collection[str]:
    """The tables that this role sends: what is set up once is the office's."""
    is_office = asking.account is not None and asking.account.role is Role.OFFICE
    return uploads.EVERYTHING if is_office else uploads.OF_A_VISIT


def find(here: Service, asking: Visitor, upload_id: str) -> Upload:
    """An upload of this account. Raises NotFoundError."""
    return uploads.find(here.store(), upload_id, account=asking.name, at=here.now())


def mend_sheet(here: Service, asking: Visitor, upload_id: str, name: str) -> bytes:
    """A mend sheet of an upload. Raises NotFoundError."""
    return uploads.mend_sheet(here.store(), upload_id, name, account=asking.name, at=here.now())
