"""Signing in and out: sessions that end when they must, tokens, limits, and what is kept of passwords."""

import pytest
from service_running import PASSWORD, PEOPLE, Running, token_of

from monitor.errors import NotFoundError
from monitor.terms import Role
from monitor.web import accounts, passwords


def sign_in(running: Running, **changed: str):
    browser = running.browser()
    token = token_of(browser.get("/sign-in").text)
    return browser, browser.post("/sign-in", data={"name": "O1", "password": PASSWORD, "csrf": token} | changed)


def test_name_and_password_open_a_session_and_the_old_cookie_is_renewed(running: Running) -> None:
    browser = running.browser()
    token = token_of(browser.get("/sign-in").text)
    before = browser.cookies["wallbow"]
    answer = browser.post("/sign-in", data={"name": "o1", "password": PASSWORD, "csrf": token})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert browser.cookies["wallbow"] != before
    said = browser.get("/").text
    assert "O1, office" in said
    assert token_of(said) != token, "the form's token is a new one, too"


def test_the_cookie_is_kept_from_scripts_and_other_sites_and_over_tls_from_plain_lines(running: Running, start) -> None:
    cookie = running.browser().get("/sign-in").headers["set-cookie"].casefold()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert "; secure" not in cookie
    over_tls = start(public_url="https://localhost").browser().get("/sign-in").headers
    assert over_tls["set-cookie"].startswith("__Host-wallbow=")
    assert "; secure" in over_tls["set-cookie"]
    assert "max-age" in over_tls["strict-transport-security"]


@pytest.mark.parametrize("changed", [{"password": "four words of anybody"}, {"name": "O9"}, {"password": "x"}])
def test_a_wrong_name_or_password_is_answered_alike(changed: dict[str, str], running: Running) -> None:
    browser, answer = sign_in(running, **changed)
    assert answer.status_code == 401
    assert "No open account has this name and password" in answer.text
    assert browser.get("/").status_code == 303
    rows = running.store().office.rows("audit")
    assert [(row["who"], row["act"], row["result"]) for row in rows] == [("", "sign in", "refused")]
    assert "four words" not in str(rows)


def test_a_form_without_the_sessions_token_does_nothing(running: Running) -> None:
    _, answer = sign_in(running, csrf="another")
    assert answer.status_code == 403
    assert running.browser().post("/sign-in", data={"name": "O1", "password": PASSWORD}).status_code == 403


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site", "Origin": "http://localhost"}, 403),
        ({"Sec-Fetch-Site": "same-origin", "Origin": "null"}, 303),
        ({"Origin": "http://localhost"}, 303),
    ],
)
def test_a_form_from_another_site_does_nothing(headers: dict[str, str], status: int, running: Running) -> None:
    browser = running.signed_in(Role.OFFICE)
    token = token_of(browser.get("/").text)
    assert browser.post("/sign-out", data={"csrf": token}, headers=headers).status_code == status


def test_a_session_ends_when_it_lies_idle_and_at_the_latest_after_its_longest_time(running: Running) -> None:
    idle, busy = running.signed_in(Role.OFFICE), running.signed_in(Role.OFFICE)
    for _ in range(8):
        running.clock.forward(minutes=89)
        assert busy.get("/").status_code == 200
    assert idle.get("/").status_code == 303
    running.clock.forward(minutes=20)
    assert busy.get("/").status_code == 303, "twelve hours are over"


def test_signing_out_ends_the_session_for_a_kept_copy_of_the_cookie_too(running: Running) -> None:
    browser = running.signed_in(Role.OFFICE)
    kept = browser.cookies["wallbow"]
    assert browser.post("/sign-out", data={"csrf": token_of(browser.get("/").text)}).status_code == 303
    copy = running.browser()
    copy.cookies.set("wallbow", kept)
    assert copy.get("/").status_code == 303


