"""The written pages by browser: as published or not at all, and nothing else of the disk."""

from collections.abc import Callable
from html import unescape
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from service_running import Running

from monitor.report import pages
from monitor.store import files
from monitor.terms import Role

PAGE = b"<!DOCTYPE html><title>x</title><script>let here = 1;</script>"


@pytest.fixture
def shown(start: Callable[..., Running], tmp_path: Path) -> Running:
    """A service with a folder of one published page, one that is not, a picture, and a file outside the folder."""
    folder = tmp_path / "pages"
    (folder / "photos").mkdir(parents=True)
    for name, data in {
        "index.html": PAGE,
        "other.html": PAGE,
        "plotly.min.js": pages.plotly_script(),
        "photos/a1.jpg": b"\xff\xd8",
        "notes.txt": b"x",
        "../secret.html": PAGE,
    }.items():
        (folder / name).write_bytes(data)
    (folder / "photos" / "outside.jpg").symlink_to(tmp_path / "secret.html")
    running = start(pages=folder)
    row = dict.fromkeys(("house", "wall", "supersedes"), "") | {"known_at": running.clock()}
    row |= {"report_number": "1", "page": "index.html", "sha256": files.sha256(PAGE), "edition_id": "0" * 16}
    running.store().office.add({"pages": [row]})
    return running


@pytest.fixture
def engineer(shown: Running) -> TestClient:
    return shown.signed_in(Role.ENGINEER)


def test_a_published_page_is_shown_and_runs_its_own_scripts_only(engineer: TestClient) -> None:
    assert engineer.get("/pages").headers["location"] == "/pages/index.html"
    answer = engineer.get("/pages/index.html")
    assert answer.content == PAGE
    # the hash of `let here = 1;`, by openssl dgst -sha256 -binary | base64
    assert (
        "script-src 'self' 'sha256-dIGXKCQTtYnY3tUSnInX+nXK0jeZJSKrYNcqR2X+rmo=';"
        in answer.headers["content-security-policy"]
    )
    assert engineer.get("/pages/plotly.min.js").headers["content-type"].startswith("text/javascript")
    assert engineer.get("/pages/photos/a1.jpg").headers["content-type"] == "image/jpeg"


def test_a_page_that_was_altered_or_never_published_is_not_shown(engineer: TestClient, shown: Running) -> None:
    assert engineer.get("/pages/other.html").status_code == 409
    assert shown.settings.pages is not None
    (shown.settings.pages / "index.html").write_bytes(PAGE + b" ")
    answer = engineer.get("/pages/index.html")
    assert answer.status_code == 409
    assert "not byte for byte as it was published" in answer.text


@pytest.mark.parametrize(
    "place",
    [
        *("../secret.html", "%2e%2e/secret.html", "..%2fsecret.html", "photos/../../secret.html", "a\\..\\secret.html"),
        *(
            "photos/outside.jpg",
            "notes.txt",
            "photos",
            "",
            "no.html",
            ".hidden.html",
            "//etc/passwd",
            "%2Fetc%2Fpasswd",
        ),
    ],
)
def test_nothing_beside_the_pages_is_reached(place: str, engineer: TestClient) -> None:
    assert engineer.get(f"/pages/{place}").status_code == 404


def test_a_service_without_such_a_folder_makes_the_pages_itself_and_says_what_that_takes(running: Running) -> None:
    answer = running.signed_in(Role.OFFICE).get("/pages/index.html")
    assert answer.status_code == 404
    assert "There is no assessment in this store." in unescape(answer.text)
