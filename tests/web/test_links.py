"""Pages by link: what opens, what no longer does and looks like what never did, and that nothing is learnt beside."""

import email
import email.policy
import re
import zipfile
from datetime import date, timedelta
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest
from service_running import BEGAN, Running, token_of

from monitor.errors import NotFoundError, SettingsError
from monitor.pipeline import erasing, intake, link_folders, link_mails, links, page_proof, publishing, review
from monitor.pipeline.links import Link
from monitor.pipeline.page_proof import Standing
from monitor.pipeline.who import RulingError
from monitor.terms import LinkTo, Opened, Role, Step
from monitor.web.serving import NoTokens, log_config

TODAY = BEGAN.date()
NORTH = "DH-01-N"


def link_to(running: Running, opens: LinkTo = LinkTo.HOMEOWNER, wall: str = NORTH, **more: object) -> tuple[Link, str]:
    return links.make(
        running.store(), wall, opens, who="O1", why="asked for it", made_at=running.clock(), today=TODAY, **more
    )  # fmt: skip


def results(running: Running, link: Link) -> list[str]:
    return [row["result"] for row in links.openings(running.store(), link)]


def test_a_link_opens_the_homeowners_page_and_tells_no_house(reviewing: Running) -> None:
    link, token = link_to(reviewing)
    browser = reviewing.browser()
    assert browser.get(f"/h/{token}").headers["location"] == f"/h/{token}/"
    answer = browser.get(f"/h/{token}/")
    assert answer.status_code == 200
    assert "DH-01" not in answer.text
    assert "<script" not in answer.text
    spanish = re.search(r'href="(\w+\.html)" hreflang="es"', answer.text)
    assert spanish
    other = browser.get(f"/h/{token}/{spanish[1]}")
    assert 'lang="es"' in other.text
    assert "DH-01" not in other.text
    assert browser.get(f"/h/{token}/index.html").text == answer.text
    assert results(reviewing, link) == [Opened.SHOWN] * 3
    for shown in (answer, other):
        assert shown.headers["X-Robots-Tag"] == "noindex, nofollow, noarchive"
        assert shown.headers["Referrer-Policy"] == "no-referrer"
        assert shown.headers["Cache-Control"] == "no-store"
        assert "default-src 'none'" in shown.headers["Content-Security-Policy"]
        assert "set-cookie" not in shown.headers
        assert page_proof.of_file(reviewing.store(), shown.content).standing is Standing.AS_WRITTEN


def test_the_token_is_long_and_kept_nowhere(reviewing: Running) -> None:
    _, token = link_to(reviewing)
    reviewing.browser().get(f"/h/{token}/")
    assert len(token) == 32, "24 random bytes: 192 bits"
    kept = [path for path in reviewing.root.rglob("*") if path.is_file() and token.encode() in path.read_bytes()]
    assert kept == []
    (row,) = reviewing.store().office.rows("links")
    assert row["token_sha256"] == sha256(token.encode()).hexdigest()


def test_links_that_ended_expired_or_never_were_answer_alike_byte_for_byte(reviewing: Running) -> None:
    ended, ended_token = link_to(reviewing)
    expired, expired_token = link_to(reviewing, expires_on=TODAY)
    links.end(reviewing.store(), ended, who="O1", why="the house was sold", made_at=reviewing.clock())
    reviewing.clock.forward(days=1)
    browser = reviewing.browser()
    tokens = (ended_token, expired_token, "x" * 32, "..%2f..%2fstore.json", "short")
    answers = [browser.get(f"/h/{token}/") for token in tokens]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1
    assert len({str(sorted(item for item in answer.headers.items() if item[0] != "date")) for answer in answers}) == 1
    (text,) = {answer.text for answer in answers}
    assert "555-0100" in text, "whom to ask"
    assert "Stay out and call" in text
    assert not {"sold", "ended", "expired", "DH-01"} & set(re.findall(r"[\w-]+", text))
    assert 'lang="es"' in browser.get(f"/h/{ended_token}/es.html").text
    assert results(reviewing, ended) == [Opened.ENDED] * 2
    assert results(reviewing, expired) == [Opened.EXPIRED]


