"""A clock that was set back puts no fact before the one it rests on, and it is said."""

from datetime import datetime, timedelta
from pathlib import Path

import pytest
import small_store
from small_store import START

from monitor import store as stores
from monitor.cli import commands, options
from monitor.pipeline import moments, review
from monitor.store import Store
from monitor.terms import Act

HOUR = timedelta(hours=1)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return small_store.made(tmp_path / "store")


def test_the_moment_is_the_clocks_unless_that_is_behind_what_is_known(store: Store) -> None:
    assert store.newest_known() == START
    assert moments.not_before(store, START + HOUR) == moments.Moment(START + HOUR)
    close = moments.not_before(store, START - timedelta(seconds=1))
    assert close == moments.Moment(START + timedelta(microseconds=1))
    back = moments.not_before(store, START - 24 * HOUR)
    assert back.at == START + timedelta(microseconds=1)
    assert "stands at 2026-04-30 09:00:00 UTC" in back.said
    assert "known at 2026-05-01 09:00:00 UTC" in back.said
    store.office.add({"sessions_ended": [{"session": "1", "account": "", "known_at": START + 9 * HOUR}]})
    assert moments.not_before(store, START + HOUR).at > START + 9 * HOUR


def test_a_damaged_moment_tells_no_time(store: Store) -> None:
    data = store.office.path.read_bytes()
    ended = [{"session": "1", "account": "", "known_at": START + HOUR}]
    store.office.add({"sessions_ended": ended})
    whole = store.office.path.read_bytes()
    assert whole != data
    store.office.path.write_bytes(whole.replace(b"2026-05-01T10:00", b"9026-05-01T10:00"))
    assert store.newest_known() == START


def test_a_withdrawal_after_the_clock_was_set_back_still_takes_back_the_ruling_before_it(
    store: Store, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    reading = str(store.facts("readings")["reading_id"][0].as_py())

    def typed(clock: datetime, *words: str) -> str:
        monkeypatch.setattr(options, "now", lambda: clock)
        commands()([*words, "--who", "O1", "--why", "w", "--store", str(store.path)], standalone_mode=False)
        return capsys.readouterr().err

    assert "clock" not in typed(START + 5 * HOUR, "reject", reading)
    assert state_of(store, reading) == "rejected"
    said = typed(START + HOUR, "withdraw", reading)
    assert "Set the clock right" in said
    assert state_of(store, reading) == "used"
    first, second = sorted(stores.open(store.path).facts("rulings").to_pylist(), key=lambda row: row["known_at"])
    assert (first["act"], second["act"]) == ("reject", "withdraw")
    assert state_of(store, reading, first["known_at"]) == "rejected"  # as known on the moment between


def state_of(store: Store, reading: str, known_on: datetime | None = None) -> str:
    rows = stores.open(store.path).readings(known_on=known_on).to_pylist()
    return next(row["state"] for row in rows if row["reading_id"] == reading)


def test_what_is_assessed_under_a_clock_set_back_rests_on_all_that_is_known(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    reading = str(store.facts("readings")["reading_id"][0].as_py())
    review.rule(store, reading, Act.REJECT, who="O1", why="w", made_at=START + 5 * HOUR)
    monkeypatch.setattr(options, "now", lambda: START + HOUR)
    commands()(["assess", "--on", "2026-05-01", "--store", str(store.path)], standalone_mode=False)
    found = stores.open(store.path).assessment()
    assert found
    assert found.known_until > START + 5 * HOUR
    assert found.facts_sha256 == store.facts_sha256()
