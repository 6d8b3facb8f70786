"""Telling people of alerts: first it is on record what is to be told to whom, then it is sent, then what came of it.

So a mail that was under way when the program was killed is sent again as the very same mail, word for word and with
the same Message-ID: it comes at least once, and a mail program that knows Message-IDs shows it once. What fails is kept
and tried again the next time. A mail left in the outbox comes exactly once, for its file bears its name.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from ssl import SSLContext
from urllib.parse import quote

from monitor.config import Telling
from monitor.errors import BowError, SettingsError
from monitor.pipeline import alert_record, alerting, assessing
from monitor.pipeline.alert_record import Alert, Sending
from monitor.pipeline.publishing import book_of_list
from monitor.pipeline.runs import row_id
from monitor.records import dataclass, field
from monitor.report import alert_mail, digest_mail
from monitor.report.alert_mail import Told
from monitor.report.context import Row
from monitor.report.wording import count_text
from monitor.store import Store
from monitor.store.store import OUTBOX
from monitor.telling import mail, smtp, webhook
from monitor.telling.outcome import Outcome
from monitor.telling.secrets import MAIL_PASSWORD, WEBHOOK_SECRET, secret
from monitor.terms import AlertKind, Role, Urgency, Way

Clock = Callable[[], datetime]

ALERTS = "alerts"
"""What a sending is about that is no digest."""
FOR_ENGINEERS = frozenset({Urgency.KEEP_OUT, Urgency.WEEK})
"""Engineers are told of what asks for an engineer."""
_OUTBOX = "left in the outbox"


@dataclass
class Done:
    """What one run of telling did: mails and posts taken over, files left in the outbox, what failed, in sentences."""

    is_alone: bool = True
    looked: alerting.Looked = field(default_factory=alerting.Looked)
    mails: int = 0
    left: int = 0
    posts: int = 0
    failed: list[str] = field(default_factory=list)
    has_nobody: bool = False


def tell(store: Store, clock: Clock, *, trust: SSLContext | None = None) -> Done:
    """Tell all that is to be told by now. trust: as for smtp.send. SettingsError where a secret's file is missing."""
    with store.telling_alone() as is_alone:
        done = Done(is_alone)
        if not is_alone:
            return done
        settings, at = store.telling(), clock()
        done.looked = alerting.look(store, at=at)
        people = _people(store, settings)
        everything = {person for person, row in people.items() if _gets_all(row, settings)}
        done.has_nobody = not everything and not settings.webhook and bool(alert_record.waiting(store))
        done.failed += [
            f"Not told: {person}, who is named to be told of all, has no mail address on record."
            for person in settings.people
            if person not in people
        ]
        _decide(store, _planned(store, settings, people, at), at)
        try:
            _decide(store, _digests(store, settings, people, at), at)
        except BowError as error:  # alerts do not wait for a list that cannot be made
            done.failed.append(f"The month's digest could not be made: {error}")
        waiting = [sending.row for sending in alert_record.sendings(store) if sending.delivered_at is None]
        letters = [row for row in waiting if row["way"] == Way.MAIL and row["person"] in people]
        _mails(store, settings, letters, people, done, clock, trust)
        _posts(store, settings, [row for row in waiting if row["way"] == Way.WEBHOOK], done, clock)
        return done


def _gets_all(person: Row, settings: Telling) -> bool:
    """Whether a person who is told is told of every alert, and of the month."""
    return person["role"] != Role.ENGINEER or person["person"] in settings.people


def _people(store: Store, settings: Telling) -> dict[str, Row]:
    """Who is told, by person id: those named in the settings, else the office; and engineers. All with an address."""
    every = {row["person"]: row for row in store.office.people().to_pylist() if row["email"]}
    named = {person: every[person] for person in settings.people if person in every}
    office = {person: row for person, row in every.items() if row["role"] == Role.OFFICE}
    engineers = {person: row for person, row in every.items() if row["role"] == Role.ENGINEER}
    return engineers | (named if settings.people else office)


