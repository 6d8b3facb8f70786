"""Rows of the threat list in docs/links.md that no other test holds: each tried as somebody who means harm would."""

import csv
import io
import socket
import time
import zipfile
from pathlib import Path

import openpyxl
import pytest
from service_running import PASSWORD, Running, served

from monitor.pipeline import intake, links, pack
from monitor.pipeline.assessing import assess, newest
from monitor.pipeline.export import export
from monitor.terms import LinkTo, Role

SCRIPT = "<script>alert(1)</script>"
FORMULA = '=HYPERLINK("http://example.invalid","x")'
_BEGUN = (
    b"POST /sign-in HTTP/1.1\r\nHost: %b\r\nContent-Type: application/x-www-form-urlencoded\r\n"
    b"Content-Length: 500\r\n\r\nname="
)
"""A form of 500 bytes of which five are sent."""


@pytest.fixture
def named(reviewing: Running) -> Running:
    """A house and a wall whose names are meant to do harm."""
    house = f'house,nickname,note\nDH-01,"{SCRIPT}","{FORMULA.replace(chr(34), chr(34) * 2)}"\n'.encode()
    wall = f"house,wall,nickname,length,clear height\nDH-01,N,{SCRIPT},24 ft,8 ft\n".encode()
    at = reviewing.clock()
    for name, data in (("houses.csv", house), ("walls.csv", wall)):
        [taken] = intake.take_register(reviewing.store(), name, data, received_at=at, sender="O1")
        assert taken.added == 1, taken.intake.messages
    assess(reviewing.store(), judged_on=at.date(), known_on=reviewing.clock())
    return reviewing


def test_a_name_that_is_a_script_is_text_on_every_page_and_by_every_link(named: Running) -> None:
    browser = named.browser()
    found = []
    for opens in LinkTo:
        _, token = links.make(
            named.store(), "DH-01-N", opens, who="O1", why="asked", made_at=named.clock(), today=named.clock().date()
        )
        found.append(browser.get(f"/h/{token}/").text)
    office = named.signed_in(Role.OFFICE)
    found += [office.get(path).text for path in ("/review/walls/DH-01-N", "/pages/wall_DH-01_N.html")]
    assert all(SCRIPT not in text for text in found)
    assert any("&lt;script&gt;alert(1)" in text for text in found)


def test_no_text_of_a_table_that_goes_out_runs_in_a_spreadsheet(named: Running, tmp_path: Path) -> None:
    export(named.store(), tmp_path / "out", known_on=named.clock())
    tables = [path.read_text(encoding="utf-8") for path in (tmp_path / "out").glob("*.csv")]
    archive = pack.archive(pack.files(named.store(), newest(named.store()), ("DH-01", "N")))
    with zipfile.ZipFile(io.BytesIO(archive)) as packed:
        tables += [packed.read(name).decode() for name in packed.namelist() if name.endswith(".csv")]
    cells = [cell for text in tables for row in csv.reader(io.StringIO(text)) for cell in row]
    assert f"'{FORMULA}" in cells
    assert [cell for cell in cells if cell.startswith(("=", "@", "+"))] == []


def test_a_workbook_that_unpacks_to_gigabytes_is_refused_before_it_does(with_walls: Running) -> None:
    book = io.BytesIO()
    openpyxl.Workbook().save(book)
    bomb = io.BytesIO()
    with zipfile.ZipFile(book) as good, zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as made:
        for name in good.namelist():
            made.writestr(name, good.read(name))
        with made.open("xl/media/zeros.bin", "w") as member:
            for _ in range(100):
                member.write(bytes(1 << 20))
    office = with_walls.with_key(Role.OFFICE)
    began = time.monotonic()
    answer = office.post("/api/uploads", files={"files": ("visit.xlsx", bomb.getvalue())})
    assert answer.status_code in (200, 201, 422), answer.text
    assert "Expected: at most 80,000,000 bytes" in answer.text
    assert len(bomb.getvalue()) < 1 << 20
    assert time.monotonic() - began < 20


@pytest.mark.parametrize("name", ["../../web.secret", "/etc/passwd", "..\\..\\store.json", "a\r\nSet-Cookie: x=1"])
def test_a_files_name_reaches_no_other_place(name: str, with_walls: Running) -> None:
    before = {path for path in with_walls.root.parent.rglob("*") if path.is_file()}
    answer = with_walls.with_key(Role.OFFICE).post("/api/uploads", files={"files": (name, b"house\nDH-77\n")})
    assert "set-cookie" not in answer.headers
    new = {path for path in with_walls.root.parent.rglob("*") if path.is_file()} - before
    assert all(path.is_relative_to(with_walls.root) for path in new)


def test_who_sends_slowly_keeps_nobody_else_waiting(with_walls: Running) -> None:
    """Twenty connections that begin a form and never end it; somebody else signs in meanwhile."""
    with served(with_walls.root) as url:
        host, port = url.removeprefix("http://").split(":")
        slow = [socket.create_connection((host, int(port))) for _ in range(20)]
        for each in slow:
            each.sendall(_BEGUN % url[7:].encode())
        began = time.monotonic()
        with socket.create_connection((host, int(port)), timeout=10) as quick:
            quick.sendall(f"GET /sign-in HTTP/1.1\r\nHost: {url[7:]}\r\nConnection: close\r\n\r\n".encode())
            assert quick.recv(12) == b"HTTP/1.1 200"
        assert time.monotonic() - began < 10
        for each in slow:
            each.close()


def test_a_body_that_pauses_too_long_is_given_up(running: Running) -> None:
    with served(running.root, patience_seconds=0.2) as url:
        host, port = url.removeprefix("http://").split(":")
        with socket.create_connection((host, int(port)), timeout=10) as slow:
            slow.sendall(_BEGUN % url[7:].encode())
            assert slow.recv(12) == b"HTTP/1.1 408"


def test_no_secret_stands_in_the_audit_or_in_any_page(reviewing: Running) -> None:
    office = reviewing.signed_in(Role.OFFICE)
    _, token = links.make(
        reviewing.store(), "DH-01-N", LinkTo.HOMEOWNER, who="O1", why="asked", made_at=reviewing.clock(),
        today=reviewing.clock().date(),
    )  # fmt: skip
    reviewing.browser().get(f"/h/{token}/")
    reviewing.browser().post("/sign-in", data={"name": "O1", "password": PASSWORD})
    shown = office.get("/audit").text + office.get("/review/walls/DH-01-N/links").text
    audit = "".join(str(row) for row in reviewing.store().office.rows("audit"))
    for secret in (token, PASSWORD, reviewing.settings.secret):
        assert secret not in shown
        assert secret not in audit
