"""One wall to decide about: why it asks for somebody, what waits, what was done, and the forms of the office."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Annotated, Any

from fastapi import Form, Query, Request
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from monitor.errors import BowError, TrendError
from monitor.pipeline import keys, meanwhile, review
from monitor.pipeline.meanwhile import Happening
from monitor.pipeline.wall_now import wall_now
from monitor.report.context import Book, Key, Row, WallView
from monitor.report.wall_sheet import wall_sheet
from monitor.store import Store
from monitor.terms import Act, Role, Step
from monitor.web import guard
from monitor.web.pages import page
from monitor.web.review_list import address
from monitor.web.service import Asking, Here, Service, Visitor, note
from monitor.web.telling import DONE

router = guard.router()
_Text = Annotated[str, Form(max_length=1000)]
_Seen = Annotated[str, Form(max_length=20_000)]
_Ids = Annotated[list[str] | None, Form(max_length=500)]
_MANY = 12
"""So many of the newest happenings are shown at once; the rest stand in the sheet below."""


@router.get("/review/walls/{wall}")
def open_wall(
    request: Request, here: Here, asking: Asking, wall: str, done: Annotated[str, Query(max_length=20)] = ""
) -> Response:
    """The wall as it stands now."""
    return shown(request, here, asking, wall, said=DONE.get(done, ""))


@router.post("/review/walls/{wall}/decide")
def decide(
    request: Request,
    here: Here,
    asking: Asking,
    wall: str,
    step: _Text = "",
    why: _Text = "",
    owner: _Text = "",
    due: _Text = "",
    seen: _Seen = "",
) -> Response:
    """Record a decision, unless something happened that whoever decides had not seen."""
    typed = {"form": "decide", "step": step, "why": why, "owner": owner, "due": due}

    def act(store: Store) -> str:
        found = review.decide(
            store,
            wall,
            _step(step),
            who=asking.name,
            why=why,
            owner=owner,
            due=_day(due),
            made_at=here.now(),
            today=here.today(),
        )
        return f"{found['step']}, by {found['owner']}{f', due {due}' if due else ''}: {found['why']}"

    return taken(request, here, asking, wall, seen, typed, act, "decided")


@router.post("/review/walls/{wall}/rulings")
def rule(
    request: Request,
    here: Here,
    asking: Asking,
    wall: str,
    reading: _Ids = None,
    act: _Text = "",
    why: _Text = "",
    seen: _Seen = "",
) -> Response:
    """Release or reject the held readings that were ticked, all for one reason."""
    ids = reading or []
    typed = {"form": "rule", "reading": ids, "act": act, "why": why}

    def ruled(store: Store) -> str:
        if not ids:
            raise review.RulingError("No reading is ticked.", mend="Tick those that you rule on.")
        done = [review.rule(store, each, _act(act), who=asking.name, why=why, made_at=here.now()) for each in ids]
        return f"{act} of {', '.join(str(row['reading_id']) for row in done)}: {why}"

    return taken(request, here, asking, wall, seen, typed, ruled, "ruled")


def taken(
    request: Request,
    here: Service,
    asking: Visitor,
    wall: str,
    seen: str,
    typed: Mapping[str, Any],
    act: Callable[[Store], str],
    done: str,
) -> Response:
    """Do what a form about a wall asks for, and go back to the wall; or show the form again with all that was typed.

    It is shown again where something happened since it was made, which is then shown first, and where it cannot be
    done as asked. Nobody else can come between the look and the deed.
    """
    store = here.store()
    key = keys.find(store.current("walls"), wall)
    kind = f"{typed['form']}"
    try:
        with store.taking_in():
            if missed := meanwhile.since(meanwhile.of_wall(store, *key), seen):
                note(here, asking, kind, "not yet: something else came first", wall=wall)
                return shown(request, here, asking, wall, typed=typed, missed=missed, status=409)
            what = act(store)
    except (BowError, HTTPException) as error:
        problem = str(error.detail if isinstance(error, HTTPException) else error)
        note(here, asking, kind, f"not done: {problem}", wall=wall)
        return shown(request, here, asking, wall, typed=typed, problem=problem, status=422)
    note(here, asking, kind, "done", what=what, wall=keys.written(*key))
    return RedirectResponse(f"{address(keys.written(*key))}?done={done}", 303)


def shown(
    request: Request,
    here: Service,
    asking: Visitor,
    wall: str,
    *,
    typed: Mapping[str, Any] | None = None,
    missed: Sequence[Happening] = (),
    problem: str = "",
    said: str = "",
    status: int = 200,
) -> Response:
    """The page of a wall with what happened meanwhile, what went wrong, and what was typed into a form of it."""
    store = here.store()
    key = keys.find(store.current("walls"), wall)
    happened = meanwhile.of_wall(store, *key)
    try:
        content = book(here, store, key)
    except TrendError as error:
        return page(request, "problem.html", status=422, title=keys.written(*key), detail=str(error))
    view = content.view(*key)
    return page(
        request,
        "review_wall.html",
        status=status,
        **_sheet(content, view),
        layout="web.html",
        reading_page="/review/readings/",
        before=_before(store, key),
        held=_held(view),
        happened=happened[:_MANY],
        seen=meanwhile.seen(happened),
        missed=missed,
        problem=problem,
        said=said,
        typed={"form": "", **(typed or {})},
        steps=[step.value for step in Step],
        people=review.people(store),
        today=here.today(),
        is_office=asking.account is not None and asking.account.role is Role.OFFICE,
        back=address(keys.written(*key)),
    )


def book(here: Service, store: Store, key: Key) -> Book:
    """The book of one wall as it stands now: kept until facts, settings or the day are others."""
    now, today = here.now(), here.today()
    settings = store.settings().model_dump_json()
    made_from = ("wall", key, store.facts_sha256(), settings, today)
    made = here.kept.of(made_from, lambda: wall_now(store, keys.written(*key), today=today, now=now)[1])
    return replace(made, decisions=store.office.decisions())


def _sheet(content: Book, view: WallView) -> dict[str, Any]:
    """The context of the written page, its addresses those of the service."""
    sheet = dict(wall_sheet(content, view))
    sheet["figure"] = None  # it needs a script
    sheet["photos"] = [{**row, "address": f"/pages/{row['address']}"} for row in sheet["photos"]]
    return sheet | {name: f"/pages/{sheet[name]}" for name in ("engineer_page", "homeowner_page")}


def _before(store: Store, key: Key) -> Row | None:
    """The wall's result on the newest list, with the day it was judged for; None where it is on none."""
    found = store.assessment(tables=("wall_results",))
    for row in found.wall_results.to_pylist() if found else ():
        if (row["house"], row["wall"]) == key and row["is_current"]:
            return {**row, "judged_on": found.judged_on if found else None}
    return None


def _held(view: WallView) -> list[Sequence[Row]]:
    """Held readings by set-up."""
    groups: dict[tuple[Any, ...], list[Row]] = defaultdict(list)
    for row in view.held:
        groups[tuple(row[name] for name in ("visit_date", "part", "method", "setup"))].append(row)
    return list(groups.values())


def _step(written: str) -> Step:
    try:
        return Step(written)
    except ValueError:
        raise HTTPException(422, "Say what is done next.") from None


def _act(written: str) -> Act:
    if written not in (Act.RELEASE, Act.REJECT):
        raise HTTPException(422, "Say whether to release or to reject.")
    return Act(written)


def _day(written: str) -> date | None:
    try:
        return date.fromisoformat(written) if written else None
    except ValueError:
        raise HTTPException(422, f"'{written}' is no day. Write it like 2026-05-31.") from None
