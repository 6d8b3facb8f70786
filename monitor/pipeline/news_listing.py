"""Whom to phone: the walls with bad news, those first whose homeowner's page waits for a call."""

from datetime import datetime

from monitor.pipeline.listing import Listing
from monitor.pipeline.phoned_first import zone_of
from monitor.pipeline.publishing import book_of_list
from monitor.report.context import News
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
    after = "After the call: wallbow decide WALL 'called homeowner'. Then write the pages again."
    return Listing(
        f"To be phoned first: {count_text(waiting, 'wall')} (list of {assessment.judged_on})",
        HEADERS,
        rows,
        closing=after if waiting else "",
        blocks=[(f"{line.key} | {line.homeowner}", line.reason) for _, line in lines],
    )


def _page(news: News) -> str:
    if news.told_on:
        return "told"
    return "waits" if news.waits else "out"
