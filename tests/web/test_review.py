"""The review door without a window: the list, a wall, decisions and rulings, and two people at once."""

import re
from datetime import UTC, datetime, timedelta
from html import unescape
from io import BytesIO
from pathlib import Path
from threading import Barrier, Thread
from zipfile import ZipFile

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from service_running import LAST_VISIT, NORTH, Running, sheet, token_of

from monitor.pipeline import alert_record, alerting, assessing, editions, page_proof, publishing, review
from monitor.pipeline.assessing import assess
from monitor.pipeline.page_proof import Standing
from monitor.report import names
from monitor.terms import Act, Role, Step

WALL = "/review/walls/DH-01-N"


@pytest.fixture
def office(reviewing: Running) -> TestClient:
    return reviewing.signed_in(Role.OFFICE)


def words(answer: Response) -> str:
    """What a page says, without its tags and style."""
    text = re.sub(r"<(style|script)\b.*?</\1>", " ", answer.text, flags=re.S)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", text)).split())


def form_of(answer: Response, **fields: object) -> dict[str, object]:
    """What a form of a page sends: the token, what the page was made from, and what was filled in."""
    found = re.search(r'name="seen" value="([^"]*)"', answer.text)
    assert found
    return {"csrf": token_of(answer.text), "seen": found[1], **fields}


def held(running: Running, wall: str, mark: str) -> str:
    [found] = [
        str(row["reading_id"])
        for row in running.store().readings().to_pylist()
        if (row["wall"], row["mark"], row["state"]) == (wall, mark, "held")
    ]
    return found


def acts(running: Running) -> list[tuple[str, str, str, str]]:
    rows = running.store().office.rows("audit")
    return [(row["who"], row["act"], row["wall"], row["result"]) for row in rows if row["act"] != "sign in"]


def test_what_changed_since_the_last_list_stands_first_and_the_form_narrows_without_a_script(
    office: TestClient,
) -> None:
    said = words(office.get("/review"))
    assert "Since the list of 2026-03-31:" in said
    headings = re.findall(r"<h2 id=\"[a-z-]+\">([^<]+)</h2>", office.get("/review").text)
    assert headings == ["New since the last list (2)"]
    for wall in ("DH-01-N", "DH-01-S"):
        assert said.index(wall) > said.index(headings[0])
    only = words(office.get("/review", params={"text": "dh-01-n"}))
    assert "DH-01-N" in only
    assert "DH-01-S" not in only
    assert "1 of 2 walls shown" in only
    assert "No wall of this list fits what you look for." in words(
        office.get("/review", params={"state": "still open", "owner": "O1"})
    )


def test_whose_homeowner_is_to_be_phoned_stands_before_all_else_until_the_call_is_logged(reviewing: Running) -> None:
    company = reviewing.store().office.company() | {"time zone": "Pacific/Honolulu"}
    reviewing.store().office.set_company(
        company
    )  # where it is still the evening of the visit: its news goes out at midnight
    office = reviewing.signed_in(Role.OFFICE)

    def first() -> str:
        found = re.search(
            r'<section class="box" aria-labelledby="phone-first">.*?</section>', office.get("/review").text, re.S
        )
        return found[0] if found else ""

    assert "Phone first: 2 homeowners" in first()
    assert first().count("the page goes out by itself at the end of 2026-05-12") == 2
    for wall in ("N", "S"):
        assert f"DH-01-{wall}</a>" in first()
        review.decide(
            reviewing.store(), f"DH-01-{wall}", Step.CALLED_HOMEOWNER, who="O1", why="told", owner="", due=None,
            made_at=reviewing.clock(), today=reviewing.clock().date(),
        )  # fmt: skip
        assert f"DH-01-{wall}</a>" not in first()
    assert "homeowner told on 2026-05-12 by O1" in words(office.get("/review"))


def test_a_wall_says_why_what_waits_and_what_was_done(office: TestClient) -> None:
    said = words(office.get(WALL))
    assert "The list of 2026-05-12 says:" in said
    assert "Held readings (2)" in said
    assert "M3 is" in said
    assert "5 readings came in with may.csv" in said
    assert "Inward rate" in said
    assert "<svg" in office.get(WALL).text


