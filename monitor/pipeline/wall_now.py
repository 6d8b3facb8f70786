"""One wall as it stands now, for whoever is to decide about it: assessed from all that is known, nothing saved."""

from datetime import date, datetime

from monitor.pipeline import keys
from monitor.pipeline.assessing import assess
from monitor.pipeline.publishing import book_of
from monitor.report.context import Book, Key
from monitor.store import Store


def wall_now(store: Store, written: str, *, today: date, now: datetime) -> tuple[Key, Book]:
    """House and wall of a written key, and the book of that wall alone, as it would be judged today.

    The numbers are those of an assessment of all walls. Raises NotFoundError as keys.find, TrendError.
    """
    key = keys.find(store.current("walls"), written)
    assessment = assess(store, judged_on=today, known_on=now, walls=[key])
    return key, book_of(store, assessment, walls=[key])
