"""What a mail about alerts says; no name, house or wall stands in its subject, which anybody's screen may show."""

from collections.abc import Sequence
from datetime import date
from textwrap import fill

from monitor.records import dataclass
from monitor.report.wording import count_text
from monitor.terms import AlertKind, Urgency

_WIDTH = 76
CAUTIONS = (
    "Where this mail says to keep out, keep people away from the wall, inside and out, until a licensed engineer has "
    "seen it.",
    "These are measurements of how far marks on a wall have moved, and no structural assessment. A wall that is not "
    "named here may move all the same. Local codes and the word of a licensed engineer come first.",
)


@dataclass(frozen=True)
class Told:
    """An alert as a mail tells it; again: it was told before, and nobody has acknowledged it; link: '' where none."""

    alert_id: str
    wall: str
    kind: AlertKind
    urgency: Urgency
    began: date | None
    what: str
    next_step: str
    again: bool
    over: bool
    link: str


def subject(alerts: Sequence[Told]) -> str:
    """How many, and the most urgent kind. alerts: most urgent first."""
    new = sum(not alert.again for alert in alerts)
    told = [count_text(new, "new wall alert")] if new else []
    told += [f"{count_text(len(alerts) - new, 'wall alert')} not acknowledged"] if len(alerts) > new else []
    return f"{', '.join(told)}; most urgent: {alerts[0].kind} ({alerts[0].urgency})"


def body(alerts: Sequence[Told]) -> str:
    """Every alert in plain words, then the cautions."""
    paragraphs = [f"{subject(alerts)}.", *map(_alert, alerts), *(fill(text, _WIDTH) for text in CAUTIONS)]
    return "\n\n".join(paragraphs) + "\n"


def _alert(alert: Told) -> str:
    since = f"the visit of {alert.began}" if alert.began else "a visit without a date"
    if alert.kind is AlertKind.OVERDUE:
        since = f"due on {alert.began}"
    state = " (told before, not acknowledged)" if alert.again else ""
    over = "No longer so by what came in since; still to be acknowledged." if alert.over else ""
    lines = [
        f"{_one_line(alert.wall)}: {alert.kind}. {alert.urgency[0].upper()}{alert.urgency[1:]}.{state}",
        *_said("What", alert.what),
        *_said("Since", since),
        *_said("Now", over),
        *_said("Do", alert.next_step),
        *([f"  Page: {alert.link}"] if alert.link else []),
        f"  Acknowledge: wallbow acknowledge {alert.alert_id} --who YOU --note '...'",
    ]
    return "\n".join(lines)


def _said(word: str, text: str) -> list[str]:
    text = _one_line(text)
    return [fill(f"{word}: {text}", _WIDTH, initial_indent="  ", subsequent_indent="    ")] if text else []


def _one_line(text: str) -> str:
    return " ".join(text.split())
