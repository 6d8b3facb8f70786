"""Links, and the openings of one, as tables for a terminal or a script."""

from collections import Counter
from collections.abc import Sequence
from datetime import date

from monitor.pipeline import keys, links
from monitor.pipeline.links import Link
from monitor.pipeline.listed import Listing
from monitor.store import Store

_COLUMNS = ("link", "wall", "opens", "until", "for", "made", "by", "state", "opened")


def listing(store: Store, some: Sequence[Link], today: date) -> Listing:
    """Links as they were made; state: what opening one gives today, and who ended it and why."""
    opened = Counter(row["link_id"] for row in store.office.rows("link_openings"))
    rows = [
        (
            link.row["link_id"],
            keys.written(*link.key),
            link.row["opens"],
            str(link.row["expires_on"]),
            link.row["person"],
            f"{link.row['known_at']:%Y-%m-%d}",
            link.row["who"],
            _state(link, today),
            str(opened[link.row["link_id"]]),
        )
        for link in some
    ]
    return Listing("Links", _COLUMNS, rows)


def openings(store: Store, link: Link) -> Listing:
    """When a link was opened, UTC, and what came of it."""
    rows = [(f"{row['known_at']:%Y-%m-%d %H:%M}", row["result"]) for row in links.openings(store, link)]
    return Listing(f"Openings of link {link.row['link_id']}", ("opened, UTC", "result"), rows)


def _state(link: Link, today: date) -> str:
    if link.ended:
        return f"ended {link.ended['known_at']:%Y-%m-%d} by {link.ended['who']}: {link.ended['why']}"
    return "stands" if link.opens_on(today) == "shown" else "expired"
