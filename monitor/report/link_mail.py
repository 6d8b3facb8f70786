"""The mail that brings somebody a link: the address, until when, whom to ask; no name, house or wall stands in it."""

from collections.abc import Mapping
from datetime import date
from textwrap import fill

from monitor.report.language import Language
from monitor.terms import LinkTo

_WIDTH = 76


def subject(words: Language, opens: LinkTo, month: date) -> str:
    """What is ready; anybody's screen may show it. month: any day of the month that it was judged for."""
    key = "subject" if opens is LinkTo.HOMEOWNER else "subject_records"
    return words.say("link", key, month=words.month_text(month))


def body(words: Language, address: str, until: date, company: Mapping[str, str]) -> str:
    """Plain text. The address stands on a line of its own, so that no mail program breaks it."""
    name = company.get("name") or words["said"]["office"]
    said = words["link"]
    texts = [
        said["mail_open"],
        address,
        words.say("link", "mail_until", day=words.day_text(until)),
        words.say("link", "mail_ask", company=name, contact=company.get("contact") or "–"),
        f"{words['caution']['before']} {words['caution']['strong']} {words['caution']['after']}",
        f"{words['stay_out']['title']}: {words['stay_out']['text']}",
    ]
    return "\n\n".join(text if text == address else fill(text, _WIDTH) for text in texts) + "\n"
