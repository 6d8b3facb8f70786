"""Alerts on record: every kind of event once, none for what stays, anew for what begins anew, none lost to a kill."""

import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from alert_company import BEFORE_FROST, LIST, VISITS, end_of, founded, in_business
from results_saved import saved

from monitor import schema
from monitor.config import Rules, Settings
from monitor.errors import NotFoundError, StoreError
from monitor.pipeline import alert_record, alerting, review, runs
from monitor.pipeline.alerting import look
from monitor.pipeline.who import RulingError
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import Act, State


def table(name: str, rows: list[Mapping[str, Any]]) -> pa.Table:
    blank = {field.name: "" if field.type == pa.string() else None for field in schema.find(name)}
    return pa.Table.from_pylist([{**blank, **row} for row in rows], schema=schema.find(name))


FIRST_VISIT, SECOND_VISIT, THIRD_VISIT = date(2026, 1, 12), date(2026, 3, 9), date(2026, 5, 4)
JANUARY, MARCH, MAY, JUNE = (date(2026, month, 20) for month in (1, 3, 5, 6))
URGENCY = {"trend": "decision this month", "total inward deflection": "engineer within a week"}


def listed(store: Store, day: date, last_visit: date, *, known: datetime | None = None, made: datetime | None = None,
           period: int = 0, urgency: str = "", **outcomes: str) -> Assessment:  # fmt: skip
    """Save an assessment of one wall with those outcomes ('trend', 'total', 'jump', as yes, no or undecided)."""
    rules = {"trend": "trend", "total": "total inward deflection", "jump": "jump since the last visit"}
    place = {"house": "DH-01", "wall": "N", "period": period}
    findings = [
        place | {"rule": rules[name], "outcome": outcome, "reason": "It is so.", "next_step": "Do something.",
                 "urgency": urgency or URGENCY.get(rules[name], "same-day call") if outcome == "yes" else "none"}
        for name, outcome in outcomes.items()
    ]  # fmt: skip
    found = Assessment(
        judged_on=day,
        known_until=known or end_of(day),
        settings_sha256=runs.settings_hash(Settings()),
        facts_sha256=store.facts_sha256(),
        wall_results=table("wall_results", [place | {"is_current": True, "last_visit": last_visit}]),
        findings=table("findings", findings),
    )
    found = saved(store, found)
    runs.record(store, found, Settings(), made or end_of(day))
    return found


def told(store: Store) -> list[tuple[str, str, str]]:
    return sorted((row["kind"], row["about"], row["urgency"]) for row in store.office.rows("alerts"))