@dataclass(frozen=True)
class _Message:
    """Something to be told: to whom, what of, and in which words."""

    way: Way
    person: str
    about: str
    alert_ids: Sequence[str]
    number: int
    subject: str
    content: str


def _decide(store: Store, planned: Iterable[_Message], at: datetime) -> None:
    """Put on record what is to be told. An id is made from what it is about, not from when."""
    sendings, texts = [], []
    for each in planned:
        row = {"way": each.way.value, "person": each.person, "about": each.about,
               "alert_ids": " ".join(each.alert_ids), "number": each.number}  # fmt: skip
        named = {"sending_id": row_id(row), "known_at": at}
        sendings.append(row | named)
        texts.append({"subject": each.subject, "content": each.content} | named)
    store.office.add({"alert_sendings": sendings, "alert_texts": texts})


def _text(store: Store, row: Row) -> Row:
    """The words of a sending."""
    return store.office.rows("alert_texts", sending_id=row["sending_id"])[0]


def _planned(store: Store, settings: Telling, people: Mapping[str, Row], at: datetime) -> list[_Message]:
    alerts = alert_record.waiting(store)
    rows = []
    for person, row in people.items():
        mine = [alert for alert in alerts if _gets_all(row, settings) or alert.urgency in FOR_ENGINEERS]
        due = [
            alert
            for alert in mine
            if _is_due(alert, [s for s in alert.sendings if s.row["person"] == person], settings, at)
        ]
        if due:
            told = [_told(alert, person, settings) for alert in due]
            number = 1 + max(
                (s.row["number"] for alert in due for s in alert.sendings if s.row["person"] == person), default=0
            )
            ids = [alert.alert_id for alert in due]
            words = alert_mail.subject(told), alert_mail.body(told)
            rows.append(_Message(Way.MAIL, person, ALERTS, ids, number, *words))
    new = [alert for alert in alerts if all(s.row["way"] != Way.WEBHOOK for s in alert.sendings)]
    if settings.webhook and new:
        ids = [alert.alert_id for alert in new]
        rows.append(_Message(Way.WEBHOOK, "", ALERTS, ids, 1, "", _json(new, settings)))
    return rows


def _is_due(alert: Alert, before: Sequence[Sending], settings: Telling, at: datetime) -> bool:
    """Whether somebody is to be told of an alert: for the first time, or again as nobody acknowledged it."""
    if not before:
        return True
    last = before[-1].delivered_at
    days = settings.remind_days.get(alert.urgency)
    return last is not None and days is not None and at - last >= timedelta(days=days)


def _told(alert: Alert, person: str, settings: Telling) -> Told:
    return Told(
        alert_id=alert.alert_id,
        wall=alert.wall,
        kind=AlertKind(alert.row["kind"]),
        urgency=alert.urgency,
        began=alert.row["began"],
        what=alert.row["what"],
        next_step=alert.row["next_step"],
        again=any(sending.row["person"] == person for sending in alert.sendings),
        over=alert.over is not None,
        link=_link(settings, f"/review/walls/{quote(alert.wall, safe='')}"),
    )


def _json(alerts: Sequence[Alert], settings: Telling) -> str:
    told = [
        {
            "alert": alert.alert_id,
            "wall": alert.wall,
            "kind": alert.row["kind"],
            "urgency": alert.row["urgency"],
            "began": alert.row["began"].isoformat() if alert.row["began"] else None,
            "known_at": alert.row["known_at"].isoformat(),
            "what": alert.row["what"],
            "next_step": alert.row["next_step"],
            "page": _link(settings, f"/review/walls/{quote(alert.wall, safe='')}") or None,
        }
        for alert in alerts
    ]
    return json.dumps({"alerts": told}, ensure_ascii=False)


def _link(settings: Telling, path: str) -> str:
    return f"{settings.public_url.rstrip('/')}{path}" if settings.public_url else ""


