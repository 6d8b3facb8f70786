"""Forms about a wall: done as asked, or shown again with all that was typed and the reason why it is not done yet."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from monitor.errors import BowError, StoreError
from monitor.pipeline import keys, meanwhile
from monitor.pipeline.meanwhile import Happening
from monitor.records import dataclass, field
from monitor.report.context import Key
from monitor.store import Store
from monitor.web.review_list import address
from monitor.web.service import Service, Visitor, note

DONE = {
    "decide": "Your decision is on record.",
    "rule": "Your ruling is on record. The verdict on this page has it in already.",
    "acknowledge": "It is on record that you see to it. Nobody is reminded of it any more.",
}
"""What the wall's page says after a form was taken, by the form's name in its address: nothing a link could make up."""


@dataclass(frozen=True)
class Asked:
    """A form as it was sent, and why it is shown again.

    form: its name; typed: what stood in its fields; missed: what happened since it was made; problem: why it cannot be
    done so.
    """

    form: str = ""
    typed: Mapping[str, Any] = field(default_factory=dict)
    missed: Sequence[Happening] = ()
    problem: str = ""

    @property
    def status(self) -> int:
        """The HTTP status of the page that shows it."""
        return 409 if self.missed else 422 if self.problem else 200

    def of(self, form: str, name: str, otherwise: str = "") -> Any:
        """What was typed into a field of a form; otherwise where it was not that form that was sent."""
        return self.typed.get(name, otherwise) if self.form == form else otherwise


def taken(
    here: Service,
    asking: Visitor,
    key: Key,
    seen: str,
    asked: Asked,
    act: Callable[[Store], str],
    again: Callable[[Asked], Response],
) -> Response:
    """Do what the form asks for and go to the wall's page; or show it again.

    seen: what the form says it was made from. act: does it, and says what it did. Nobody can come between the look at
    what happened meanwhile and the deed.
    """
    store, wall = here.store(), keys.written(*key)
    try:
        with store.taking_in():
            missed = meanwhile.since(meanwhile.of_wall(store, *key), seen)
            what = "" if missed else act(store)
    except StoreError:
        raise
    except (BowError, HTTPException) as error:
        problem = str(error.detail if isinstance(error, HTTPException) else error)
        note(here, asking, asked.form, f"not done: {problem}", wall=wall)
        return again(Asked(asked.form, asked.typed, problem=problem))
    if missed:
        note(here, asking, asked.form, "not done yet: shown first what happened meanwhile", wall=wall)
        return again(Asked(asked.form, asked.typed, missed=missed))
    note(here, asking, asked.form, "done", what=what, wall=wall)
    return RedirectResponse(f"{address(wall)}?done={asked.form}", 303)
