"""One wall's book to the context of the history page for a sale: dated facts for somebody who does not know the wall.

No name of a person, no address, no note as somebody wrote it, no word on the company's promises.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from monitor.report import history_record as record
from monitor.report import names, photo_sheet
from monitor.report.context import Book, Row, WallView, tellable
from monitor.report.curves import governing_curves
from monitor.report.language import Language, codes, language, other_unit
from monitor.report.places import place_words, spoken
from monitor.report.plain_chart import PlainChart
from monitor.report.standing import end_moves, jumped, unseen_on
from monitor.report.status import reference, seen_words, status
from monitor.report.wall_sheet import Context, footer, not_measured, scope
from monitor.report.wording import EN
from monitor.terms import EventKind, State
from monitor.units import DAYS_PER_YEAR, feet_text

_CHANGES_LEVEL = tuple(
    kind for kind in EventKind if kind not in (EventKind.DRAINAGE, EventKind.DIGGING, EventKind.COVERED)
)
"""Kinds of events across which two totals are not simply to be compared."""


def history_sheet(book: Book, view: WallView, words: Language = EN) -> Context:
    """Context of history.html."""
    view = book.as_told(view)
    said = status(book, view, words)
    drawn = governing_curves(book, view, dots_only=jumped(view))
    chart = PlainChart(drawn, place_words(view, drawn.mark, words), words)
    table = record.by_visit(view, words)
    return {
        **_about(book, view, words),
        "status": said,
        "state": _state(view, said.state, words),
        "found": _found(book, view, words),
        "between": _between(view, words),
        "left_out": _left_out(book, view, words),
        "seen": record.seen(view, words),
        "work": [record.work(row, view, words) for row in view.events],
        "facts": _facts(view, words, _company(book, words)),
        "rates": _rates(view, words),
        "chart": chart.svg("move", view.unit),
        "chart_words": chart.in_words(view.unit),
        "end_moves": end_moves(view),
        "key": chart.key(),
        "counts": record.counts(view, words),
        "table": table,
        "how_differs": len({row["how"] for row in table if row["how"]}) > 1,
        "special": record.special(book, view, words),
        "photos": photo_sheet.released(view, words),
        "not_measured": not_measured(view, words["not_measured"]),
        "meanings": list(words["history_words"].values()),
        "scope": scope(view, words),
    }


def _about(book: Book, view: WallView, words: Language) -> Context:
    """What the page says of itself."""
    foot = footer(book, names.in_language("history", words.code), view.house, view.wall)
    company, contact, before = _company(book, words), foot["contact"], foot["supersedes"]
    judged_on = words.day_text(book.assessment.judged_on)
    known_on = words.day_text(book.assessment.known_until.date())
    return {
        **foot,
        "words": words,
        "lang": words.code,
        "others": [_other(code, view) for code in codes() if code != words.code],
        "title": words.say("history", "title", wall=spoken(view, words)),
        "nav": False,
        "dated": words.say("history", "dated", known_on=known_on, judged_on=judged_on),
        "for_whom": words.say("history", "for", company=company),
        "confirm": words.say("history", "confirm", company=f"{company} ({contact})" if contact else company),
        "takes_place": words.say(
            "history", "takes_place", number=before["report_number"], judged_on=words.day_text(before["judged_on"])
        )
        if before
        else "",
    }


def _other(code: str, view: WallView) -> tuple[str, str, str]:
    """(code, file name, name of the language in itself) of the same page in another language."""
    name = names.page_name(view.house, view.wall, names.in_language("history", code))
    return code, name, language(code)["language"]["name"]


def _company(book: Book, words: Language) -> str:
    """The company within a sentence."""
    office = str(words["said"]["office"])
    return book.company.get("name") or office[:1].lower() + office[1:]


def _state(view: WallView, state: str, words: Language) -> str:
    days, unseen, said = view.used_days, unseen_on(view), words["history_state"]
    return words.say(
        "history_state",
        state,
        seen=seen_words(view, words),
        last=words.say("history_state", "since", day=words.day_text(days[-1])) if days else said["never"],
        unseen=words.day_text(unseen) if unseen else "",
    )


def _found(book: Book, view: WallView, words: Language) -> list[tuple[str, str]]:
    """How far in the wall stood at the first visit, and at the latest where there are more."""
    days = view.used_days
    if not days:
        return []
    first = book.first_totals.get((view.house, view.wall))
    rows = [("first_visit", days[0], first), ("last_visit", days[-1], view.current)]
    return [
        (words.say("history", key, day=words.day_text(day)), _total(view, row, words))
        for key, day, row in rows[: len(days)]
    ]


def _total(view: WallView, row: Row | None, words: Language) -> str:
    if not row or row["total_mm"] is None:
        return str(words["history"]["total_unknown"])
    return words.say(
        "history",
        "total",
        total=words.length_pair(row["total_mm"], view.unit),
        reference=words["history_reference"].get(row["total_reference"]) or reference(view, words),
        place=place_words(view, row["total_mark"], words),
    )


def _between(view: WallView, words: Language) -> str:
    """Why the difference of the first total and the latest is not simply the movement; '' where it is."""
    days = view.used_days
    kinds = [row["kind"] for row in view.events if days and days[0] <= row["event_date"] <= days[-1]]
    work = [words["history_work"][kind] for kind in dict.fromkeys(kinds) if kind in _CHANGES_LEVEL]
    return words.say("history", "not_the_movement", work=", ".join(work)) if work and len(days) > 1 else ""


def _left_out(book: Book, view: WallView, words: Language) -> list[str]:
    """What the totals found leave out, by what they are measured against."""
    totals = (book.first_totals.get((view.house, view.wall)), view.current)
    against = dict.fromkeys(row["total_reference"] for row in totals if row and row["total_mm"] is not None)
    return [words["total_leaves_out"][name] for name in against if name in words["total_leaves_out"]]


def _facts(view: WallView, words: Language, company: str) -> list[tuple[str, str]]:
    """The wall, its visits, how often, how and by whom it was read."""
    days, said = view.used_days, words["history"]
    rows = [(said["wall"], _wall(view, words))]
    if not days:
        return [(name, text) for name, text in (*rows, (said["visits"], said["none"])) if text]
    first, last = (words.day_text(day) for day in (days[0], days[-1]))
    key = "first_to_last" if len(days) > 1 else "one_visit"
    visits = words.say("history", key, visits=words.count_text(len(days), "visit"), first=first, last=last)
    rows.append((said["visits"], visits))
    if len(days) > 1:
        apart = words.span_text((days[-1] - days[0]).days / DAYS_PER_YEAR / (len(days) - 1))
        rows.append((said["often"], words.say("history", "about_every", span=apart)))
    used = [row for row in view.readings if row["state"] == State.USED]
    people = words.count_text(len({row["technician"] for row in used if row["technician"]}) or 1, "technician")
    rows.append((said["how"], record.methods(used, words)))
    rows.append((said["by_whom"], words.say("history", "people", people=people, company=company)))
    return [(name, text) for name, text in rows if text]


def _wall(view: WallView, words: Language) -> str:
    """What the wall is: material as registered, length, height."""
    place = view.place
    sizes = [("long", place["length_mm"]), ("high", place["clear_height_mm"])]
    parts = [words.say("history", key, length=_feet(mm, view.unit, words)) for key, mm in sizes if mm is not None]
    material = words["history_material"].get(place["material"], place["material"])
    return ", ".join(filter(None, (material, *parts)))


def _feet(mm: float, unit: str, words: Language) -> str:
    said = feet_text(mm, unit)
    feet, is_in_feet, inches = said.partition(" ft")
    if not is_in_feet:
        return said
    return words.say("history", "feet" if inches else "whole_feet", feet=feet, inches=inches[1:].removesuffix(" in"))


def _rates(view: WallView, words: Language) -> list[tuple[str, str, str]]:
    """(period, its visits that count, its rate in plain words), oldest first."""
    work: Sequence[date] = [row["event_date"] for row in view.reinforcements]
    rows = []
    for row in view.periods:
        number = row["period"]
        name = str(words["history"]["before_straps" if work else "all_visits"])
        if number:
            day = work[number - 1] if number <= len(work) else row["started_on"]
            name = words.say("history", "since_straps", day=words.day_text(day))
        rows.append((name, words.count_text(row["visits"] or 0, "visit"), _rate(view, row, words)))
    return rows


def _rate(view: WallView, row: Row, words: Language) -> str:
    rate, lower, upper = row["rate_mm_per_year"], row["rate_lower"], row["rate_upper"]
    if row["is_current"] and jumped(view):
        return str(words["history_rate"]["jump"])
    if not tellable(row):
        return words.say("history_rate", "few", visits=words.count_text(row["visits"] or 0, "visit"))
    if rate is None or lower is None or upper is None:
        return str(words["history_rate"]["not_measured"])
    limit = row["threshold_mm_per_year"]
    key = "inward" if lower > 0 else "quiet" if limit is not None and upper < limit else "open"
    key = "open_outward" if key == "open" and rate <= 0 else key
    return words.say("history_rate", key, **_bounds(view, row, words))


def _bounds(view: WallView, row: Row, words: Language) -> Mapping[str, Any]:
    unit, other, at_most = view.unit, other_unit(view.unit), max(row["rate_upper"], 0.0)
    return {
        "rate": words.rate_text(row["rate_mm_per_year"], unit),
        "beside": words.rate_text(row["rate_mm_per_year"], other),
        "range": words.range_text(row["rate_lower"], row["rate_upper"], unit),
        "upper": words.rate_text(at_most, unit),
        "upper_beside": words.rate_text(at_most, other),
        "place": place_words(view, row["governing_mark"], words),
    }
