"""Links for people without an account: a random token opens one page of one wall until a day, or until it is ended.

Of the token only the SHA-256 is kept (it is random, 192 bits, so a slow hash would add nothing): who reads the store or
a backup of it can open nothing. A page once saved cannot be called back; it says itself that another may replace it.
"""

import re
import secrets
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import Any

from monitor.errors import NotFoundError
from monitor.pipeline import keys
from monitor.pipeline.who import RulingError, person, who_and_why
from monitor.records import dataclass
from monitor.report.context import Key, Row
from monitor.store import Store
from monitor.terms import STAFF, LinkTo, Opened
from monitor.trend.schedule import months_after

_BYTES = 24
TOKEN = re.compile(r"[A-Za-z0-9_-]{32}")
"""What a token looks like: 24 random bytes, in the letters of an address."""
_MONTHS: Mapping[LinkTo, int] = {LinkTo.HOMEOWNER: 12, LinkTo.HISTORY: 3, LinkTo.PACK: 1}
_PAST_NEXT_VISIT = timedelta(days=60)


@dataclass(frozen=True)
class Link:
    """A link as it stands. ended: the row of schema.LINKS_ENDED, None while nobody ended it."""

    row: Row
    ended: Row | None

    @property
    def key(self) -> Key:
        """House and wall."""
        return self.row["house"], self.row["wall"]

    def opens_on(self, day: date) -> Opened:
        """What comes of opening it on a day."""
        if self.ended:
            return Opened.ENDED
        return Opened.EXPIRED if day > self.row["expires_on"] else Opened.SHOWN


def make(
    store: Store,
    wall: str,
    opens: LinkTo,
    *,
    who: str,
    why: str,
    made_at: datetime,
    today: date,
    expires_on: date | None = None,
    person_id: str = "",
) -> tuple[Link, str]:
    """A new link and its token, which is told this once. Raises NotFoundError, RulingError.

    expires_on: left out, 12 months from today or 60 days past the wall's next visit, the later, for the homeowner; 3
    months for the history, 1 month for the pack.
    """
    who_and_why(who, why)
    who = person(store, who, STAFF)
    meant = person(store, person_id) if person_id.strip() else ""
    key = keys.registered(store, wall)
    last = expires_on or usual_expiry(store, key, opens, today)
    if last < today:
        raise RulingError("The day on which the link ends is over.", got=str(last), expected=f"{today} or later")
    token = secrets.token_urlsafe(_BYTES)
    row = {
        "link_id": secrets.token_hex(8),
        "token_sha256": _digest(token),
        "opens": opens.value,
        "house": key[0],
        "wall": key[1],
        "expires_on": last,
        "person": meant,
        "who": who,
        "why": why.strip(),
        "known_at": made_at,
    }
    store.office.add({"links": [row]})
    return Link(row, None), token


def usual_expiry(store: Store, key: Key, opens: LinkTo, today: date) -> date:
    """The last day of a link made today, where none is given."""
    last: date = months_after(today, _MONTHS[opens])
    if opens is not LinkTo.HOMEOWNER:
        return last
    found = store.assessment(tables=("wall_results",), walls=[key])
    for row in found.wall_results.to_pylist() if found else ():
        if row["is_current"] and row["due_on"]:
            last = max(last, row["due_on"] + _PAST_NEXT_VISIT)
    return last


def every(store: Store, wall: str = "") -> list[Link]:
    """All links, of one wall or of all, as they were made. Raises NotFoundError where there is no such wall."""
    key = keys.registered(store, wall) if wall else None
    return [link for link in _all(store) if key in (None, link.key)]


def by_token(store: Store, token: str) -> Link | None:
    """The link that a token is of, ended or not; None where it is of none."""
    if not TOKEN.fullmatch(token):
        return None
    rows = store.office.rows("links", token_sha256=_digest(token))
    if not rows:
        return None
    ended = store.office.rows("links_ended", link_id=rows[0]["link_id"])
    return Link(rows[0], ended[0] if ended else None)


def find(store: Store, written: str) -> Link:
    """The link of that id, or of a unique beginning of it (four signs or more). Raises NotFoundError."""
    every = {link.row["link_id"]: link for link in _all(store)}
    return keys.by_beginning(every, written, "link", "`wallbow link list` shows them.")


def end(store: Store, link: Link, *, who: str, why: str, made_at: datetime) -> None:
    """End a link for good: it opens nothing from now on. Raises RulingError where it is ended already."""
    who_and_why(who, why)
    who = person(store, who, STAFF)
    row: dict[str, Any] = {"link_id": link.row["link_id"], "who": who, "why": why.strip(), "known_at": made_at}
    if link.ended or not store.office.add({"links_ended": [row]}):
        raise RulingError("This link is ended already.", got=link.row["link_id"])


def after_sale(
    store: Store, house: str, *, who: str, why: str, made_at: datetime, today: date, person_id: str = ""
) -> tuple[list[Link], list[tuple[Link, str]]]:
    """End every link of a house that stands, and make its new owner one for each wall; the ended, and the new ones.

    Raises NotFoundError, RulingError.
    """
    rows = store.current("walls").to_pylist()
    walls = [(row["house"], row["wall"]) for row in rows if row["house"].casefold() == house.strip().casefold()]
    if not walls:
        raise NotFoundError("No wall of such a house is registered.", got=house, mend="Look at the register.")
    ended = [link for link in _all(store) if link.key in walls and not link.ended]
    for link in ended:
        end(store, link, who=who, why=why, made_at=made_at)
    made = [
        make(
            store, keys.written(*key), LinkTo.HOMEOWNER, who=who, why=why, made_at=made_at, today=today,
            person_id=person_id,
        )
        for key in sorted(walls)
    ]  # fmt: skip
    return ended, made


def opened(store: Store, link: Link, result: Opened, at: datetime) -> None:
    """Put on record that somebody opened it."""
    store.office.add({"link_openings": [{"link_id": link.row["link_id"], "known_at": at, "result": result.value}]})


def openings(store: Store, link: Link) -> Sequence[Row]:
    """When it was opened (rows of schema.LINK_OPENINGS), and what came of it."""
    return store.office.rows("link_openings", link_id=link.row["link_id"])


def _all(store: Store) -> list[Link]:
    ended = {row["link_id"]: row for row in store.office.rows("links_ended")}
    return [Link(row, ended.get(row["link_id"])) for row in store.office.rows("links")]


def _digest(token: str) -> str:
    return sha256(token.encode()).hexdigest()
