"""One wall as it stands now, for whoever is to decide about it: assessed from all that is known, nothing saved."""

from datetime import date, datetime

from monitor.pipeline.assessing import assess
from monitor.pipeline.publishing import book_of_wall
from monitor.report.context import Book, Key
from monitor.store import Store


def wall_now(store: Store, wall: Key, *, today: date, now: datetime) -> Book:
    """The book of that wall alone, as it would be judged today; the numbers are those of an assessment of all walls.

    Raises TrendError.
    """
    return book_of_wall(store, assess(store, judged_on=today, known_on=now, walls=[wall]), wall)
