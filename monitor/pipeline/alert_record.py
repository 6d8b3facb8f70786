"""The record of alerts: what each is about, who was told when and how, who acknowledged it, whether it is over."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any

from monitor.pipeline import keys
from monitor.pipeline.who import RulingError, person
from monitor.records import dataclass
from monitor.store import Store
from monitor.store.generations import Wall
from monitor.store.office import Row
from monitor.terms import STAFF, URGENCIES, Urgency, Way


@dataclass(frozen=True)
class Sending:
    """Something told, or to be told, to one person or to the webhook; results: what came of it, as it came."""

    row: Row
    results: Sequence[Row] = ()

    @property
    def alert_ids(self) -> Sequence[str]:
        """Ids of the alerts told."""
        return str(self.row["alert_ids"]).split()

    @property
    def delivered_at(self) -> datetime | None:
        """When it was taken over by a server, the outbox or the other program; None where it was not yet."""
        moments: list[datetime] = [row["known_at"] for row in self.results if row["delivered"]]
        return moments[0] if moments else None


@dataclass(frozen=True)
class Alert:
    """An alert with all that became of it: sendings that tell it, the acknowledgement, the row that says it is over."""

    row: Row
    sendings: Sequence[Sending]
    acknowledged: Row | None
    over: Row | None

    @property
    def alert_id(self) -> str:
        """16 hex digits."""
        return str(self.row["alert_id"])

    @property
    def key(self) -> Wall:
        """House and wall."""
        return self.row["house"], self.row["wall"]

    @property
    def wall(self) -> str:
        """The wall as it is written."""
        return keys.written(*self.key)

    @property
    def urgency(self) -> Urgency:
        """How soon it asks for somebody."""
        return Urgency(self.row["urgency"])

    @property
    def told(self) -> Sequence[Sending]:
        """Sendings that were taken over."""
        return [sending for sending in self.sendings if sending.delivered_at]


def on_record(store: Store) -> list[Alert]:
    """All alerts, most urgent first, then oldest first."""
    told: dict[str, list[Sending]] = {}
    for sending in sendings(store):
        for alert_id in sending.alert_ids:
            told.setdefault(alert_id, []).append(sending)
    acknowledged, over = _by_alert(store, "alert_acknowledgements"), _by_alert(store, "alerts_over")
    found = [
        Alert(row, told.get(alert_id, []), acknowledged.get(alert_id), over.get(alert_id))
        for row in store.office.rows("alerts")
        if (alert_id := row["alert_id"])
    ]
    return sorted(found, key=lambda each: (URGENCIES.index(each.urgency), each.row["known_at"], each.wall))


def waiting(store: Store) -> list[Alert]:
    """Alerts that nobody acknowledged, in the same order."""
    return [alert for alert in on_record(store) if alert.acknowledged is None]


def untold(store: Store) -> int:
    """How many alerts nobody acknowledged and nobody was told of yet."""
    return sum(not alert.told for alert in waiting(store))


def sendings(store: Store) -> list[Sending]:
    """Everything told or to be told, in the order in which it was decided to tell it."""
    results: dict[str, list[Row]] = {}
    for row in store.office.rows("alert_deliveries"):
        results.setdefault(row["sending_id"], []).append(row)
    return [Sending(row, results.get(row["sending_id"], [])) for row in store.office.rows("alert_sendings")]


def acknowledge(
    store: Store, written: Collection[str], *, who: str, note: str, made_at: datetime
) -> list[tuple[Alert, bool]]:
    """Put on record that somebody of the company knows of those alerts, all or none.

    written: their ids or unique beginnings (four signs or more). Each with False where somebody had acknowledged it
    already, whose word stands. Raises NotFoundError, RulingError.
    """
    if not who.strip():
        raise RulingError("Who acknowledges must be said.", mend="Add --who ID.")
    who = person(store, who, STAFF)
    every = on_record(store)
    named = [_named(every, each) for each in written]
    rows = [
        {"alert_id": alert.alert_id, "who": who, "note": note.strip(), "known_at": made_at}
        for alert in named
        if alert.acknowledged is None
    ]
    store.office.add({"alert_acknowledgements": rows})
    stands = _by_alert(store, "alert_acknowledgements")
    new = {alert_id for row in rows if stands[alert_id := str(row["alert_id"])] == row}
    return [(alert, alert.alert_id in new) for alert in named]


def events(store: Store) -> list[tuple[datetime, Alert, str, str]]:
    """What happened about every alert, as it happened: when, which alert, what, and by or to whom."""
    found: list[tuple[datetime, Alert, str, str]] = []
    for alert in on_record(store):
        found.append((alert.row["known_at"], alert, f"put on record: {alert.row['kind']}, {alert.urgency}", ""))
        for sending in alert.sendings:
            whom = sending.row["person"] or sending.row["way"]
            by = "by mail" if sending.row["way"] == Way.MAIL else "by webhook"
            times = f", time {sending.row['number']}" if sending.row["number"] > 1 else ""
            for row in sending.results:
                word = f"told {by}{times}: {row['result']}" if row["delivered"] else f"not told {by}: {row['result']}"
                found.append((row["known_at"], alert, word, whom))
        if alert.over:
            found.append((alert.over["known_at"], alert, "no longer so", ""))
        if alert.acknowledged:
            said = f": {alert.acknowledged['note']}" if alert.acknowledged["note"] else ""
            found.append((alert.acknowledged["known_at"], alert, f"acknowledged{said}", alert.acknowledged["who"]))
    return sorted(found, key=lambda each: (each[0], each[1].alert_id))


def _by_alert(store: Store, table: str) -> Mapping[str, Any]:
    return {row["alert_id"]: row for row in store.office.rows(table)}


def _named(every: Sequence[Alert], written: str) -> Alert:
    by_id = {alert.alert_id: alert for alert in every}
    return keys.by_beginning(by_id, written, "alert", "`wallbow alerts` lists them.")
