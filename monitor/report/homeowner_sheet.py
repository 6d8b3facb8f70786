"""One wall's book to the context of the homeowner's page: plain words, no names of people, no address, no house id.

Whatever bears a length or a rate is written twice, once with each unit first; the page shows the wall's own unit first
and lets its reader turn that round without a script.
"""

import re
from collections.abc import Callable, Sequence
from typing import Any

from markupsafe import Markup, escape

from monitor.report import names, photo_sheet, repair_sheet
from monitor.report.context import Book, WallView, tellable
from monitor.report.curves import governing_curves
from monitor.report.language import Language, codes, language, other_unit
from monitor.report.places import place_words, spoken
from monitor.report.plain_chart import PlainChart
from monitor.report.standing import SUDDEN, end_moves, jumped
from monitor.report.status import company_name, next_visit, statuses
from monitor.report.wall_sheet import Context, footer, not_measured, scope
from monitor.report.wording import EN
from monitor.terms import Movement

_JOBS = ("gutters", "slope", "load", "marks", "tell")


def homeowner_sheet(book: Book, view: WallView, words: Language = EN) -> Context:
    """Context of homeowner.html."""
    view = book.as_told(view)
    units = (view.unit, other_unit(view.unit))
    said = statuses(book, view, words, units)
    state = said[0].state
    drawn = governing_curves(book, view, dots_only=jumped(view))
    chart = PlainChart(drawn, place_words(view, drawn.mark, words), words)
    following = next_visit(book, view)
    last = view.current["last_visit"] if view.current else None
    kind = names.in_language("homeowner", words.code)
    foot = footer(book, kind, view.house, view.wall)
    return {
        **foot,
        "words": words,
        "lang": words.code,
        "others": [_other(code, view) for code in codes() if code != words.code],
        "title": words.say("page", "title", wall=spoken(view, words)),
        "nav": False,
        "units": units,
        "status": said[0],
        "sentence": _either(*(one.sentence for one in said)),
        "beside": [_either(*pair) for pair in zip(*(one.beside for one in said), strict=True)],
        "corrections": [_either(*pair) for pair in zip(*(one.corrections for one in said), strict=True)],
        "sizes": _sizes(view, state, units, words),
        "compared": _either(*(_compared(view, state, unit, words) for unit in units)),
        "chart": _either(*(chart.svg(f"move-{unit}", unit) for unit in units)),
        "chart_words": _either(*(_chart_words(chart, unit) for unit in units)),
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
        "stay_out_first": said[0].shape == "cross" or book.waits(view),
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
    return Markup(f'<span class="u1">{escape(first)}</span><span class="u2">{escape(second)}</span>')


def _chart_words(chart: PlainChart, unit: str) -> Markup:
    return Markup(f'<span id="move-{unit}-words">{escape(chart.in_words(unit))}</span>')


def _sizes(view: WallView, state: str, units: Sequence[str], words: Language) -> list[tuple[str, Markup]]:
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
        (
            words["page"][name],
            _either(*(f"{_size(mm, shown(mm, unit), unit, words)} {left_out.get(name, '')}".strip() for unit in units)),
        )
        for name, mm, shown in rows
    ]


def _size(mm: float, size: str, unit: str, words: Language) -> str:
    tape, thing = words.tape_text(mm, unit), words.comparison(mm)
    return words.say("page", "beside", size=size, tape=tape, thing=thing)


def _compared(view: WallView, state: str, unit: str, words: Language) -> str:
    """What the straps did; nothing after a sudden change, whose step is in the rate after them."""
    if state in SUDDEN or jumped(view):
        return ""
    return repair_sheet.before_and_after(view, unit, none_measured=state == "no movement measured", words=words)


def _not_measured(view: WallView, words: Language) -> list[str]:
    row, said = view.current, words["not_measured"]
    rows = not_measured(view, {part: said[part] for part in Movement})
    if len(rows) == len(Movement) and row and row["rate_mm_per_year"] is not None:
        rows.append(said["only_relative"])
    return rows
