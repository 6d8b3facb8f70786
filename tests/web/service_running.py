"""A service over an invented store, and browsers without a window to ask it: shared by the tests of the doors."""

import re
import socket
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import uvicorn
from argon2 import PasswordHasher
from fastapi import FastAPI
from fastapi.testclient import TestClient

from monitor import store as stores
from monitor.pipeline import intake
from monitor.pipeline.assessing import assess
from monitor.store import Store
from monitor.terms import Role
from monitor.web import accounts, passwords
from monitor.web.app import make_app
from monitor.web.settings import WebSettings

PASSWORD = "four words of nobody"
PEOPLE = {Role.TECHNICIAN: "T1", Role.OFFICE: "O1", Role.ENGINEER: "E1"}
BEGAN = datetime(2026, 5, 13, 9, 0, tzinfo=UTC)

HEADINGS = "house,wall,visit date,technician,instrument,mark,value,unit,kind,mends"
NORTH = ("2 15/16", "2 1/8", "1 13/16", "2 1/8", "2 15/16")
SOUTH = ("3", "2 11/16", "2 9/16", "2 11/16", "3")
VISITED = (date(2024, 4, 9), date(2024, 10, 8), date(2025, 4, 8), date(2025, 10, 7))
LAST_VISIT = date(2026, 5, 12)
HOUSES = 9
REGISTER = {
    "people": ["person,role", "T1,technician", "O1,office", "E1,engineer"],
    "houses": ["house", *(f"DH-0{n}" for n in range(1, HOUSES + 1))],
    "instruments": ["instrument,method,stand-off,step", "B3,string,3 in,1/16 in"],
    "walls": [
        "house,wall,length,clear height,thickness,method,kind,unit",
        *(f"DH-0{n},{wall},24 ft,8 ft,8 in,string,gap,in" for n in range(1, HOUSES + 1) for wall in "NS"),
    ],
    "marks": [
        "house,wall,mark,x,z,row,set on",
        *(
            f"DH-0{n},{wall},M{m},{6 * (m - 1)} ft,4 ft,M,2024-04-09"
            for n in range(1, HOUSES + 1)
            for wall in "NS"
            for m in range(1, 6)
        ),
    ],
}


def sheet(days: date | Sequence[date], *walls: tuple[str, tuple[str, ...]]) -> bytes:
    """A file of readings: (house-wall, values of M1 to M5) of one day, or the same of several."""
    rows = [
        f"{key[:-2]},{key[-1]},{day},T1,B3,M{n},{value},in,gap,"
        for day in (days if isinstance(days, Sequence) else [days])
        for key, values in walls
        for n, value in enumerate(values, start=1)
    ]
    return "\n".join([HEADINGS, *rows, ""]).encode()


def fill(root: Path, *, visits: bool) -> Store:
    """A new store with people and their accounts; with visits, nine houses and four visits of the first."""
    store = stores.create(root, company={"name": "the demo firm", "contact": "555-0100"}, created_at=BEGAN)
    for table, lines in REGISTER.items() if visits else ():
        data = "\n".join(lines).encode()
        [taken] = intake.take_register(
            store, f"{table}.csv", data, received_at=BEGAN - timedelta(days=900), sender="O1"
        )
        assert list(taken.intake.messages) == []
    if visits:  # in one file, as the model is asked once for each
        last = VISITED[-1]
        at = datetime(last.year, last.month, last.day, 20, tzinfo=UTC)
        data = sheet(VISITED, ("DH-01-N", NORTH), ("DH-01-S", SOUTH))
        taken = intake.take_readings(store, "visits.csv", data, received_at=at, sender="T1", today=last)
        assert taken.intake.used == taken.added == 10 * len(VISITED)
    for role, person in PEOPLE.items():
        accounts.add(store, person, role, password=PASSWORD, at=BEGAN)
    return store


def fill_for_review(root: Path) -> Store:
    """The same with what waits for the office: two lists, and a visit with three readings held."""
    store = fill(root, visits=True)
    for day in (date(2026, 3, 31), LAST_VISIT):
        at = datetime(day.year, day.month, day.day, 20, tzinfo=UTC)
        if day == LAST_VISIT:
            north, south = (*NORTH[:2], "1 3/16", NORTH[3], "2 3/8"), (*SOUTH[:2], "1 15/16", *SOUTH[3:])
            data = sheet(day, ("DH-01-N", north), ("DH-01-S", south))
            taken = intake.take_readings(store, "may.csv", data, received_at=at, sender="T1", today=day)
            assert taken.intake.held == 3
        assess(store, judged_on=day, known_on=at)
    return store


@dataclass
class Clock:
    """A clock that stands still until it is moved."""

    at: datetime = BEGAN

    def __call__(self) -> datetime:
        self.at += timedelta(microseconds=1)
        return self.at

    def forward(self, **span: float) -> None:
        self.at += timedelta(**span)


@dataclass
class Running:
    """A service and the means to ask it."""

    root: Path
    clock: Clock = field(default_factory=Clock)
    settings: WebSettings = field(
        default_factory=lambda: WebSettings(secret="for tests only", public_url="http://localhost")
    )

    def __post_init__(self) -> None:
        self.app: FastAPI = make_app(self.root, self.settings, self.clock)

    def store(self) -> Store:
        return stores.open(self.root)

    def browser(self) -> TestClient:
        return TestClient(self.app, base_url="http://localhost", follow_redirects=False)

    def signed_in(self, role: Role) -> TestClient:
        browser = self.browser()
        token = token_of(browser.get("/sign-in").text)
        answer = browser.post("/sign-in", data={"name": PEOPLE[role], "password": PASSWORD, "csrf": token})
        assert answer.status_code == 303, answer.text
        return browser

    def with_key(self, role: Role) -> TestClient:
        key = accounts.new_key(self.store(), PEOPLE[role], at=self.clock())
        browser = self.browser()
        browser.headers["Authorization"] = f"Bearer {key}"
        return browser


def token_of(text: str) -> str:
    """The token in a page's forms."""
    found = re.search(r'name="csrf" value="([^"]+)"', text)
    assert found, text
    return found[1]


@contextmanager
def quick_hashes() -> Iterator[None]:
    """Hashes of the least cost, where what they cost is not in question."""
    with pytest.MonkeyPatch.context() as patch:
        quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
        patch.setattr(passwords, "_hasher", lambda: quick)
        yield


@contextmanager
def served(root: Path, **changed: object) -> Iterator[str]:
    """The service as it runs for people, on a free port of this machine; the address to reach it by.

    changed: settings in place of the usual ones.
    """
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{listening.getsockname()[1]}"
        settings = WebSettings(secret="for tests only", public_url=url)
        app = make_app(root, replace(settings, **changed), Clock())  # type: ignore[arg-type]
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", server_header=False))
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        try:
            while not server.started:
                time.sleep(0.01)
            yield url
        finally:
            server.should_exit = True
            thread.join()
