"""Nothing is open by default: every route asked as every role and as nobody."""

import pytest
from fastapi.routing import APIRoute
from service_running import PEOPLE, Running

from monitor.terms import Role
from monitor.web import app as app_module
from monitor.web.doors import DOORS
from monitor.web.guard import GuardedRoute

IN_PATH = {"upload": "0" * 32, "name": "0.csv", "place:path": "index.html", "wall": "DH-01-N", "reading": "0" * 16,
           "token": "x" * 32, "link": "0" * 16}  # fmt: skip


def asked(line: str) -> tuple[str, str]:
    method, path = line.split(" ")
    for name, value in IN_PATH.items():
        path = path.replace("{" + name + "}", value)
    assert "{" not in path, f"give {path} a value in IN_PATH"
    return method, path


def test_every_route_of_the_app_has_its_line_and_every_line_its_route() -> None:
    routes = [route for room in app_module.ROOMS for route in room.router.routes]
    assert all(isinstance(route, GuardedRoute) for route in routes)
    lines = [f"{method} {route.path}" for route in routes if isinstance(route, APIRoute) for method in route.methods]
    assert sorted(lines) == sorted(DOORS)


def test_the_app_has_no_route_beside_those_of_its_rooms(running: Running) -> None:
    own = [route for route in running.app.routes if getattr(route, "path", None)]
    assert own == [] or all(isinstance(route, GuardedRoute) for route in own)
    for path in ("/docs", "/redoc", "/openapi.json", "/docs/oauth2-redirect", "/nowhere"):
        assert running.browser().get(path).status_code == 404


@pytest.mark.parametrize("line", sorted(DOORS))
def test_nobody_gets_in_by_any_door_but_that_of_signing_in(line: str, running: Running) -> None:
    method, path = asked(line)
    answer = running.browser().request(method, path)
    if DOORS[line].roles is None:
        assert path in ("/sign-in", "/favicon.ico", "/check") or path.startswith("/h/")
        assert (set(answer.cookies) == set()) or path == "/sign-in"
        return
    if method == "GET" and not path.startswith("/api/"):
        assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    else:
        assert answer.status_code == 401, answer.text
        assert running.store().office.rows("audit") == [], "nothing was done"


@pytest.mark.parametrize("role", list(PEOPLE))
def test_every_role_gets_in_by_its_own_doors_only(role: Role, start) -> None:
    running = start(uploads_by_account="1000 per 1 minute")
    browser = running.signed_in(role)
    for line, door in sorted(DOORS.items()):
        method, path = asked(line)
        if door.roles is None or path == "/sign-out":
            continue
        answer = browser.request(method, path)
        if role in door.roles and method == "GET":
            assert answer.status_code in (200, 303, 404, 422), f"{line}: {answer.status_code}"
            assert answer.headers.get("location") != "/sign-in"
        elif role in door.roles:
            assert answer.status_code == 403, f"{line}: without the session's token"
            assert "too old" in answer.text
        else:
            assert answer.status_code == 403, f"{line}: {answer.status_code}"
            assert f"not for the role {role}" in answer.text
            newest = running.store().office.rows("audit")[-1]
            assert (newest["who"], newest["result"]) == (PEOPLE[role], "refused: not for this role")


def test_what_is_not_there_or_not_for_somebody_is_said_in_plain_words(running: Running) -> None:
    browser = running.signed_in(Role.TECHNICIAN)
    for asked, said in (
        (browser.get("/nowhere"), "There is no such page. Look whether the address is whole."),
        (browser.put("/uploads"), "This address is not used that way."),
        (browser.get("/review"), "This is not for the role technician; it is for engineer and office."),
    ):
        assert said in asked.text


def test_a_route_without_a_line_in_the_table_cannot_be_made() -> None:
    from monitor.web import guard

    with pytest.raises(KeyError, match="GET /open"):
        guard.router().get("/open")(lambda: "open")


def test_an_engineer_has_no_door_that_changes_anything() -> None:
    changing = {line for line, door in DOORS.items() if not line.startswith("GET ") and door.roles}
    assert {line for line in changing if Role.ENGINEER in (DOORS[line].roles or ())} == {
        "POST /password",  # his own
        "POST /sign-out",
    }
