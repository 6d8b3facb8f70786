"""One wall to decide about: why it asks for somebody, what waits, what was done, and the forms of the office."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Annotated, Any

from fastapi import Form, Query, Request
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from monitor.documents import to_json
from monitor.errors import BowError
from monitor.pipeline import alert_record, damaged, editions, keys, list_rows, meanwhile, review, who
from monitor.pipeline.alert_listing import told
from monitor.pipeline.alert_record import Alert
from monitor.pipeline.company_days import zone_of
from monitor.pipeline.new_verdicts import after_ruling
from monitor.pipeline.wall_now import wall_now
from monitor.report.context import Book, Key, Row, WallView
from monitor.report.wall_sheet import wall_sheet
from monitor.store import Store
from monitor.terms import STAFF, Act, Step
from monitor.web import guard
from monitor.web.pages import page
from monitor.web.review_list import address
from monitor.web.service import Asking, Here, Service, Visitor, is_office
from monitor.web.taking import DONE, Asked, taken

router = guard.router()
Text = Annotated[str, Form(max_length=1000)]
Seen = Annotated[str, Form(max_length=20_000)]
_NEWEST = 8
"""So many happenings are shown; all readings and decisions stand in the sheet below."""


@router.get("/review/walls/{wall}")
def open_wall(
    request: Request, here: Here, asking: Asking, wall: str, done: Annotated[str, Query(max_length=20)] = ""
) -> Response:
    """The wall as it stands now."""
    return _shown(request, here, asking, _key(here, wall), Asked(), said=DONE.get(done, ""))


@router.post("/review/walls/{wall}/decide")
def decide(
    request: Request,
    here: Here,
    asking: Asking,
    wall: str,
    step: Text = "",
    why: Text = "",
    owner: Text = "",
    due: Text = "",
    seen: Seen = "",
) -> Response:
    """Record a decision, unless something happened that whoever decides had not seen."""
    key = _key(here, wall)

    def act(store: Store) -> str:
        found = review.decide(
            store,
            keys.written(*key),
            _step(step),
            who=asking.name,
            why=why,
            owner=owner,
            due=day_of(due),
            made_at=here.now(),
            today=here.today(),
        )
        return f"{found['step']}, by {found['owner']}{f', due {due}' if due else ''}: {found['why']}"

    asked = Asked("decide", {"step": step, "why": why, "owner": owner, "due": due})
    return taken(here, asking, key, seen, asked, act, lambda again: _shown(request, here, asking, key, again))


@router.post("/review/walls/{wall}/rulings")
def rule(
    request: Request,
    here: Here,
    asking: Asking,
    wall: str,
    reading: Annotated[list[str] | None, Form(max_length=500)] = None,
    act: Text = "",
    why: Text = "",
    seen: Seen = "",
) -> Response:
    """Release or reject the held readings that were ticked, all for one reason."""
    key, ids = _key(here, wall), reading or []
    aside = set_aside(here, key)

    def ruled(store: Store) -> str:
        if act not in (Act.RELEASE, Act.REJECT):
            raise HTTPException(422, "Say whether to release or to reject.")
        if not ids:
            raise HTTPException(422, "No reading is ticked. Tick those that you rule on.")
        done: list[str] = []
        for each in ids:
            try:
                review.rule(store, each, Act(act), who=asking.name, why=why, made_at=here.now(), set_aside=aside)
            except BowError as error:
                before = f"The ruling on {', '.join(done)} is on record, that on {each} is not. " if done else ""
                raise HTTPException(422, f"{before}{error}") from error
            done.append(each)
        after_ruling(store, key, judged_on=here.today(), known_on=here.now(store))
        return f"{act} of {', '.join(ids)}: {why}"

    asked = Asked("rule", {"reading": ids, "why": why})
    return taken(here, asking, key, seen, asked, ruled, lambda again: _shown(request, here, asking, key, again))


@router.post("/review/walls/{wall}/acknowledge")
def acknowledge(
    request: Request, here: Here, asking: Asking, wall: str, alert: Text = "", note: Text = "", seen: Seen = ""
) -> Response:
    """Put on record that whoever asks knows of an alert and sees to it."""
    key = _key(here, wall)

    def act(store: Store) -> str:
        [(found, is_new)] = alert_record.acknowledge(store, [alert], who=asking.name, note=note, made_at=here.now())
        if not is_new:
            raise HTTPException(422, "Somebody had acknowledged this alert already; what they wrote stands.")
        return f"alert {found.alert_id}, {found.row['kind']}: {note}"

    asked = Asked("acknowledge", {"alert": alert, "note": note})
    return taken(here, asking, key, seen, asked, act, lambda again: _shown(request, here, asking, key, again))


def book(here: Service, store: Store, key: Key) -> Book:
    """The book of one wall as it stands now: kept until facts, settings or the day are others.

    Raises StoreError where something of the wall is damaged; what is damaged of others is read past.
    """
    store = store.sparing()
    now, today = here.now(), here.today()
    made_from = ("wall", key, store.facts_sha256(), to_json(store.settings()), today)
    made = here.kept.of(made_from, lambda: wall_now(store, key, today=today, now=now))
    damaged.refuse(store, key)
    news = editions.of(store, list_rows.newest(store), now).news if store.assessments() else {}
    return replace(made, decisions=store.office.decisions(), news=news)


def set_aside(here: Service, key: Key) -> frozenset[str]:
    """Readings of a wall that its page shows as held: the look at it as of now may set aside what no list has yet."""
    return frozenset(row["reading_id"] for row in book(here, here.store(), key).view(*key).held)


def _shown(request: Request, here: Service, asking: Visitor, key: Key, asked: Asked, *, said: str = "") -> Response:
    """The wall's page, with a form that was not taken as it was sent."""
    store = here.store()
    happened = meanwhile.of_wall(store, *key)
    content = book(here, store, key)
    view = content.view(*key)
    return page(
        request,
        "review_wall.html",
        status=asked.status,
        **_sheet(content, view),
        layout="web.html",
        reading_page="/review/readings/",
        before=_before(store, key),
        held=_held(view),
        happened=happened[:_NEWEST],
        seen=meanwhile.seen(happened),
        asked=asked,
        alerts=_alerts(store, key),
        news=content.news_of(*key),
        said=said,
        steps=[step.value for step in Step],
        called=Step.CALLED_HOMEOWNER.value,
        people=who.people(store, STAFF),
        today=here.today(),
        is_office=is_office(asking),
        back=address(keys.written(*key)),
    )