def test_a_decision_is_recorded_shown_on_wall_and_list_and_put_on_the_audit(
    reviewing: Running, office: TestClient
) -> None:
    opened = office.get(WALL)
    sent = form_of(opened, step="visit sooner", why="read it again", owner="T1", due="2026-05-20")
    answer = office.post(f"{WALL}/decide", data=sent)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{WALL}?done=decide")
    [row] = reviewing.store().office.rows("decisions")
    assert (row["step"], row["owner"], str(row["due"]), row["who"]) == ("visit sooner", "T1", "2026-05-20", "O1")
    assert "Your decision is on record." in words(office.get(answer.headers["location"]))
    assert "visit sooner, by T1, due 2026-05-20: read it again" in words(office.get(WALL))
    assert "visit sooner by 2026-05-20: read it again (O1, 2026-05-13)" in words(office.get("/review"))
    assert ("O1", "decide", "DH-01-N", "done") in acts(reviewing)


def test_what_cannot_be_done_so_is_said_and_what_was_typed_stays(reviewing: Running, office: TestClient) -> None:
    opened = office.get(WALL)
    for wrong, said in (
        ({"step": "wait"}, "What is done next must be said"),
        ({"due": "20 May"}, "'20 May' is no day"),
        ({"due": "2026-05-01"}, "The day by which it is due is over"),
        ({"owner": "T9"}, "Nobody with this person id is registered"),
    ):
        typed = {"step": "no action", "why": "the wall is <dry>", "owner": "T1", "due": ""} | wrong
        answer = office.post(f"{WALL}/decide", data=form_of(opened, **typed))
        assert answer.status_code == 422
        assert f"Not done as asked. {said}" in words(answer).split("Inward rate")[0], "before all else"
        assert "the wall is &lt;dry&gt;</textarea>" in answer.text
    nothing = office.post(f"{WALL}/rulings", data=form_of(opened, act="release", why="no reason to doubt"))
    assert "No reading is ticked" in words(nothing)
    assert 'value="no reason to doubt"' in nothing.text
    assert reviewing.store().office.rows("decisions") == []


def test_held_readings_are_released_rejected_and_corrected_and_the_verdict_has_it_at_once(
    reviewing: Running, office: TestClient
) -> None:
    one, two = held(reviewing, "N", "M5"), held(reviewing, "N", "M3")
    answer = office.post(f"{WALL}/rulings", data=form_of(office.get(WALL), act="release", why="seen", reading=[one]))
    assert answer.status_code == 303
    said = words(office.get(answer.headers["location"]))
    assert "Held readings (1)" in said
    assert "The verdict on this page has it in already" in said
    opened = office.get(f"/review/readings/{two}")
    assert "None yet." in words(opened)
    sent = form_of(opened, act="correct", value="1 13/16", unit="in", why="a slip of the pen")
    assert office.post(f"/review/readings/{two}", data=sent).status_code == 303
    said = words(office.get(WALL))
    assert "None waits." in said
    assert "No reading of this wall is held." in said
    history = words(office.get(f"/review/readings/{two}"))
    assert "1 13/16 in: used" in history
    assert "As it came in 1 3/16 in" in history
    assert "O1: correct to 1 13/16 in: a slip of the pen" in history
    withdrawn = form_of(office.get(f"/review/readings/{two}"), act="withdraw", why="not so")
    assert office.post(f"/review/readings/{two}", data=withdrawn).status_code == 303
    assert held(reviewing, "N", "M3") == two, "what stood before stands again"
    by_time = reviewing.store().facts("rulings").sort_by("known_at").to_pylist()
    assert [row["act"] for row in by_time] == ["release", "correct", "withdraw"]
    assert [each for each in acts(reviewing) if each[3] == "done"] == [("O1", "rule", "DH-01-N", "done")] * 3


