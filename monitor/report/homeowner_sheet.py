"""One wall's book to the context of the homeowner's page: plain words, no names of people, no address, no house id.

Whatever bears a length or a rate is written twice, once with each unit first; the page shows the wall's own unit first
and lets its reader turn that round without a script.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup, escape

from monitor.report import names, photo_sheet, repair_sheet
from monitor.report.context import Book, WallView, tellable
from monitor.report.curves import curves
from monitor.report.language import Language, codes, language, other_unit
from monitor.report.places import place_words, spoken
from monitor.report.plain_chart import PlainChart
from monitor.report.status import SUDDEN, Status, company_name, end_moves, jumped, next_visit, status
from monitor.report.wall_sheet import Context, footer, not_measured, scope
from monitor.report.wording import EN
from monitor.terms import Movement

_JOBS = ("gutters", "slope", "load", "marks", "tell")


@dataclass(frozen=True)
class _Told:
    """All that bears a length or a rate, with one unit first."""

    status: Status
    sizes: Sequence[tuple[str, str]]
    compared: str
    chart: Markup
    chart_words: Markup


def homeowner_sheet(book: Book, view: WallView, words: Language = EN) -> Context:
    """Context of homeowner.html."""
    view = book.as_told(view)
    turned = replace(view, place={**view.place, "unit": other_unit(view.unit)})
    told = [_told(book, shown, words) for shown in (view, turned)]
    first = told[0]
    following = next_visit(book, view)
    last = view.current["last_visit"] if view.current else None
    chart = _chart(book, view, words)
    kind = names.in_language("homeowner", words.code)
    foot = footer(book, kind, view.house, view.wall)
    return {
        **foot,
        "words": words,
        "lang": words.code,
        "others": [_other(code, view) for code in codes() if code != words.code],
        "title": words.say("page", "title", wall=spoken(view, words)),
        "nav": False,
        "units": [view.unit, other_unit(view.unit)],
        "status": first.status,
        "sentence": _either(*(one.status.sentence for one in told)),
        "beside": [_either(*pair) for pair in zip(*(one.status.beside for one in told), strict=True)],
        "corrections": [_either(*pair) for pair in zip(*(one.status.corrections for one in told), strict=True)],
        "sizes": [
            (what, _either(size, turned_size))
            for (what, size), (_, turned_size) in zip(*(one.sizes for one in told), strict=True)
        ],
        "compared": _either(*(one.compared for one in told)),
        "chart": _either(*(one.chart for one in told)),
        "chart_words": _either(*(one.chart_words for one in told)),
        "end_moves": end_moves(view),
        "key": chart.key(),
        "last": words.day_text(last) if last else words["page"]["none_yet"],
        "next": words.month_text(following) if following else words["said"]["not_arranged"],
        "visits": words.count_text(len(view.used_days), "visit"),
        "work": words["calendar"]["between_days"].join(
            words.day_text(row["event_date"]) for row in view.reinforcements
        ),
        "photos": photo_sheet.released(view, words),
        "not_measured": _not_measured(view, words),
        "scope": scope(view, words),
        "jobs": [words["jobs"][name] for name in _JOBS],
        "stay_out_first": first.status.shape == "cross" or book.waits(view),
        "company_name": company_name(book, words),
        "call": _call(foot["contact"]),
        "known_on": words.day_text(book.assessment.known_until.date()),
    }


def _call(contact: str) -> str:
    """The address behind a telephone number, which a phone dials at a touch; '' where the contact has none."""
    found = re.search(r"\+?[\d(][\d\s().-]{4,}\d", contact)
    return "tel:" + re.sub(r"[^\d+]", "", found[0]) if found else ""


def _other(code: str, view: WallView) -> tuple[str, str, str]:
    """(code, file name, name of the language in itself) of the same page in another language."""
    name = names.page_name(view.house, view.wall, names.in_language("homeowner", code))
    return code, name, language(code)["language"]["name"]


def _either(first: str, second: str) -> Markup:
    """The same thing said with each unit first; once where no unit is in it."""
    if first == second:
        return escape(first)
    return Markup('<span class="u1">{}</span><span class="u2">{}</span>').format(first, second)


def _told(book: Book, view: WallView, words: Language) -> _Told:
    said, chart, ids = status(book, view, words), _chart(book, view, words), f"move-{view.unit}"
    return _Told(
        status=said,
        sizes=_sizes(view, said.state, words),
        compared=_compared(view, said.state, words),
        chart=chart.svg(ids),
        chart_words=Markup('<span id="{}-words">{}</span>').format(ids, chart.in_words()),
    )


def _chart(book: Book, view: WallView, words: Language) -> PlainChart:
    drawn = curves(book, view, dots_only=jumped(view))
    return PlainChart(drawn, place_words(view, drawn.mark, words), view.unit, words)


def _sizes(view: WallView, state: str, words: Language) -> list[tuple[str, str]]:
    """(what, how much that is, on a tape measure and beside a thing at hand)."""
    row: Any = view.current or {}
    rows: list[tuple[str, float, Callable[[float, str], str]]] = []
    if state.startswith("moving"):
        rows.append(("likely", row["rate_mm_per_year"], words.rate_pair))
    rated = state not in SUDDEN and not jumped(view) and bool(row) and tellable(row)
    if rated and not end_moves(view) and row["rate_upper"] is not None and row["rate_upper"] > 0:
        rows.append(("less_than", row["rate_upper"], words.rate_pair))
    if row.get("total_mm") is not None and row["total_mm"] > 0:
        rows.append(("stood", row["total_mm"], words.length_pair))
    left_out = {"stood": words["total_leaves_out"].get(row.get("total_reference"), "")}
    return [
        (words["page"][name], f"{_size(mm, shown, view.unit, words)} {left_out.get(name, '')}".strip())
        for name, mm, shown in rows
    ]


def _size(mm: float, shown: Callable[[float, str], str], unit: str, words: Language) -> str:
    size, tape = shown(mm, unit), words.tape_text(mm, unit)
    return words.say("page", "beside", size=size, tape=tape, thing=words.comparison(mm))


def _compared(view: WallView, state: str, words: Language) -> str:
    """What the straps did; nothing after a sudden change, whose step is in the rate after them."""
    if state in SUDDEN or jumped(view):
        return ""
    return repair_sheet.before_and_after(view, none_measured=state == "no movement measured", words=words)


def _not_measured(view: WallView, words: Language) -> list[str]:
    row, said = view.current, words["not_measured"]
    rows = not_measured(view, {part: said[part] for part in Movement})
    if len(rows) == len(Movement) and row and row["rate_mm_per_year"] is not None:
        rows.append(said["only_relative"])
    return rows
