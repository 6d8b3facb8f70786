"""Services for the tests of this room."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import service_running
from service_running import Running, fill, fill_for_review

from monitor.web.kept import Kept
from monitor.web.settings import WebSettings


@pytest.fixture(scope="session", autouse=True)
def quick_hashes() -> Iterator[None]:
    with service_running.quick_hashes():
        yield


@pytest.fixture(scope="session")
def prepared(quick_hashes: None, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with an account of each role, made once and copied for each test."""
    return fill(tmp_path_factory.mktemp("prepared") / "store", visits=False).path


@pytest.fixture(scope="session")
def visited(quick_hashes: None, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with nine houses and four visits of the first."""
    return fill(tmp_path_factory.mktemp("visited") / "store", visits=True).path


@pytest.fixture(scope="session")
def listed(quick_hashes: None, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with two lists, and readings that wait for the office."""
    return fill_for_review(tmp_path_factory.mktemp("listed") / "store").path


@pytest.fixture(scope="session")
def kept() -> Kept:
    """What takes long to make of the store with lists: it is made from facts alone, so that copies share it."""
    return Kept(50)


@pytest.fixture
def reviewing(listed: Path, kept: Kept, tmp_path: Path) -> Running:
    running = Running(shutil.copytree(listed, tmp_path / "listed"))
    running.app.state.service = replace(running.app.state.service, kept=kept)
    return running


@pytest.fixture
def running(prepared: Path, tmp_path: Path) -> Running:
    return Running(shutil.copytree(prepared, tmp_path / "store"))


@pytest.fixture
def with_walls(visited: Path, tmp_path: Path) -> Running:
    return Running(shutil.copytree(visited, tmp_path / "walls"))


@pytest.fixture
def start(prepared: Path, tmp_path: Path) -> Callable[..., Running]:
    """Start a service with other settings."""

    def starting(**changed: object) -> Running:
        root = shutil.copytree(prepared, tmp_path / "other")
        settings = {"secret": "for tests only", "public_url": "http://localhost"} | changed
        return Running(root, settings=WebSettings(**settings))  # type: ignore[arg-type]

    return starting