def test_a_link_opens_its_own_wall_only(reviewing: Running) -> None:
    _, token = link_to(reviewing)
    browser = reviewing.browser()
    north = browser.get(f"/h/{token}/")
    for place in (
        "homeowner_DH-01_S.html", "wall_DH-01_N.html", "monthly-list.html", "index.html/../../review", "history.html",
        "photos/0123456789abcdef.jpg", "records.zip", "%2e%2e/index.html", "..%2findex.html",
    ):  # fmt: skip
        answer = browser.get(f"/h/{token}/{place}")
        assert answer.status_code in (303, 404), place
        assert answer.content != north.content
        assert answer.headers.get("location", "/sign-in") == "/sign-in"
    _, south = link_to(reviewing, wall="DH-01-S")
    assert browser.get(f"/h/{south}/").content != north.content


def test_history_and_pack_by_link_each_with_its_own_end(reviewing: Running) -> None:
    history, token = link_to(reviewing, LinkTo.HISTORY)
    assert history.row["expires_on"] == date(2026, 8, 13)
    browser = reviewing.browser()
    page = browser.get(f"/h/{token}/")
    assert page.status_code == 200
    assert publishing.number_in(page.content) in page.text.partition("<body>")[2]
    pack, token = link_to(reviewing, LinkTo.PACK)
    assert pack.row["expires_on"] == date(2026, 6, 13)
    door = browser.get(f"/h/{token}/")
    assert "It is not a structural assessment" in door.text
    archive = browser.get(f"/h/{token}/records.zip")
    assert archive.headers["Content-Disposition"] == 'attachment; filename="records.zip"'
    names = zipfile.ZipFile(BytesIO(archive.content)).namelist()
    assert {"readings.csv", "dictionary.csv", "README.txt"} <= set(names)
    assert results(reviewing, pack) == [Opened.SHOWN] * 2


def test_the_usual_end_is_a_year_away_or_sixty_days_past_the_next_visit(reviewing: Running) -> None:
    link, _ = link_to(reviewing)
    assert link.row["expires_on"] == date(2027, 7, 11), "sixty days past 2027-05-12, a year after the last visit"
    link, _ = link_to(reviewing, wall="DH-02-N")
    assert link.row["expires_on"] == date(2027, 5, 13), "no visit of it is due"
    assert links.usual_expiry(reviewing.store(), ("DH-01", "N"), LinkTo.HOMEOWNER, date(2026, 8, 1)) == date(2027, 8, 1)


def test_after_a_sale_no_old_link_of_the_house_opens_and_the_new_owner_has_one_a_wall(reviewing: Running) -> None:
    _, old = link_to(reviewing)
    _, pack = link_to(reviewing, LinkTo.PACK, "DH-01-S")
    _, elsewhere = link_to(reviewing, wall="DH-02-N")
    ended, made = links.after_sale(
        reviewing.store(), "dh-01", who="O1", why="the house was sold", made_at=reviewing.clock(), today=TODAY
    )
    assert (len(ended), [link.key for link, _ in made]) == (2, [("DH-01", "N"), ("DH-01", "S")])
    browser = reviewing.browser()
    assert [browser.get(f"/h/{token}/").status_code for token in (old, pack, elsewhere)] == [404, 404, 200]
    assert [browser.get(f"/h/{token}/").status_code for _, token in made] == [200, 200]


def test_whoever_guesses_often_is_no_longer_answered_and_others_are(reviewing: Running) -> None:
    _, token = link_to(reviewing)
    browser = reviewing.browser()
    answers = [browser.get(f"/h/{n:032d}/").status_code for n in range(25)]
    assert answers == [404] * 20 + [429] * 5
    assert browser.get(f"/h/{token}/").status_code == 200, "who has a link is let in from the same address"
    noted = [row for row in reviewing.store().office.rows("audit") if row["act"] == "link"]
    assert [row["result"] for row in noted] == ["refused: too many that open nothing"], "once, not once a guess"