def _digests(store: Store, settings: Telling, people: Mapping[str, Row], at: datetime) -> Iterator[_Message]:
    """The digest of the newest month that is over and has a list, to those of the office that did not get it."""
    office = {person for person, row in people.items() if _gets_all(row, settings)}
    months = {f"{day:%Y-%m}" for day in store.assessments() if (day.year, day.month) < (at.year, at.month)}
    month = max(months, default="")
    had = {s.row["person"] for s in alert_record.sendings(store) if s.row["about"] == month}
    if not month or not office - had:
        return
    assessment = assessing.newest(store, month, tables=())
    every = alert_record.on_record(store)
    counts = (len(every), sum(alert.acknowledged is None for alert in every))
    text = digest_mail.body(book_of_list(store, assessment, at), counts, _link(settings, "/review"))
    for person in sorted(office - had):
        yield _Message(Way.MAIL, person, month, (), 1, digest_mail.subject(month), text)


def _mails(
    store: Store,
    settings: Telling,
    rows: Sequence[Row],
    people: Mapping[str, Row],
    done: Done,
    clock: Clock,
    trust: SSLContext | None,
) -> None:
    sender = settings.sender
    made = []
    for row in rows:
        text = _text(store, row)
        try:
            letter = mail.made(
                row["sending_id"],
                sender=sender,
                to=people[row["person"]]["email"],
                subject=text["subject"],
                body=text["content"],
                at=row["known_at"],
            )
        except SettingsError:
            outcome = Outcome(False, "the mail address registered for this person cannot be written to")
            _result(store, row, outcome, done, clock)
            continue
        made.append((row, letter))
    if settings.mail is None:
        for row, letter in made:
            store.leave_in_outbox(f"{row['sending_id']}.eml", letter.as_bytes())
            _result(store, row, Outcome(True, _OUTBOX), done, clock)
            done.left += 1
        return
    password = secret(MAIL_PASSWORD) if settings.mail.user and made else ""
    letters = (letter for _, letter in made)
    outcomes = smtp.send(settings.mail, password, letters, timeout=settings.timeout_seconds, trust=trust)
    for (row, _), outcome in zip(made, outcomes, strict=True):
        _result(store, row, outcome, done, clock)
        done.mails += outcome.delivered


def _posts(store: Store, settings: Telling, rows: Sequence[Row], done: Done, clock: Clock) -> None:
    if not settings.webhook:
        return
    key = secret(WEBHOOK_SECRET) if rows else ""
    for row in rows:
        outcome = webhook.post(
            settings.webhook,
            key,
            row["sending_id"],
            _text(store, row)["content"].encode(),
            at=clock(),
            timeout=settings.timeout_seconds,
        )
        _result(store, row, outcome, done, clock)
        done.posts += outcome.delivered
        if not outcome.delivered:
            return  # the others would wait as long for the same answer


def _result(store: Store, row: Row, outcome: Outcome, done: Done, clock: Clock) -> None:
    """Put on record what came of it, before anything else is sent."""
    found = {
        "sending_id": row["sending_id"],
        "result": outcome.why,
        "delivered": outcome.delivered,
        "known_at": clock(),
    }
    store.office.add({"alert_deliveries": [found]})
    if not outcome.delivered:
        whom = row["person"] or "the webhook"
        done.failed.append(f"Not told yet: {whom}: {outcome.why}. Kept, and tried again the next time.")


def said(done: Done, store: Store) -> list[str]:
    """What a run did, in sentences."""
    if not done.is_alone:
        return ["Another run is telling people just now; nothing was done."]
    lines = list(done.looked.problems)
    if done.mails:
        lines.append(f"{count_text(done.mails, 'mail')} taken over by the mail server.")
    if done.left:
        folder = store.path / OUTBOX
        lines.append(f"{count_text(done.left, 'mail')} left in {folder}, for no mail server is set (wallbow tell-by).")
    if done.posts:
        lines.append(f"{count_text(done.posts, 'post')} taken over by the webhook.")
    if done.has_nobody:
        lines.append(
            "Nobody is told: no person of the office has a mail address. Register one, or name people with "
            "`wallbow tell-by --person`."
        )
    lines += done.failed
    return lines or ["Nothing is to be told now."]
