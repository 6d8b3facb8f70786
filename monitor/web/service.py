"""What every page needs: the store, the settings, the clock, the limits, and who asks."""

from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

from fastapi import Depends, Request
from limits import RateLimitItem, parse
from limits.storage import MemoryStorage
from limits.strategies import FixedWindowRateLimiter

from monitor import store as stores
from monitor.pipeline import moments
from monitor.pipeline.uploads import Looks
from monitor.records import dataclass, field
from monitor.store import Store
from monitor.terms import Role
from monitor.web import audit
from monitor.web.accounts import Account
from monitor.web.kept import Kept
from monitor.web.settings import WebSettings

Clock = Callable[[], datetime]


@dataclass(frozen=True)
class Service:
    """One running service over one store."""

    root: Path
    settings: WebSettings
    clock: Clock
    kept: Kept = field(default_factory=lambda: Kept(24))
    looks: Looks = field(default_factory=Looks)
    rates: FixedWindowRateLimiter = field(default_factory=lambda: FixedWindowRateLimiter(MemoryStorage()))

    def store(self) -> Store:
        """The store, opened anew for each request: an open one is for one thread."""
        return stores.open(self.root)

    def now(self, store: Store | None = None) -> datetime:
        """The time now, UTC, or the moment after the newest fact on record where the clock is behind that.

        store: the request's, where it has one open.
        """
        return moments.not_before(store or self.store(), self.clock()).at

    def today(self) -> date:
        """Today where the service stands."""
        return self.clock().astimezone().date()

    def allowed(self, rate: str, *about: str) -> bool:
        """Whether one more is within the rate; it is counted."""
        return self.rates.hit(_rate(rate), *about)

    def exceeded(self, rate: str, *about: str) -> bool:
        """Whether the rate is used up; nothing is counted."""
        return not self.rates.test(_rate(rate), *about)


def _rate(written: str) -> RateLimitItem:
    return parse(written)


@dataclass(frozen=True)
class Visitor:
    """Who asks: the account (None: nobody is signed in), the address, and the token of the session's forms.

    by_key: came with a personal key, so there is no session and no token.
    """

    account: Account | None
    address: str
    csrf: str = ""
    by_key: bool = False

    @property
    def name(self) -> str:
        """Account name, '' where nobody is signed in."""
        return self.account.account if self.account else ""


def _service(request: Request) -> Service:
    found: Service = request.app.state.service
    return found


def _visitor(request: Request) -> Visitor:
    found: Visitor = request.state.visitor
    return found


Here = Annotated[Service, Depends(_service)]
"""The service, as a parameter of a page."""
Asking = Annotated[Visitor, Depends(_visitor)]
"""Who asks, as a parameter of a page; the guard has let them in already."""


def is_office(asking: Visitor) -> bool:
    """Whether who asks may change anything here."""
    return asking.account is not None and asking.account.role is Role.OFFICE


def note(
    here: Service,
    who: Visitor,
    act: str,
    result: str,
    *,
    what: str = "",
    wall: str = "",
    store: Store | None = None,
) -> None:
    """Put on the audit's record what this visitor did and what came of it. store: as in `Service.now`."""
    store, clock = store or here.store(), here.clock()
    found = moments.not_before(store, clock)
    told = f"{result}; the clock stood at {clock:%Y-%m-%d %H:%M:%S} UTC" if found.said else result
    audit.record(store, at=found.at, who=who.name, act=act, result=told, address=who.address, what=what, wall=wall)
