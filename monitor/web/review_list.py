"""The monthly list to work from, and the plan of visits; what is narrowed down by the form needs no script."""

from typing import Annotated
from urllib.parse import quote

from fastapi import Query, Request
from fastapi.responses import Response

from monitor.pipeline import alert_record, assessed_again, editions, list_rows, working_list
from monitor.pipeline.publishing import book_of_list, book_of_plan
from monitor.pipeline.working_list import Whole
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
    found = working_list.narrowed(_whole(here, store.sparing()), wanted)
    return page(
        request,
        "review_list.html",
        **found,
        wanted=wanted,
        is_narrowed=any(wanted.values()),
        alerts=[(alert, address(alert.wall)) for alert in alert_record.waiting(store)],
        today=here.today(),
        is_office=is_office(asking),
    )


@router.get("/review/plan")
def plan(request: Request, here: Here) -> Response:
    """The visits to come, as the written plan has them; each wall leads to its page here."""
    sheet = dict(plan_sheet(_of_plan(here, here.store())))
    sheet["sections"] = [
        (heading, [{**row, "page": row["page"] and address(row["key"])} for row in rows])
        for heading, rows in sheet["sections"]
    ]
    return page(request, "plan.html", layout="web.html", **sheet)


def book(here: Service, store: Store) -> Book:
    """The book of the newest list, without the decisions made since. NotFoundError where nothing was assessed yet."""
    newest = list_rows.newest(store)
    made_from = ("list", editions.of(store, newest, here.now()).edition_id)
    return here.kept.of(made_from, lambda: book_of_list(store, newest, here.now()), _is_whole)


def _of_plan(here: Service, store: Store) -> Book:
    content = book(here, store)
    return here.kept.of(("plan", content.report_number("plan")), lambda: book_of_plan(store, content), _is_whole)


def _is_whole(content: Book) -> bool:
    return not content.damaged


def _whole(here: Service, store: Store) -> Whole:
    content, decided = book(here, store), tuple(store.office.decisions()["decision_id"].to_pylist())
    again = tuple((each.wall, each.known_until) for each in assessed_again.of(store, content.assessment))
    made_from = ("lines", content.report_number("list"), decided, again)
    return here.kept.of(made_from, lambda: working_list.whole(store, content))


def address(key: str) -> str:
    """Where a wall's page to work from is."""
    return f"/review/walls/{quote(key, safe='')}"
