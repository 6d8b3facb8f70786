"""Alerts as tables of text: those that nobody acknowledged, and the record of who was told what when."""

from collections.abc import Sequence
from datetime import datetime, tzinfo

from monitor.pipeline import alert_record, alerting, runs
from monitor.pipeline.alert_record import Alert
from monitor.pipeline.alerting import Looked
from monitor.pipeline.company_days import zone_of
from monitor.pipeline.listed import Listing
from monitor.report.counting import count_text
from monitor.results import Assessment
from monitor.store import Store

HEADERS = ("alert", "wall", "kind", "urgency", "since", "told", "still so", "what", "next step")
LOG_HEADERS = ("when", "alert", "wall", "what happened", "by or to whom")


def open_ones(store: Store) -> Listing:
    """Every alert that nobody acknowledged, most urgent first."""
    zone = zone_of(store.office.company())
    found = alert_record.waiting(store)
    rows = [
        (
            alert.alert_id,
            alert.wall,
            alert.row["kind"],
            alert.row["urgency"],
            str(alert.row["began"] or ""),
            told(alert, zone),
            "no" if alert.over else "yes",
            alert.row["what"],
            alert.row["next_step"],
        )
        for alert in found
    ]
    untold = sum(not alert.told for alert in found)
    after = "Once somebody acts on one: wallbow acknowledge ALERT --who ID --note 'what you did'."
    return Listing(
        f"Alerts that nobody has acknowledged ({len(found)})",
        HEADERS,
        rows,
        closing=" ".join(filter(None, (waits(untold), after if found else ""))),
        blocks=[_block(alert, row) for alert, row in zip(found, rows, strict=True)],
    )


def log(store: Store) -> Listing:
    """What happened about every alert, in the order in which it happened; times are the company's own."""
    zone = zone_of(store.office.company())
    rows = [
        (f"{at.astimezone(zone):%Y-%m-%d %H:%M}", alert.alert_id, alert.wall, what, whom)
        for at, alert, what, whom in alert_record.events(store)
    ]
    return Listing(f"Alerts: who was told, and who acknowledged ({len(rows)} lines)", LOG_HEADERS, rows)


def told(alert: Alert, zone: tzinfo) -> str:
    """Who was told of an alert, and when last; 'nobody yet'."""
    last: dict[str, datetime] = {}
    for sending in alert.told:
        if sending.delivered_at:
            last[sending.row["person"] or sending.row["way"]] = sending.delivered_at
    return ", ".join(f"{whom} {at.astimezone(zone):%Y-%m-%d %H:%M}" for whom, at in last.items()) or "nobody yet"


def waits(untold: int) -> str:
    """What waits to be told, and the command that tells it; '' where nothing does."""
    return f"{count_text(untold, 'alert')} not told yet: wallbow tell." if untold else ""


def of_look(store: Store, looked: Looked, assessment: Assessment | None = None) -> Sequence[str]:
    """What a look brought, for whoever assessed or sent in files; assessment: the one just made, where one was."""
    if assessment and not alerting.brings_alerts(store, runs.of(store, assessment)):
        return [
            *looked.problems,
            f"This list looks back or ahead, so it brings no alerts; what is so now is told by the list of today: "
            f"wallbow assess --store {store.path}",
        ]
    if not looked.new:
        return looked.problems
    return [*looked.problems, f"{count_text(looked.new, 'new alert')}. {waits(alert_record.untold(store))}".strip()]


def _block(alert: Alert, row: Sequence[str]) -> Sequence[str]:
    _, wall, kind, urgency, since, said, still, what, next_step = row
    over = "; no longer so" if still == "no" else ""
    head = f"{wall} | {kind} | {urgency} | since {since or 'a visit without a date'}{over}"
    return head, what, f"Next: {next_step}", f"Told: {said}", f"Alert: {alert.alert_id}"