def test_what_only_the_look_of_now_sets_aside_is_released_without_a_new_list(
    reviewing: Running, office: TestClient
) -> None:
    """A correction mistyped by an inch: no list has it, the wall's page takes it for a misread at once."""
    [used] = [
        row["reading_id"]
        for row in reviewing.store().readings(walls=[("DH-01", "N")]).to_pylist()
        if (row["mark"], str(row["visit_date"])) == ("M2", "2025-04-08")
    ]
    place = f"/review/readings/{used}"
    for sent in ({"act": "correct", "value": "1 1/8", "unit": "in"}, {"act": "release"}):
        opened = office.get(place)
        assert ("held" in words(opened).split("As it came in")[0]) == (sent["act"] == "release")
        assert office.post(place, data=form_of(opened, **sent, why="read so")).status_code == 303
    assert [row["act"] for row in reviewing.store().facts("rulings").sort_by("known_at").to_pylist()] == [
        *("correct", "release")
    ]


def test_of_several_rulings_those_on_record_are_named_where_one_cannot_be_made(
    reviewing: Running, office: TestClient
) -> None:
    one = held(reviewing, "N", "M5")
    [used] = [
        row["reading_id"]
        for row in reviewing.store().readings(walls=[("DH-01", "N")]).to_pylist()
        if (row["mark"], str(row["visit_date"])) == ("M1", "2026-05-12")
    ]
    sent = form_of(office.get(WALL), act="release", why="seen", reading=[one, used])
    answer = office.post(f"{WALL}/rulings", data=sent)
    assert answer.status_code == 422
    assert f"The ruling on {one} is on record, that on {used} is not. Only a held reading" in words(answer)
    assert [row["reading_id"] for row in reviewing.store().facts("rulings").to_pylist()] == [one]


def test_a_value_that_is_no_length_is_told_and_stays_in_its_field(reviewing: Running, office: TestClient) -> None:
    reading = held(reviewing, "N", "M3")
    opened = office.get(f"/review/readings/{reading}")
    sent = form_of(opened, act="correct", value="1 13/x", unit="in", why="a slip")
    answer = office.post(f"/review/readings/{reading}", data=sent)
    assert answer.status_code == 422
    assert "1 13/x" in words(answer)
    assert 'value="1 13/x"' in answer.text
    assert reviewing.store().facts("rulings").num_rows == 0


def test_what_happened_meanwhile_is_shown_before_a_form_is_taken_and_nothing_is_lost(
    reviewing: Running, office: TestClient
) -> None:
    reading, store = held(reviewing, "N", "M3"), reviewing.store()
    on_wall, on_reading = office.get(WALL), office.get(f"/review/readings/{reading}")
    review.rule(store, reading, Act.REJECT, who="O1", why="the rule was held crooked", made_at=reviewing.clock())
    sent = form_of(on_wall, step="call engineer", why="it looks bad", owner="O1", due="")
    first = office.post(f"{WALL}/decide", data=sent)
    assert first.status_code == 409
    assert "O1: reject of M3, 2026-05-12: the rule was held crooked" in words(first)
    assert "it looks bad</textarea>" in first.text
    assert store.office.rows("decisions") == []
    again = office.post(f"{WALL}/decide", data=form_of(first, step="call engineer", why="it looks bad", owner="O1"))
    assert again.status_code == 303
    stale = form_of(on_reading, act="release", why="it is right")
    answer = office.post(f"/review/readings/{reading}", data=stale)
    assert answer.status_code == 409
    assert "Something happened while you wrote: nothing of yours is taken yet" in words(answer)
    assert "call engineer, by O1: it looks bad" in words(answer)
    assert 'value="it is right"' in answer.text
    assert [row["act"] for row in store.facts("rulings").to_pylist()] == ["reject"]


def test_readings_that_came_in_meanwhile_are_shown_first_too(reviewing: Running, office: TestClient) -> None:
    from monitor.pipeline import intake

    opened = office.get(WALL)
    day = reviewing.clock().date()
    intake.take_readings(
        reviewing.store(),
        "again.csv",
        sheet(day, ("DH-01-N", ("2 15/16", "2 1/8", "1 13/16", "2 1/8", "2 15/16"))),
        received_at=reviewing.clock(),
        sender="T1",
        today=day,
    )
    sent = form_of(opened, step="visit sooner", why="held", owner="T1")
    assert "T1: 5 readings came in with again.csv" in words(office.post(f"{WALL}/decide", data=sent))


