"""One reading: how it came in, every ruling on it, and the form to rule on it again."""

from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import Request
from fastapi.responses import Response

from monitor.pipeline import keys, meanwhile, review
from monitor.pipeline.new_verdicts import after_ruling
from monitor.pipeline.who import RulingError
from monitor.report.context import Book, Key, Row
from monitor.report.readings_sheet import readings
from monitor.store import Store
from monitor.terms import Act, LengthUnit, State
from monitor.web import guard
from monitor.web.pages import page
from monitor.web.review_list import address
from monitor.web.review_wall import Seen, Text, book, set_aside
from monitor.web.service import Asking, Here, Service, Visitor, is_office
from monitor.web.taking import Asked, taken

router = guard.router()
_WORDS = {
    Act.RELEASE: "Release it: from now on it is used",
    Act.REJECT: "Reject it: it is kept and shown, and not used",
    Act.CORRECT: "Correct it to the value below: the old one stays on record",
    Act.WITHDRAW: "Withdraw the last ruling: what stood before stands again",
}


@router.get("/review/readings/{reading}")
def open_reading(request: Request, here: Here, asking: Asking, reading: str) -> Response:
    """The reading as it stands now."""
    return _shown(request, here, asking, reading, Asked())


@router.post("/review/readings/{reading}")
def rule(
    request: Request,
    here: Here,
    asking: Asking,
    reading: str,
    act: Text = "",
    value: Text = "",
    unit: Text = "",
    why: Text = "",
    seen: Seen = "",
) -> Response:
    """Rule on the reading, unless something happened to its wall that whoever rules had not seen."""
    new_value = (value, unit) if act == Act.CORRECT else ("", "")
    key = _key(review.find_reading(here.store(), reading))
    aside = set_aside(here, key)

    def ruled(store: Store) -> str:
        if act not in list(Act):
            raise RulingError("What is to become of the reading must be said.", mend="Choose one.")
        done = review.rule(
            store,
            reading,
            Act(act),
            who=asking.name,
            why=why,
            made_at=here.now(),
            value=new_value[0],
            unit=new_value[1],
            set_aside=aside,
        )
        after_ruling(store, key, judged_on=here.today(), known_on=here.now(store))
        return f"{' '.join(filter(None, (act, *new_value)))} of {done['reading_id']}: {why}"

    asked = Asked("rule", {"act": act, "value": value, "unit": unit, "why": why})
    return taken(here, asking, key, seen, asked, ruled, lambda again: _shown(request, here, asking, reading, again))


def _shown(request: Request, here: Service, asking: Visitor, reading: str, asked: Asked) -> Response:
    store = here.store()
    found = review.find_reading(store, reading)
    key = _key(found)
    content = book(here, store, key)
    row, rulings = _as_judged(content, key, str(found["reading_id"]))
    return page(
        request,
        "review_reading.html",
        status=asked.status,
        title=f"{keys.written(*key)}, mark {row['mark']}, {row['visit_date'] or 'no date'}",
        row=row,
        received=content.received.get(row["reading_id"], row),
        rulings=rulings,
        asked=asked,
        seen=meanwhile.seen(meanwhile.of_wall(store, *key)),
        acts=[(act.value, words) for act, words in _WORDS.items() if _makes_sense(act, row, rulings)],
        units=[unit.value for unit in LengthUnit],
        reading=found["reading_id"],
        wall=keys.written(*key),
        back=address(keys.written(*key)),
        is_office=is_office(asking),
    )


def _as_judged(content: Book, key: Key, reading: str) -> tuple[Mapping[str, Any], Sequence[Row]]:
    """The reading as the wall's page shows it, and the rulings on it, oldest first."""
    view = content.view(*key)
    shown = next(row for row in readings(view) if row["reading_id"] == reading)
    return shown, view.rulings[reading]


def _makes_sense(act: Act, row: Row, rulings: Sequence[Row]) -> bool:
    """Whether to offer an act; whether it is taken is the rule's to say."""
    if act is Act.RELEASE:
        return bool(row["state"] == State.HELD)
    return act is not Act.WITHDRAW or bool(rulings)


def _key(row: Row) -> Key:
    return str(row["house"]), str(row["wall"])