def test_the_log_of_requests_bears_no_token() -> None:
    import logging.config

    logging.config.dictConfig(log_config())
    record = logging.LogRecord(
        "uvicorn.access", 20, "", 0, '%s - "%s %s HTTP/%s" %d',
        ("127.0.0.1:1", "GET", "/h/abcdefghijklmnopqrstuvwxyz012345/es.html?x=1", "1.1", 200), None,
    )  # fmt: skip
    (handler,) = logging.getLogger("uvicorn.access").handlers
    assert [type(found) for found in handler.filters] == [NoTokens]
    assert handler.filter(record)
    assert handler.format(record).count("/h/...") == 1
    assert "abcdefgh" not in handler.format(record)


def test_the_office_makes_and_ends_links_by_browser(reviewing: Running) -> None:
    office = reviewing.signed_in(Role.OFFICE)
    path = f"/review/walls/{NORTH}/links"
    csrf = token_of(office.get(path).text)
    assert f'href="{path}"' in office.get(f"/review/walls/{NORTH}").text
    form = {"csrf": csrf, "opens": "homeowner", "why": "asked for it", "until": "", "person": ""}
    made = office.post(path, data=form)
    found = re.search(r"http://localhost(/h/[\w-]{32}/)", made.text)
    assert found
    assert found[1] not in office.get(path).text, "shown once"
    assert reviewing.browser().get(found[1]).status_code == 200
    assert "Opened 1 time" in office.get(path).text
    (link,) = links.every(reviewing.store())
    to_end = f"/review/links/{link.row['link_id']}/end"
    assert office.post(to_end, data={"csrf": csrf, "why": "sold"}).status_code == 303
    assert reviewing.browser().get(found[1]).status_code == 404
    assert "ended 2026-05-13 by O1: sold" in office.get(path).text
    acts = [(row["act"], row["result"]) for row in reviewing.store().office.rows("audit") if "link" in row["act"]]
    assert acts == [("link made", "done"), ("link ended", "done")]
    for wrong, said in (
        ({"until": "tomorrow"}, "is no day"),
        ({"until": "2020-01-01"}, "is over"),
        ({"opens": ""}, "must be said"),
        ({"why": " "}, "must both be said"),
        ({"person": "Nobody"}, "Nobody with this person id"),
    ):
        refused = office.post(path, data={**form, **wrong})
        assert refused.status_code == 422
        assert said in refused.text
    assert len(links.every(reviewing.store())) == 1
    again = office.post(to_end, data={"csrf": csrf, "why": "sold"})
    assert again.status_code == 422
    assert "ended already" in again.text


def test_anybody_may_ask_whether_a_page_number_is_on_record(reviewing: Running) -> None:
    _, token = link_to(reviewing)
    browser = reviewing.browser()
    number = publishing.number_in(browser.get(f"/h/{token}/").content)
    found = browser.get("/check", params={"number": number})
    assert f"A page with the number {number} is on our record" in found.text
    assert "DH-01" not in found.text
    assert "No newer page has taken its place" in found.text
    assert "No page with the number" in browser.get("/check", params={"number": "0000-0000-0000"}).text
    assert "This is no page number." in browser.get("/check", params={"number": "<b>x"}).text
    assert "set-cookie" not in found.headers
    for _ in range(30):
        last = browser.get("/check", params={"number": number}).status_code
    assert last == 429


