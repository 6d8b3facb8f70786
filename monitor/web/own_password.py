"""Changing one's own password: the one before is asked for, and every session begun with it ends, this one too."""

from typing import Annotated

from fastapi import Form, Request
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from monitor.web import accounts, guard
from monitor.web.guard import SIGN_IN
from monitor.web.pages import page
from monitor.web.passwords import LONGEST, SHORTEST, PasswordError
from monitor.web.service import Asking, Here, note
from monitor.web.signing_in import CHANGED, failed, not_too_many

router = guard.router()
_PATH = "/password"
_ACT = "change password"
_Typed = Annotated[str, Form(max_length=1000)]


@router.get(_PATH)
def ask(request: Request) -> Response:
    """The form."""
    return _form(request)


@router.post(_PATH)
def change(request: Request, here: Here, asking: Asking, old: _Typed, new: _Typed, again: _Typed) -> Response:
    """Take the new password in place of the one before; failures count as failures to sign in do."""
    if asking.by_key:
        raise HTTPException(400, "A personal key changes no password. Sign in by browser for that.")
    not_too_many(here, asking, asking.name)
    if accounts.by_password(here.store(), asking.name, old) is None:
        failed(here, asking, asking.name)
        note(here, asking, _ACT, "refused: not the password so far")
        return _form(request, "This is not your password so far.")
    if new != again:
        return _form(request, "The new password was not typed the same twice.")
    if new == old:
        return _form(request, "This is the password that you have. Take another one.")
    try:
        accounts.new_password(here.store(), asking.name, new, at=here.now())
    except PasswordError as error:
        return _form(request, str(error))
    note(here, asking, _ACT, "done")
    return RedirectResponse(f"{SIGN_IN}?done={CHANGED}", 303)


def _form(request: Request, wrong: str = "") -> Response:
    return page(
        request,
        "password.html",
        status=422 if wrong else 200,
        title="Your password",
        wrong=wrong,
        shortest=SHORTEST,
        longest=LONGEST,
    )
