"""One Chromium for the room, the system's own: nothing is downloaded, and without one the room is skipped."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import service_running
from looking import Seen, kind_of, look
from playwright.sync_api import Browser, sync_playwright

from monitor.demo.run import Done
from monitor.report import names

MISSING = "No Chromium on this machine to look at the pages with. On Debian and Ubuntu: apt install chromium"
REQUIRED = os.environ.get("WALLBOW_BROWSER") == "required"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium. With WALLBOW_BROWSER=required a machine without one fails instead of skipping."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        pytest.fail(MISSING, pytrace=False) if REQUIRED else pytest.skip(MISSING)
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=path)
        yield found
        found.close()


@pytest.fixture(scope="session", autouse=True)
def quick_hashes() -> Iterator[None]:
    with service_running.quick_hashes():
        yield


@pytest.fixture(scope="session")
def folder(demo: Done) -> Path:
    """The folder of pages that the demo publishes."""
    return demo.index.parent


@pytest.fixture(scope="session")
def chosen(demo: Done, folder: Path) -> list[Path]:
    """Every page published, but of the office's and the sale's pages of walls only those of one wall per verdict."""
    verdicts = {row["verdict"]: row for row in demo.assessment.wall_results.to_pylist() if row["is_current"]}
    walls = [
        names.page_name(row["house"], row["wall"], "wall")[len("wall") : -len("html")] for row in verdicts.values()
    ]
    return [
        path
        for path in sorted(folder.glob("**/*.html"))
        if "_" not in path.name
        or kind_of(path) == "homeowner"
        or path.name.removeprefix(kind_of(path)).startswith(tuple(walls))
    ]


@pytest.fixture(scope="session")
def seen(browser: Browser, folder: Path, chosen: list[Path]) -> Seen:
    """All chosen pages opened once."""
    return look(browser, folder, chosen)
