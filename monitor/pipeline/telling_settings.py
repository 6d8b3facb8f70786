"""How people are told of alerts: shown, and changed in part."""

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.config import Telling
from monitor.documents import values_of
from monitor.errors import SettingsError
from monitor.pipeline.who import person as registered
from monitor.store import Store
from monitor.terms import Urgency

_OF_MAIL = ("host", "port", "security", "user", "sender")
_TLS_PORT = 465
"""Mail submission over TLS from the first byte (RFC 8314)."""


def change(store: Store, given: Mapping[str, Any], people: Sequence[str] | None) -> Telling:
    """Settings with what is given in place of what was; saved where anything is given, and returned.

    given: fields of config.Telling and of its mail server; host '' takes the mail server away. people: person ids, an
    empty one for the office. Raises SettingsError, RulingError for a person whom nobody registered.
    """
    stands = store.telling()
    if not given and people is None:
        return stands
    made = values_of(stands) | {name: value for name, value in given.items() if name not in _OF_MAIL}
    mail = (made["mail"] or {}) | {name: value for name, value in given.items() if name in _OF_MAIL}
    if given.get("security") == "tls" and "port" not in given:
        mail["port"] = _TLS_PORT
    made["mail"] = mail if mail.get("host") else None
    if made["mail"] is None and mail.keys() - {"host"} and "host" not in given:
        raise SettingsError("There is no mail server that these belong to.", mend="Give --mail-host and --sender too.")
    if people is not None:
        made["people"] = tuple(registered(store, each) for each in people if each.strip())
    found = Telling.of(made)
    store.save_telling(found)
    return found


def lines(settings: Telling) -> Sequence[str]:
    """The settings as lines to read."""
    mail = settings.mail
    server = f"{mail.host}:{mail.port}, {mail.security}, user {mail.user or 'none'}, from {mail.sender}" if mail else ""
    days = ", ".join(
        f"{urgency} after {settings.remind_days[urgency]}" for urgency in Urgency if urgency in settings.remind_days
    )
    return (
        f"mail server: {server or 'none; mails are left in the outbox folder'}",
        f"webhook: {settings.webhook or 'none'}",
        f"service: {settings.public_url or 'not said; mails bear no link'}",
        f"told of all alerts: {' '.join(settings.people) or 'the office'}; engineers of what asks for one",
        f"told again, in days while nobody acknowledged: {days}",
    )
