"""Many at once on a service as it runs for people: nothing lost, nothing doubled, every acknowledged row in once."""

import shutil
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from pathlib import Path
from threading import Barrier

import httpx2
import pytest
from service_running import BEGAN, NORTH, PASSWORD, PEOPLE, SOUTH, served, sheet, token_of

from monitor import store as stores
from monitor.pipeline import intake, uploads
from monitor.store import Store
from monitor.store import verify as proofs
from monitor.terms import Role
from monitor.web import accounts

UPLOADERS = 8
DAYS = [date(2026, 4, 7) + timedelta(days=n) for n in range(1)]


@pytest.fixture
def store(visited: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    monkeypatch.setattr(uploads, "judged_again", lambda *_, **__: [])  # the model has nothing to do with it
    return stores.open(shutil.copytree(visited, tmp_path / "store"))


def asked(client: httpx2.Client, path: str, **more) -> httpx2.Response:
    return client.post(path, timeout=120, **more)


def upload(client: httpx2.Client, name: str, data: bytes, headers: dict[str, str]) -> dict:
    """Preview and confirm until it is stored; the last answer. Confirming is sent twice, as on a bad line."""
    found = asked(client, "/api/uploads", files=[("files", (name, data))], headers=headers)
    assert found.status_code == 200, found.text
    for _ in range(UPLOADERS * len(DAYS)):
        answers = [
            asked(client, f"/api/uploads/{found.json()['upload_id']}/confirm", headers=headers) for _ in range(2)
        ]
        if answers[-1].status_code == 200:
            return dict(answers[-1].json())
        assert answers[-1].status_code == 409, answers[-1].text
    raise AssertionError("never stored")


def test_eight_uploaders_at_once_lose_nothing_and_double_nothing(store: Store) -> None:
    keys = {person: accounts.new_key(store, person, at=BEGAN + timedelta(minutes=1)) for person in ("T1", "O1")}
    before = Counter(row["visit_date"] for row in store.readings().to_pylist())
    meet = Barrier(UPLOADERS)

    def work(number: int) -> list[dict]:
        """Own walls on each day, and every day a wall of house 9, which all eight send."""
        key = keys["T1" if number % 2 else "O1"]
        with httpx2.Client(base_url=url) as client:
            meet.wait()
            return [
                upload(
                    client,
                    f"{number}_{day}.csv",
                    sheet(day, (f"DH-0{number + 1}-N", NORTH), (f"DH-0{number + 1}-S", SOUTH), ("DH-09-N", NORTH)),
                    {"Authorization": f"Bearer {key}"},
                )
                for day in DAYS
            ]

    with served(store.path) as url, ThreadPoolExecutor(UPLOADERS) as pool:
        answers = [answer for found in pool.map(work, range(UPLOADERS)) for answer in found]

    after = stores.open(store.path)
    rows = [row for row in after.readings().to_pylist() if row["visit_date"] in DAYS]
    acknowledged = [table for answer in answers for file in answer["files"] for table in file["tables"]]
    for table in acknowledged:
        assert table["received"] == 15
        assert table["received"] == table["used"] + table["held"] + table["rejected"] + table["could_not_read"]
    assert sum(table["added"] for table in acknowledged) == len(rows) == 15 * UPLOADERS * len(DAYS)
    assert Counter(row["state"] for row in rows)["used"] == sum(table["used"] for table in acknowledged)
    used = Counter(
        (row["house"], row["wall"], row["visit_date"], row["mark"]) for row in rows if row["state"] == "used"
    )
    assert set(used.values()) == {1}, "no mark is used twice for one day, though eight people sent it"
    assert len(used) == len(DAYS) * (UPLOADERS * 10 + 5)
    receipts = [row for row in after.facts("receipts").to_pylist() if row["known_at"] >= BEGAN]
    assert Counter(row["source_name"] for row in receipts) == {
        f"{n}_{d}.csv": 1 for n in range(UPLOADERS) for d in DAYS
    }
    assert Counter(row["visit_date"] for row in after.readings().to_pylist() if row["visit_date"] not in DAYS) == before
    assert proofs.verify(after).damages == ()


def test_the_command_and_the_service_wait_for_each_other(store: Store) -> None:
    meet = Barrier(4)

    def work(number: int) -> int:
        meet.wait()
        own = stores.open(store.path)
        at = BEGAN + timedelta(seconds=number)
        data = sheet(DAYS[0], ("DH-09-N", NORTH), (f"DH-0{number + 1}-S", SOUTH))
        name = f"{number}.csv"
        return intake.take_readings(own, name, data, received_at=at, sender="T1", today=BEGAN.date()).intake.used

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(work, range(4))) == [5, 5, 5, 10], "one is first, the others are told"


def test_two_browsers_of_one_person_keep_their_own_sessions(store: Store) -> None:
    data = sheet(DAYS[0], ("DH-09-N", NORTH))
    meet = Barrier(2)

    def work(role: Role) -> str:
        with httpx2.Client(base_url=url) as browser:
            form = {"name": PEOPLE[role], "password": PASSWORD, "csrf": token_of(browser.get("/sign-in").text)}
            meet.wait()
            assert asked(browser, "/sign-in", data=form).status_code == 303
            token = token_of(browser.get("/uploads").text)
            shown = asked(browser, "/uploads", data={"csrf": token}, files=[("files", ("visit.csv", data))])
            path = shown.headers["location"]
            meet.wait()
            asked(browser, f"{path}/confirm", data={"csrf": token})
            meet.wait()
            asked(browser, f"{path}/confirm", data={"csrf": token})  # who came second was told of the change
            page = browser.get(path).text
            assert "It is in" in page
            asked(browser, "/sign-out", data={"csrf": token})
            return token

    with served(store.path) as url, ThreadPoolExecutor(2) as pool:
        tokens = list(pool.map(work, [Role.TECHNICIAN, Role.TECHNICIAN]))
    assert len(set(tokens)) == 2
    after = stores.open(store.path)
    assert sum(row["visit_date"] == DAYS[0] for row in after.readings().to_pylist()) == 5
    ends = [row["account"] for row in after.office.rows("sessions_ended")]
    assert ends == ["T1", "T1"]
