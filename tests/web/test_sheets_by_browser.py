"""Field sheets asked for by browser: those of the command, whose scripts run under the service's policy."""

import re
from datetime import date
from html import unescape

from service_running import Running

from monitor.pipeline import field_sheets
from monitor.report import pages
from monitor.terms import Role

DAY = date(2026, 5, 14)
ASKED = "/field-sheets/sheet?day=2026-05-14&walls=DH-01-N,%20dh-01-s"


def test_a_saved_sheet_is_that_of_the_command(with_walls: Running) -> None:
    answer = with_walls.signed_in(Role.TECHNICIAN).get(f"{ASKED}&save=true")
    assert answer.headers["content-disposition"] == 'attachment; filename="field-sheet_2026-05-14_2-walls.html"'
    made = field_sheets.field_sheet(with_walls.store(), ["DH-01-N", "DH-01-S"], day=DAY, known_on=with_walls.clock.at)
    assert answer.content == pages.field_sheet(made)


def test_the_sheet_for_the_day_of_the_work_is_that_of_the_command_and_of_one_wall(with_walls: Running) -> None:
    browser = with_walls.signed_in(Role.TECHNICIAN)
    answer = browser.get("/field-sheets/sheet?day=2026-05-14&walls=dh-01-s&work=true&save=true")
    assert answer.headers["content-disposition"] == 'attachment; filename="as-built-sheet_2026-05-14_DH-01-S.html"'
    made = field_sheets.as_built_sheet(with_walls.store(), "DH-01-S", day=DAY, known_on=with_walls.clock.at)
    assert answer.content == pages.field_sheet(made)
    several = browser.get(f"{ASKED}&work=true")
    assert several.status_code == 422
    assert "is of one wall. Name that wall" in several.text


def test_an_open_sheet_runs_its_own_scripts_only_and_knows_where_to_send(with_walls: Running) -> None:
    answer = with_walls.signed_in(Role.TECHNICIAN).get(ASKED)
    nonce = re.search(r"script-src 'nonce-([^']+)'", answer.headers["content-security-policy"])[1]
    scripts = re.findall(r"<script([^>]*)>", answer.text)
    assert len(scripts) >= 2
    assert all(nonce in script or "application/json" in script for script in scripts)
    assert '"upload_to": "/api/uploads"' in answer.text


def test_walls_that_are_not_known_or_none_due_are_told_in_plain_words(with_walls: Running) -> None:
    browser = with_walls.signed_in(Role.TECHNICIAN)
    assert browser.get("/field-sheets/sheet?day=2026-05-14&walls=DH-77-N").status_code == 404
    none = browser.get("/field-sheets/sheet?day=2026-05-14")
    assert none.status_code == 404
    assert "There is no assessment" in none.text
    for asked, said in (
        ("day=14.05.2026", "'14.05.2026' is no day. Write it like"),
        ("walls=DH-01-N", "'day' is missing."),
    ):
        wrong = browser.get(f"/field-sheets/sheet?{asked}")
        assert wrong.status_code == 422
        assert said in unescape(wrong.text)
        assert '<a href="/field-sheets">Back to: Field sheets</a>' in wrong.text


def test_the_walls_that_are_due_today_are_offered_one_by_one(reviewing: Running, with_walls: Running) -> None:
    reviewing.clock.forward(days=400)
    asked = reviewing.signed_in(Role.TECHNICIAN).get("/field-sheets").text
    offered = re.findall(r'href="(/field-sheets/sheet[^"]+)">([^<]+)</a>', asked)
    assert [name for _, name in offered] == ["DH-01-N", "DH-01-S"]
    opened = reviewing.signed_in(Role.TECHNICIAN).get(unescape(offered[0][0]))
    assert "Field sheet 2027-06-17: DH-01-N" in opened.text
    assert "The walls were not assessed yet" in with_walls.signed_in(Role.TECHNICIAN).get("/field-sheets").text


def test_a_page_open_since_before_asks_for_its_sessions_token(with_walls: Running) -> None:
    browser = with_walls.signed_in(Role.TECHNICIAN)
    said = browser.get("/api/session").json()
    assert (said["account"], said["role"]) == ("T1", "technician")
    without = browser.post("/api/uploads", files=[("files", ("a.csv", b"x"))])
    assert without.status_code == 403
    sent = browser.post("/api/uploads", files=[("files", ("a.csv", b"x"))], headers={"X-CSRF-Token": said["csrf"]})
    assert sent.status_code == 200