def test_a_folder_of_links_for_a_host_of_files(reviewing: Running, tmp_path: Path) -> None:
    store, to = reviewing.store(), tmp_path / "host"
    link, token = link_to(reviewing)
    (to / ("y" * 32)).mkdir(parents=True)
    (to / ("y" * 32) / "index.html").write_text("left from elsewhere")
    done = link_folders.write(store, to, at=reviewing.clock(), today=TODAY, token=token)
    assert {one.path.name: one.opens for one in done} == {token: Opened.SHOWN, "y" * 32: Opened.ENDED}
    neutral = (to / "index.html").read_bytes()
    assert (to / ("y" * 32) / "index.html").read_bytes() == neutral
    assert (to / "robots.txt").read_text() == "User-agent: *\nDisallow: /\n"
    page = (to / token / "index.html").read_bytes()
    assert page == reviewing.browser().get(f"/h/{token}/").content
    (to / token / "old.html").write_bytes(page)
    link_folders.write(store, to, at=reviewing.clock(), today=TODAY)
    assert not (to / token / "old.html").exists()
    links.end(store, link, who="O1", why="sold", made_at=reviewing.clock())
    link_folders.write(store, to, at=reviewing.clock(), today=TODAY)
    assert {path.name: path.read_bytes() == neutral for path in (to / token).iterdir()} == {
        "index.html": True,
        "es.html": False,
    }
    assert b"DH-01" not in b"".join(path.read_bytes() for path in to.rglob("*") if path.is_file())


@pytest.mark.parametrize(("code", "said"), [("en", "Your wall measurement page for May 2026"), ("es", "mayo de 2026")])
def test_the_mail_with_a_link_tells_nothing_in_its_headers(code: str, said: str, reviewing: Running) -> None:
    store = reviewing.store()
    person = b"person,role,house,name,phone,email\nP01,owner,DH-01,Ada Example,555-0101,ada@example.invalid\n"
    intake.take_register(store, "people.csv", person, received_at=reviewing.clock(), sender="O1")
    store.office.set_company({"name": "the firm\r\nBcc: all@example.invalid", "contact": "555-0100"})
    link, token = link_to(reviewing, person_id="p01")
    address = f"https://walls.example/h/{token}/"
    data = link_mails.made(store, link, address, code=code, at=reviewing.clock())
    mail = email.message_from_bytes(data, policy=email.policy.default)
    assert mail["To"] == "ada@example.invalid"
    assert said in mail["Subject"]
    assert mail["Bcc"] is None
    headers = "".join(f"{name}: {value}\n" for name, value in mail.items())
    for secret in (token, "Ada", "555-01", "DH-01", "firm"):
        assert secret not in headers
    text = mail.get_content().replace("\r\n", "\n")
    assert f"\n{address}\n" in text, "on a line of its own"
    assert "555-0100" in text
    assert "DH-01" not in text
    with pytest.raises(SettingsError, match="nobody to go to"):
        link_mails.made(store, link_to(reviewing, person_id="T1")[0], address, code=code, at=reviewing.clock())


def test_what_cannot_be_linked_is_told(reviewing: Running) -> None:
    store = reviewing.store()
    with pytest.raises(NotFoundError, match="no such wall"):
        link_to(reviewing, wall="DH-99-N")
    with pytest.raises(RulingError, match="is over"):
        link_to(reviewing, expires_on=TODAY - timedelta(days=1))
    with pytest.raises(NotFoundError, match="No wall of such a house"):
        links.after_sale(store, "DH-99", who="O1", why="sold", made_at=BEGAN, today=TODAY)
    with pytest.raises(NotFoundError, match="No link has that id"):
        links.find(store, "ffff")
    link_to(reviewing)
    link_to(reviewing)
    with pytest.raises(NotFoundError, match=r"More than one|No link"):
        links.find(store, "")
    assert erasing.about(store, "O1").acted["links", "who"] == 2


def test_a_page_that_waits_for_a_call_waits_by_link_too(reviewing: Running) -> None:
    """The north wall's may visit holds a reading far off: until somebody calls, the page says it is being checked."""
    _, token = link_to(reviewing)
    browser = reviewing.browser()
    before = browser.get(f"/h/{token}/").content
    review.decide(
        reviewing.store(), NORTH, Step.CALLED_HOMEOWNER, who="O1", why="told on the phone", owner="O1", due=None,
        made_at=reviewing.clock(), today=TODAY,
    )  # fmt: skip
    after = browser.get(f"/h/{token}/").content
    assert (before != after) == bool(reviewing.store().office.rows("news")), "news waits, and then does not"