@pytest.fixture(scope="module")
def business(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return in_business(tmp_path_factory.mktemp("business") / "store")


@pytest.fixture(scope="module")
def company(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return founded(tmp_path_factory.mktemp("company") / "store").path


@pytest.fixture
def store(company: Path, copy_of: Callable[[Path], Store]) -> Store:
    return copy_of(company)


def test_every_kind_of_event_of_a_small_company_is_told_once(business: Store) -> None:
    """Nothing came in between its two lists, so the second one's only news is that winter is near."""
    rows = business.office.rows("alerts")
    last = f"visit {VISITS[-1]}"
    expected = {
        ("DH-01", "moving", "period 0"),
        ("DH-01", "rate for an engineer", "period 0"),
        ("DH-01", "total over its limit", ""),
        ("DH-02", "moving after reinforcement", "period 1"),
        ("DH-02", "rate for an engineer", "period 1"),
        ("DH-02", "total over its limit", ""),
        ("DH-03", "sign seen on site", last),
        ("DH-03", "visit overdue before the frost", f"{last}, frost of 2026"),
        ("DH-04", "held reading far inward", last),
        ("DH-05", "moving", "period 0"),
        ("DH-05", "sudden change", last),
        ("DH-05", "visit overdue before the frost", f"{last}, frost of 2026"),
    }
    assert {(row["house"], row["kind"], row["about"]) for row in rows} == expected
    assert len(rows) == len(expected)
    assert business.office.rows("alerts_over") == []
    known = {(row["house"], row["kind"]): row["known_at"] for row in rows}
    assert known["DH-04", "held reading far inward"] == end_of(VISITS[-1]), "from the intake, before any list"
    assert known["DH-01", "moving"] == end_of(LIST) + timedelta(minutes=1)
    assert known["DH-03", "visit overdue before the frost"] == end_of(BEFORE_FROST) + timedelta(minutes=1)


def test_whenever_it_is_looked_the_same_alerts_come_of_it(business: Store, copy_of: Callable[[Path], Store]) -> None:
    store = copy_of(business.path)
    tables = ("alerts", "alerts_over", "alert_looks")
    with closing(sqlite3.connect(store.office.path)) as connection:
        for name in tables:
            connection.execute(f"DROP TRIGGER {name}_no_delete")
            connection.execute(f"DELETE FROM {name}")
        connection.commit()
    assert look(store, at=end_of(BEFORE_FROST) + timedelta(days=99)).new == 12
    kept = [{**row, "known_at": None} for row in store.office.rows("alerts")]
    assert all({**row, "known_at": None} in kept for row in business.office.rows("alerts"))


def test_a_ruling_on_the_held_reading_ends_its_alert_and_withdrawing_it_tells_anew(
    business: Store, copy_of: Callable[[Path], Store]
) -> None:
    store = copy_of(business.path)
    [reading] = [row["reading_id"] for row in store.readings().to_pylist() if row["state"] == State.HELD]
    words = {"who": "O1", "why": "the rule slipped"}
    assert look(store, at=end_of(BEFORE_FROST)).new == 0
    review.rule(store, reading, Act.REJECT, made_at=end_of(BEFORE_FROST), **words)
    assert look(store, at=end_of(BEFORE_FROST)).new == 0
    [over] = [alert for alert in alert_record.on_record(store) if alert.over]
    assert (over.wall, over.row["kind"]) == ("DH-04-N", "held reading far inward")
    review.rule(store, reading, Act.WITHDRAW, made_at=end_of(BEFORE_FROST) + timedelta(hours=1), **words)
    assert look(store, at=end_of(BEFORE_FROST)).new == 1


def test_a_wall_that_stays_moving_is_told_once_and_anew_only_after_it_was_called_holding(store: Store) -> None:
    for day, last_visit, outcome, new in (
        (JANUARY, FIRST_VISIT, "yes", 1),
        (MARCH, SECOND_VISIT, "yes", 0),
        (date(2026, 4, 20), SECOND_VISIT, "undecided", 0),  # to be looked at again is not holding
        (date(2026, 4, 25), SECOND_VISIT, "yes", 0),
        (MAY, THIRD_VISIT, "no", 0),
        (JUNE, date(2026, 6, 15), "yes", 1),
    ):
        listed(store, day, last_visit, trend=outcome)
        assert look(store, at=end_of(day)).new == new, day
    assert [row["began"] for row in store.office.rows("alerts")] == [FIRST_VISIT, date(2026, 6, 15)]
    assert len(store.office.rows("alerts_over")) == 1


def test_holding_and_moving_again_by_the_very_same_visits_is_told_anew(store: Store) -> None:
    """As when a correction is taken back."""
    for number, outcome in enumerate(("yes", "no", "yes", "yes")):
        listed(store, JANUARY + timedelta(days=number), FIRST_VISIT, trend=outcome)
        look(store, at=end_of(JANUARY))
    assert told(store) == [("moving", "period 0", "decision this month")] * 2
    assert len({row["alert_id"] for row in store.office.rows("alerts")}) == 2


def test_a_step_is_told_of_each_visit_that_has_one_and_again_where_it_is_more_urgent(store: Store) -> None:
    listed(store, JANUARY, FIRST_VISIT, jump="yes")
    listed(store, JANUARY + timedelta(days=1), FIRST_VISIT, jump="yes")
    listed(store, JANUARY + timedelta(days=2), FIRST_VISIT, jump="yes", urgency="keep out, engineer now")
    listed(store, JANUARY + timedelta(days=3), FIRST_VISIT, jump="yes")
    listed(store, MARCH, SECOND_VISIT, jump="yes")
    look(store, at=end_of(MARCH))
    assert told(store) == [
        ("sudden change", "visit 2026-01-12", "keep out, engineer now"),
        ("sudden change", "visit 2026-01-12", "same-day call"),
        ("sudden change", "visit 2026-03-09", "same-day call"),
    ]


def test_a_repair_that_fails_is_told_though_the_wall_was_told_to_move_before_it(store: Store) -> None:
    listed(store, JANUARY, FIRST_VISIT, trend="yes", total="yes")
    listed(store, MARCH, SECOND_VISIT, period=1, trend="undecided", total="yes")
    listed(store, MAY, THIRD_VISIT, period=1, trend="yes", total="yes")
    assert look(store, at=end_of(MAY)).new == 3
    assert [kind for kind, *_ in told(store)] == ["moving", "moving after reinforcement", "total over its limit"]


@pytest.mark.parametrize("late", [timedelta(0), timedelta(days=40)])
def test_lists_made_before_anybody_looked_lose_nothing(store: Store, late: timedelta) -> None:
    """A kill between the assessment and the look: the step is gone from the second list, and told all the same."""
    listed(store, JANUARY, FIRST_VISIT, jump="yes")
    listed(store, MARCH, SECOND_VISIT, jump="no")
    assert look(store, at=end_of(MARCH) + late).new == 1
    assert look(store, at=end_of(MARCH) + late).new == 0


def test_a_look_cut_off_puts_nothing_or_all_on_record(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    listed(store, JANUARY, FIRST_VISIT, jump="yes", trend="yes")
    add = type(store.office).add

    def cut_off(self: object, rows: Mapping[str, Any]) -> int:
        if rows.get("alert_looks"):
            rows = {**rows, "alert_looks": [*rows["alert_looks"], {"look_id": "no such row"}]}
        return add(self, rows)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(type(store.office), "add", cut_off)
        with pytest.raises(StoreError):
            look(store, at=end_of(JANUARY))
    assert store.office.rows("alerts") == []
    assert look(store, at=end_of(JANUARY)).new == 2


def test_a_list_that_looks_back_or_ahead_brings_none_and_hides_none(store: Store) -> None:
    listed(store, MAY, THIRD_VISIT, trend="yes")
    look(store, at=end_of(MAY))
    back = listed(store, MARCH, SECOND_VISIT, known=end_of(MAY), made=end_of(MAY), trend="no", jump="yes")
    ahead = listed(store, date(2030, 1, 1), THIRD_VISIT, known=end_of(MAY), made=end_of(MAY), total="yes", trend="no")
    assert look(store, at=end_of(MAY)).new == 0
    assert not any(alerting.brings_alerts(store, runs.of(store, each)) for each in (back, ahead))
    assert store.office.rows("alerts_over") == []
    now = listed(store, JUNE, THIRD_VISIT, trend="yes", jump="yes")
    assert look(store, at=end_of(JUNE)).new == 1, "the year 2030 does not stand in the way"
    assert alerting.brings_alerts(store, runs.of(store, now))


def test_a_store_from_before_there_were_alerts_begins_with_its_newest_list(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    listed(store, JANUARY, FIRST_VISIT, jump="yes")
    listed(store, MARCH, SECOND_VISIT, jump="no", trend="yes")
    monkeypatch.setattr(type(store.office), "keeps", lambda *_: False)
    assert look(store, at=end_of(MARCH)).new == 1
    assert [kind for kind, *_ in told(store)] == ["moving"]


def test_a_list_that_cannot_be_made_again_is_named_and_does_not_keep_the_others(store: Store) -> None:
    lost = listed(store, JANUARY, FIRST_VISIT, jump="yes")
    saved(store, replace(lost, known_until=end_of(MARCH), settings_sha256="5" * 64))
    listed(store, MAY, THIRD_VISIT, trend="yes")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("monitor.pipeline.runs.settings_of", lambda *_: Settings(rules=Rules(alpha=0.01)))
        found = look(store, at=end_of(MAY))
    assert found.new == 1
    assert "2026-01-20" in found.problems[0]


def test_the_first_acknowledgement_stands_and_ids_are_told_apart(store: Store) -> None:
    listed(store, JANUARY, FIRST_VISIT, jump="yes", trend="yes")
    look(store, at=end_of(JANUARY))
    first, second = alert_record.waiting(store)
    words = {"made_at": end_of(JANUARY), "note": "called the house"}
    assert [new for _, new in alert_record.acknowledge(store, [first.alert_id[:6]], who="o1", **words)] == [True]
    assert [new for _, new in alert_record.acknowledge(store, [first.alert_id], who="E1", **words)] == [False]
    assert [alert.alert_id for alert in alert_record.waiting(store)] == [second.alert_id]
    [row] = store.office.rows("alert_acknowledgements")
    assert (row["who"], row["note"]) == ("O1", "called the house")
    for ids, who, error in (
        ([second.alert_id, "ffff0000"], "O1", NotFoundError),  # all or none
        ([second.alert_id[:3]], "O1", NotFoundError),
        ([second.alert_id], "P1", RulingError),  # the owner is nobody of the company
        ([second.alert_id], "nobody", RulingError),
        ([second.alert_id], " ", RulingError),
    ):
        with pytest.raises(error):
            alert_record.acknowledge(store, ids, who=who, **words)
    assert len(alert_record.waiting(store)) == 1