def test_a_closed_account_or_another_password_ends_its_sessions_and_nobody_elses(running: Running) -> None:
    browsers = {role: running.signed_in(role) for role in PEOPLE}
    key = running.with_key(Role.TECHNICIAN)
    assert key.get("/").status_code == 200
    accounts.close(running.store(), "T1", at=running.clock())
    accounts.new_password(running.store(), "E1", "another four words", at=running.clock())
    assert [browsers[role].get("/").status_code for role in PEOPLE] == [303, 200, 303]
    assert key.get("/").status_code == 401
    with pytest.raises(NotFoundError):
        accounts.new_key(running.store(), "T1", at=running.clock())


def test_a_cookie_signed_with_another_secret_is_worth_nothing(running: Running, start) -> None:
    cookie = running.signed_in(Role.OFFICE).cookies["wallbow"]
    browser = start(secret="another").browser()
    browser.cookies.set("wallbow", cookie)
    assert browser.get("/").status_code == 303


def test_after_many_failures_signing_in_waits_by_account_and_by_address(start) -> None:
    running = start(sign_in_failures_by_account="3 per 15 minute", sign_in_failures_by_address="5 per 15 minute")
    answers = [sign_in(running, password="x")[1].status_code for _ in range(4)]
    assert answers == [401, 401, 401, 429]
    assert sign_in(running)[1].status_code == 429, "the right password waits as well"
    assert sign_in(running, name="T1")[1].status_code == 303
    assert [sign_in(running, name="nobody")[1].status_code for _ in range(3)] == [401, 401, 429]
    refused = [row["result"] for row in running.store().office.rows("audit") if row["result"] != "done"]
    assert refused.count("refused") == 5
    assert refused.count("refused: too many failures") == 2, "said once for each name, not as often as it is tried"
    held_up = running.browser().get("/", headers={"Authorization": "Bearer O1.guess"})
    assert (held_up.status_code, held_up.headers["retry-after"]) == (429, "900")


def test_a_personal_key_opens_what_its_role_may_and_a_newer_one_takes_its_place(running: Running) -> None:
    first = running.with_key(Role.OFFICE)
    assert first.get("/audit").status_code == 200
    second = running.with_key(Role.OFFICE)
    assert (first.get("/audit").status_code, second.get("/audit").status_code) == (401, 200)
    assert running.with_key(Role.ENGINEER).get("/audit").status_code == 403


def test_a_key_that_opens_nothing_is_on_the_audits_record_without_itself(running: Running) -> None:
    assert running.browser().get("/", headers={"Authorization": "Bearer O1.guessed"}).status_code == 401
    [row] = running.store().office.rows("audit")
    assert (row["who"], row["act"], row["what"], row["result"]) == ("", "personal key", "O1", "refused")


def test_neither_password_nor_key_stands_anywhere_in_the_store(running: Running) -> None:
    key = accounts.new_key(running.store(), "T1", at=running.clock())
    running.signed_in(Role.TECHNICIAN)
    for path in running.root.rglob("*"):
        if path.is_file():
            data = path.read_bytes()
            assert PASSWORD.encode() not in data
            assert passwords.split_key(key)[1].encode() not in data


def test_no_answer_may_be_kept_framed_or_run_a_script_of_others(running: Running) -> None:
    for browser, path in (
        (running.browser(), "/sign-in"),
        (running.signed_in(Role.OFFICE), "/audit"),
        (running.browser(), "/no"),
    ):
        headers = browser.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert headers["cache-control"] == "no-store"
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize(
    ("public_url", "named", "others"),
    [
        ("http://127.0.0.1:8765", {"127.0.0.1:8765", "localhost:8765", "[::1]:8765"}, {"localhost", "127.0.0.1:80"}),
        ("http://[::1]:8765", {"127.0.0.1:8765", "[::1]:8765"}, {"[::1]"}),
        ("https://walls.example", {"walls.example", "Walls.Example"}, {"localhost", "walls.example:8765", ""}),
        ("https://walls.example:443/", {"walls.example"}, {"walls.example.evil.example"}),
        ("http://10.0.0.5:80", {"10.0.0.5"}, {"10.0.0.6"}),
    ],
)
def test_only_names_that_people_reach_the_service_by_are_answered(
    public_url: str, named: set[str], others: set[str], start
) -> None:
    browser = start(public_url=public_url).browser()
    assert {browser.get("/sign-in", headers={"Host": host}).status_code for host in named} == {200}
    assert {browser.get("/sign-in", headers={"Host": host}).status_code for host in others} == {400}


