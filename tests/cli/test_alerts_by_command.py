"""Alerts as people use them by command: what assess and ingest say, the list, telling, acknowledging, the log."""

import csv
import io
import smtplib
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from monitor import store as stores
from monitor.cli import exits
from monitor.demo.run import Done

pytestmark = pytest.mark.xdist_group("demo")


def test_an_alert_from_the_list_to_the_log(call, own: Path, demo: Done) -> None:
    store = ("--store", str(own))
    done = call("alerts", "--csv", *store)
    rows = list(csv.DictReader(io.StringIO(done.out)))
    assert [(row["wall"], row["kind"], row["told"]) for row in rows] == [
        ("DH-12-S", "sudden change", "nobody yet"),
        ("DH-12-S", "moving", "nobody yet"),
    ]
    assert done.err.startswith("2 alerts not told yet: wallbow tell.")
    told = call("tell", *store)
    assert told.code == exits.OK
    assert "2 mails left in" in told.err, "the alerts, and the month's digest"
    digest = next(text for path in (own / "outbox").iterdir() if "Walls in 2026-04" in (text := path.read_text()))
    lines = digest.replace("\r\n", "\n").partition("\n\n")[2].splitlines()
    current = [row for row in demo.assessment.wall_results.to_pylist() if row["is_current"]]
    held, late = (sum(bool(row[name]) for row in current) for name in ("readings_held", "overdue_days"))
    assert (held, late) == (5, 1)
    assert lines == [
        "19 walls: 1 at a hard limit, 1 moving, 4 to look at again.",
        "Since the list before: 2 new, 7 still open, 1 closed, 3 newly holding.",
        f"Waiting: {held} walls with held readings, {late} wall with an overdue visit.",
        "Alerts: 2 on record, 2 that nobody has acknowledged.",
        "Of 1 called moving, 0.09 are expected to be so by chance.",
        "",
        "The list: wallbow flagged",
    ]
    assert call("tell", *store).err == "Nothing is to be told now.\n"
    words = ("--who", "O1", "--note", "called the house")
    assert call("acknowledge", rows[0]["alert"][:8], *words, *store).code == exits.OK
    again = call("acknowledge", rows[0]["alert"], *words, *store)
    assert "acknowledged it already" in again.err
    assert "Alerts that nobody has acknowledged (1)" in call("alerts", *store).out
    log = list(csv.DictReader(io.StringIO(call("alerts", "--log", "--csv", *store).out)))
    assert log[-1]["what happened"] == "acknowledged: called the house"
    assert (log[-1]["wall"], log[-1]["by or to whom"]) == ("DH-12-S", "O1")


def test_a_list_that_looks_back_says_that_it_brings_no_alerts(call, own: Path) -> None:
    done = call("assess", "--store", str(own), "--on", "2024-12-31")
    assert done.code == exits.OK
    assert "it brings no alerts" in done.err


def test_a_day_to_come_is_not_judged_for_and_what_was_known_ends_now(call, own: Path) -> None:
    lists = sorted(path.name for path in (own / "assessments").iterdir())
    done = call("assess", "--store", str(own), "--on", f"{datetime.now().astimezone().date() + timedelta(days=2)}")
    assert done.code == 2
    assert "is still to come" in done.err
    assert sorted(path.name for path in (own / "assessments").iterdir()) == lists
    before = datetime.now(UTC)
    assert call("assess", "--store", str(own), "--on", "2026-04-30", "--known-on", "2999-01-01").code == exits.OK
    newest = stores.open(own).assessment(date(2026, 4, 30), tables=())
    assert newest is not None
    assert before <= newest.known_until <= datetime.now(UTC)


def test_what_could_not_be_told_has_its_exit_code_and_no_secret_in_it(
    call, own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WALLBOW_MAIL_PASSWORD", "a password for tests only")

    def away(*_: object, **__: object) -> None:
        raise ConnectionRefusedError(111, "Connection refused")

    monkeypatch.setattr(smtplib.SMTP, "connect", away)
    mail = ("--mail-host", "localhost", "--mail-security", "none", "--mail-user", "us", "--sender", "a@walls.invalid")
    assert "password" not in call("tell-by", "--store", str(own), *mail).out
    done = call("tell", "--store", str(own))
    assert done.code == exits.NOT_TOLD
    assert "Not told yet: O1: the mail server cannot be reached" in done.err
    assert "a password for tests only" not in done.err + done.out


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("acknowledge", "ffff0000", "--who", "O1"), exits.NOT_FOUND, "No alert has that id"),
        (("acknowledge", "ffff0000"), 2, "--who"),
        (("tell-by", "--webhook", "ftp://other.example"), exits.NOT_POSSIBLE, "http"),
        (("tell-by", "--person", "X9"), exits.NOT_POSSIBLE, "Nobody with this person id"),
        (("tell-by", "--mail-port", "25"), exits.NOT_POSSIBLE, "--mail-host"),
    ],
)
def test_what_is_typed_wrongly_is_named(call, own: Path, words: tuple[str, ...], code: int, said: str) -> None:
    done = call(*words, "--store", str(own))
    assert done.code == code
    assert said in done.err
