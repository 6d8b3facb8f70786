"""Whom to phone: the walls with bad news, those first whose homeowner's page waits for a call."""

from collections.abc import Mapping
from datetime import datetime

from monitor.pipeline import keys
from monitor.pipeline.company_days import zone_of
from monitor.pipeline.listed import Listing
from monitor.pipeline.publishing import book_of_list
from monitor.report import names
from monitor.report.context import Key, News
from monitor.report.monthly_rows import the_list
from monitor.report.wording import count_text
from monitor.results import Assessment
from monitor.store import Store

HEADERS = ("wall", "page", "known since", "goes out at the end of", "told on", "told by", "reason")


def listed(store: Store, assessment: Assessment, now: datetime) -> Listing:
    """Every wall with bad news as its homeowner's page would stand now; the day is the company's own.

    page: 'waits', 'told' (a call is on record), or 'out' (by itself, the time to phone first being over).
    """
    book = book_of_list(store, assessment, now)
    news = book.news
    zone = zone_of(store.office.company())
    lines = [(news[line.house, line.wall], line) for line in the_list(book).all_lines if line.homeowner]
    lines.sort(key=lambda found: (not found[0].waits, found[0].goes_out_on, found[1].key))
    rows = [
        (
            line.key,
            _page(told),
            told.since.astimezone(zone).date().isoformat(),
            told.goes_out_on.isoformat(),
            told.told_on.isoformat() if told.told_on else "",
            told.told_by,
            line.reason,
        )
        for told, line in lines
    ]
    waiting = sum(told.waits for told, _ in lines)
    after = ["After the call: wallbow decide WALL 'called homeowner'. Then write the pages again."] if waiting else []
    if again := [line.key for told, line in lines if not told.waits and _waited(store, (line.house, line.wall))]:
        after.append(
            f"Written while the news waited, so to be written again now, by wallbow reports: {', '.join(again)}."
        )
    return Listing(
        f"To be phoned first: {count_text(waiting, 'wall')} (list of {assessment.judged_on})",
        HEADERS,
        rows,
        closing="\n".join(after),
        blocks=[(f"{line.key} | {line.homeowner}", line.reason) for _, line in lines],
    )


def after_writing(news: Mapping[Key, News]) -> str:
    """What to say of pages just written into a folder in which news waits: they do not change by themselves."""
    waits = [f"{keys.written(*key)} (until the end of {told.goes_out_on})" for key, told in news.items() if told.waits]
    if not waits:
        return ""
    return (
        f"News waits for a call in the homeowner's page and history of {', '.join(waits)}. Pages in a folder do not "
        "change by themselves: write them again after the call, or once that day is over; wallbow news says when."
    )


def _waited(store: Store, key: Key) -> bool:
    """Whether the homeowner's page that was published last was one in which the news waited."""
    pages = store.office.rows("pages", page=names.page_name(*key, "homeowner"))
    newest = max(pages, key=lambda row: row["known_at"], default=None)
    told = store.office.rows("news", edition_id=newest["edition_id"]) if newest else []
    return any(row["waits"] for row in told if (row["house"], row["wall"]) == key)


def _page(news: News) -> str:
    if news.told_on:
        return "told"
    return "waits" if news.waits else "out"
