"""The monthly list to work from, and the plan of visits; what is narrowed down by the form needs no script."""

from typing import Annotated
from urllib.parse import quote

from fastapi import Query, Request
from fastapi.responses import Response

from monitor.errors import NotFoundError
from monitor.pipeline import assessing, runs, working_list
from monitor.report.context import Book
from monitor.report.plan_sheet import plan_sheet
from monitor.store import Store
from monitor.web import guard
from monitor.web.pages import page
from monitor.web.service import Asking, Here, Service, is_office

router = guard.router()
_Choice = Annotated[str, Query(max_length=200)]


@router.get("/review")
def the_list(
    request: Request,
    here: Here,
    asking: Asking,
    text: _Choice = "",
    list: _Choice = "",
    state: _Choice = "",
    owner: _Choice = "",
) -> Response:
    """The list of the newest assessment, what changed since the last one first."""
    store = here.store()
    if not store.assessments():
        return page(request, "review_none.html", title="Monthly list", today=here.today(), is_office=is_office(asking))
    wanted = {"text": text, "list": list, "state": state, "owner": owner}
    found = working_list.working_list(working_list.with_decisions(store, book(here, store)), wanted)
    return page(
        request,
        "review_list.html",
        **found,
        wanted=wanted,
        is_narrowed=any(wanted.values()),
        today=here.today(),
        is_office=is_office(asking),
    )


@router.get("/review/plan")
def plan(request: Request, here: Here) -> Response:
    """The visits to come, as the written plan has them; each wall leads to its page here."""
    sheet = dict(plan_sheet(book(here, here.store())))
    sheet["sections"] = [
        (heading, [{**row, "page": row["page"] and address(row["key"])} for row in rows])
        for heading, rows in sheet["sections"]
    ]
    return page(request, "plan.html", layout="web.html", **sheet)


def book(here: Service, store: Store) -> Book:
    """The book of the newest list, without the decisions made since. NotFoundError where nothing was assessed yet."""
    days = store.assessments()
    card = store.assessment(max(days), tables=()) if days else None
    if card is None:
        raise NotFoundError("Nothing was assessed yet.", mend="Let the office assess first.")
    made_from = ("list", runs.of(store, card).run_id)
    return here.kept.of(made_from, lambda: working_list.book(store, assessing.newest(store)))


def address(key: str) -> str:
    """Where a wall's page to work from is."""
    return f"/review/walls/{quote(key, safe='')}"