def test_of_two_who_decide_at_once_the_later_is_shown_the_others_first(reviewing: Running) -> None:
    browsers = [reviewing.signed_in(Role.OFFICE) for _ in range(2)]
    forms = [
        form_of(browser.get(WALL), step=step, why=step, owner="O1")
        for browser, step in zip(browsers, ("repair", "call engineer"), strict=True)
    ]
    together, found = Barrier(2), {}

    def send(number: int) -> None:
        together.wait()
        found[number] = browsers[number].post(f"{WALL}/decide", data=forms[number])

    threads = [Thread(target=send, args=(number,)) for number in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answer.status_code for answer in found.values()) == [303, 409]
    [recorded] = reviewing.store().office.rows("decisions")
    [shown] = [answer for answer in found.values() if answer.status_code == 409]
    assert f"{recorded['step']}, by O1: {recorded['why']}" in words(shown)


def test_an_engineer_sees_all_of_it_and_no_form_that_changes_anything(reviewing: Running) -> None:
    engineer = reviewing.signed_in(Role.ENGINEER)
    reading = held(reviewing, "N", "M3")
    for path in ("/review", WALL, f"/review/readings/{reading}", "/review/plan"):
        answer = engineer.get(path)
        assert answer.status_code == 200
        assert re.findall(r'<form[^>]*method="post" action="([^"]+)"', answer.text) == ["/sign-out"]


def test_a_technician_opens_none_of_it(reviewing: Running) -> None:
    technician = reviewing.signed_in(Role.TECHNICIAN)
    for path in ("/review", WALL, "/review/plan", f"{WALL}/pack", "/pages/index.html"):
        assert technician.get(path).status_code == 403
    assert "/review" not in technician.get("/").text


def test_the_office_assesses_again_and_the_list_is_the_new_one(reviewing: Running, office: TestClient) -> None:
    token = token_of(office.get("/review").text)
    answer = office.post("/review/assess", data={"csrf": token})
    while answer.headers.get("location") == "/review/assess" or answer.status_code == 200:
        answer = office.get("/review/assess")
    assert answer.headers["location"] == "/review"
    assert "Judged for 2026-05-13" in words(office.get("/review"))
    same = assess(
        reviewing.store(),
        judged_on=reviewing.clock().date(),
        known_on=assessing.newest(reviewing.store()).known_until,
        save=False,
    )
    assert same.wall_results.equals(assessing.newest(reviewing.store()).wall_results)
    assert any(act == "assess" and result.startswith("done") for _, act, _, result in acts(reviewing))
    assert {alert.wall for alert in alert_record.on_record(reviewing.store())} == {"DH-01-N", "DH-01-S"}


def test_pages_are_made_on_demand_byte_for_byte_as_they_are_published(
    reviewing: Running, office: TestClient, tmp_path: Path
) -> None:
    store = reviewing.store()
    edition = editions.of(store, assessing.newest(store), reviewing.clock())
    written, _ = publishing.write(store, edition, tmp_path / "pages")
    mine = [path for path in written if "_" not in path.name or "_DH-01_N" in path.name]
    assert len(mine) == 8 + len(names.KINDS)
    for path in mine:
        assert office.get(f"/pages/{path.name}").content == path.read_bytes(), path.name
        if path.suffix == ".html":
            standing = page_proof.of_file(store, path.read_bytes()).standing
            assert standing is Standing.AS_WRITTEN, "what was shown is on the ledger"
    assert office.get("/pages/wall_DH-99_N.html").status_code == 404
    assert office.get("/pages").headers["location"] == "/pages/index.html"


def test_the_pack_of_a_wall_is_given_out_and_put_on_the_audit(reviewing: Running, office: TestClient) -> None:
    answer = office.get(f"{WALL}/pack")
    assert 'filename="DH-01-N_2026-05-12.zip"' in answer.headers["content-disposition"]
    assert "README.txt" in ZipFile(BytesIO(answer.content)).namelist()
    assert acts(reviewing)[-1] == ("O1", "pack", "DH-01-N", "done")