def test_a_body_larger_than_a_form_is_not_read(running: Running) -> None:
    browser = running.signed_in(Role.OFFICE)
    answer = browser.post("/sign-out", data={"csrf": "x" * 70_000})
    assert answer.status_code == 413
    assert "64 KB" in answer.text

    def endless():
        for _ in range(100):
            yield b"x" * 1024

    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    assert browser.post("/sign-out", content=endless(), headers=headers).status_code == 413


NEW = "five other words of nobody"


def change_password(browser, **changed: str):
    token = token_of(browser.get("/password").text)
    return browser.post("/password", data={"old": PASSWORD, "new": NEW, "again": NEW, "csrf": token} | changed)


@pytest.mark.parametrize("role", list(PEOPLE))
def test_everybody_changes_their_own_password_and_every_session_of_theirs_ends(role: Role, running: Running) -> None:
    browser, elsewhere, other = (
        running.signed_in(each) for each in (role, role, Role.OFFICE if role is not Role.OFFICE else Role.ENGINEER)
    )
    answer = change_password(browser)
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in?done=password")
    assert "Your password is changed. Sign in with the new one." in browser.get(answer.headers["location"]).text
    assert [each.get("/").status_code for each in (browser, elsewhere, other)] == [303, 303, 200]
    name = PEOPLE[role]
    assert sign_in(running, name=name)[1].status_code == 401
    assert sign_in(running, name=name, password=NEW)[1].status_code == 303
    rows = running.store().office.rows("audit")
    assert [(row["who"], row["result"]) for row in rows if row["act"] == "change password"] == [(name, "done")]
    assert not any(secret in str(rows) for secret in (PASSWORD, NEW))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"old": "another sentence"}, "This is not your password so far."),
        ({"again": NEW + "!"}, "not typed the same twice"),
        ({"new": PASSWORD, "again": PASSWORD}, "This is the password that you have."),
        ({"new": "short", "again": "short"}, "Expected: 12 to 256 signs"),
    ],
)
def test_a_password_that_cannot_be_changed_so_stays(changed: dict[str, str], said: str, running: Running) -> None:
    browser = running.signed_in(Role.TECHNICIAN)
    answer = change_password(browser, **changed)
    assert answer.status_code == 422
    assert said in answer.text
    assert NEW not in answer.text
    assert browser.get("/").status_code == 200
    assert sign_in(running, name="T1")[1].status_code == 303


def test_a_password_changes_by_the_services_own_form_only_and_not_by_key(running: Running) -> None:
    browser = running.signed_in(Role.OFFICE)
    assert change_password(browser, csrf="another").status_code == 403
    keyed = running.with_key(Role.OFFICE).post("/password", data={"old": PASSWORD, "new": NEW, "again": NEW})
    assert keyed.status_code == 400
    assert sign_in(running)[1].status_code == 303


def test_guessing_the_password_so_far_is_as_limited_as_signing_in(start) -> None:
    running = start(sign_in_failures_by_account="2 per 15 minute")
    browser = running.signed_in(Role.ENGINEER)
    tried = [change_password(browser, old=f"guess number {n}").status_code for n in range(3)]
    assert tried == [422, 422, 429]
    assert change_password(browser).status_code == 429, "the right one waits as well"
    assert sign_in(running, name="E1")[1].status_code == 429