def _alerts(store: Store, key: Key) -> list[tuple[Alert, str]]:
    """The wall's alerts, those first that nobody acknowledged, each with who was told."""
    zone = zone_of(store.office.company())
    mine = [alert for alert in alert_record.on_record(store) if alert.key == key]
    mine.sort(key=lambda alert: alert.acknowledged is not None)
    return [(alert, told(alert, zone)) for alert in mine]


def _sheet(content: Book, view: WallView) -> dict[str, Any]:
    """The context of the written page, its addresses those of the service."""
    sheet = dict(wall_sheet(content, view))
    sheet["figure"] = None  # it needs a script from beside the page
    sheet["photos"] = [{**row, "address": f"/pages/{row['address']}"} for row in sheet.get("photos", ())]
    return sheet | {name: f"/pages/{sheet[name]}" for name in ("engineer_page", "homeowner_page")}


def _before(store: Store, key: Key) -> Row | None:
    """The wall's result on the newest list, with the day it was judged for; None where it is on none."""
    found = store.assessment(tables=("wall_results",), walls=[key])
    rows = found.wall_results.to_pylist() if found else []
    return next(({**row, "judged_on": found.judged_on} for row in rows if found and row["is_current"]), None)


def _held(view: WallView) -> list[Sequence[Row]]:
    """Held readings by set-up."""
    groups: dict[tuple[Any, ...], list[Row]] = defaultdict(list)
    for row in view.held:
        groups[tuple(row[name] for name in ("visit_date", "part", "method", "setup"))].append(row)
    return list(groups.values())


def _key(here: Service, wall: str) -> Key:
    return keys.registered(here.store(), wall)


def _step(written: str) -> Step:
    if written not in list(Step):
        raise HTTPException(422, "What is done next must be said. Choose one.")
    return Step(written)


def day_of(written: str) -> date | None:
    """The day in a field of a form, None where it is blank. Raises HTTPException where it is none."""
    try:
        return date.fromisoformat(written) if written else None
    except ValueError:
        raise HTTPException(422, f"'{written}' is no day. Write it like 2026-05-31.") from None
