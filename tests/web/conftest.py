"""A service over an invented store: three people, a clock that tests set, and browsers without a window."""

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from monitor import store as stores
from monitor.store import Store
from monitor.terms import Role
from monitor.web import accounts, make_app, passwords
from monitor.web.settings import WebSettings

PASSWORD = "four words of nobody"
PEOPLE = {Role.TECHNICIAN: "T1", Role.OFFICE: "O1", Role.ENGINEER: "E1"}
BEGAN = datetime(2026, 5, 13, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="session", autouse=True)
def quick_hashes() -> Iterator[None]:
    """Hashes of the least cost, in these tests only."""
    from argon2 import PasswordHasher

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "_HASHER", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        yield


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


@pytest.fixture(scope="session")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with an account of each role, made once and copied for each test."""
    root = tmp_path_factory.mktemp("prepared") / "store"
    store = stores.create(root, company={"name": "the demo firm", "contact": "555-0100"}, created_at=BEGAN)
    for role, person in PEOPLE.items():
        accounts.add(store, person, role, password=PASSWORD, at=BEGAN)
    return root


@pytest.fixture
def running(prepared: Path, tmp_path: Path) -> Running:
    return Running(shutil.copytree(prepared, tmp_path / "store"))


@pytest.fixture
def start(prepared: Path, tmp_path: Path) -> Callable[..., Running]:
    """Start a service with other settings."""

    def starting(**changed: object) -> Running:
        root = shutil.copytree(prepared, tmp_path / "store")
        settings = {"secret": "for tests only", "public_url": "http://localhost"} | changed
        return Running(root, settings=WebSettings(**settings))  # type: ignore[arg-type]

    return starting