def test_a_store_without_a_list_says_so_and_offers_to_assess(with_walls: Running) -> None:
    said = words(with_walls.signed_in(Role.OFFICE).get("/review"))
    assert "Nothing was assessed yet" in said
    assert "Assess all walls for 2026-05-13" in said
    assert with_walls.signed_in(Role.OFFICE).get("/pages/index.html").status_code == 404


def test_every_step_that_can_be_decided_is_offered(office: TestClient) -> None:
    offered = re.findall(r'name="step" value="([^"]+)"', office.get(WALL).text)
    assert sorted(offered) == sorted(step.value for step in Step)


def test_an_alert_is_shown_on_list_and_wall_until_the_office_acknowledges_it(
    reviewing: Running, office: TestClient
) -> None:
    alerting.look(reviewing.store(), at=reviewing.clock())
    alerts = alert_record.waiting(reviewing.store())
    assert {(alert.wall, alert.row["kind"]) for alert in alerts} >= {("DH-01-N", "held reading far inward")}
    assert f"{len(alerts)} alerts that nobody has acknowledged" in words(office.get("/review"))
    mine = next(alert for alert in alerts if alert.wall == "DH-01-N" and alert.row["kind"].startswith("held"))
    opened = office.get(WALL)
    assert "Told: nobody yet. Nobody has acknowledged it yet." in words(opened)
    assert "/acknowledge" not in reviewing.signed_in(Role.ENGINEER).get(WALL).text
    sent = form_of(opened, alert=mine.alert_id, note="T1 reads it <again>")
    answer = office.post(f"{WALL}/acknowledge", data=sent)
    assert answer.headers["location"] == f"{WALL}?done=acknowledge"
    said = words(office.get(answer.headers["location"]))
    assert "It is on record that you see to it." in said
    assert "Acknowledged by O1 on 2026-05-13: T1 reads it <again>" in said
    assert f"{len(alerts) - 1} alert" in words(office.get("/review"))
    assert ("O1", "acknowledge", "DH-01-N", "done") in acts(reviewing)
    assert "Somebody had acknowledged this alert already" in words(office.post(f"{WALL}/acknowledge", data=sent))


def test_a_held_reading_that_is_sent_in_is_an_alert_at_once(with_walls: Running) -> None:
    office = with_walls.signed_in(Role.OFFICE)
    data = sheet(LAST_VISIT, ("DH-01-N", ("2 15/16", "2 1/8", "1 3/16", "2 1/8", "2 15/16")))
    made = office.post(
        "/uploads",
        data={"csrf": token_of(office.get("/uploads").text)},
        files=[("files", ("may.csv", BytesIO(data), "text/csv"))],
    )
    place = made.headers["location"]
    assert alert_record.on_record(with_walls.store()) == []
    office.post(f"{place}/confirm", data={"csrf": token_of(office.get(place).text)})
    [alert] = alert_record.on_record(with_walls.store())
    assert (alert.wall, alert.row["kind"], alert.urgency) == ("DH-01-N", "held reading far inward", "same-day call")


def test_a_wall_with_new_readings_is_on_the_list_as_it_is_now(reviewing: Running) -> None:
    """Sent in after the last list: named as assessed again, with a line of its own, until all walls are."""
    client = reviewing.signed_in(Role.OFFICE)
    assert "Assessed again since" not in client.get("/review").text
    day = LAST_VISIT + timedelta(days=7)
    reviewing.clock.at = datetime(day.year, day.month, day.day, 20, tzinfo=UTC)
    script = reviewing.with_key(Role.TECHNICIAN)
    shown = script.post("/api/uploads", files={"files": ("week.csv", sheet(day, ("DH-01-N", NORTH)))}).json()
    stored = script.post(f"/api/uploads/{shown['upload_id']}/confirm").json()
    assert [wall["wall"] for wall in stored["walls"]] == ["DH-01-N"]
    listed = reviewing.signed_in(Role.OFFICE).get("/review").text
    assert "Assessed again since: 1 wall" in listed
    assert f"for {day}: <strong>" in listed
    assert f"rest on the list of {LAST_VISIT}" in listed
