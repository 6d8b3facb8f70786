"""Sessions: a signed cookie that names the account, the session and when it began; ended ones are on record.

The cookie says nothing secret and nothing that the account's own row does not overrule: a closed account, another
password or another role ends every session begun before.
"""

import secrets
from collections.abc import MutableMapping
from datetime import datetime, timedelta
from hashlib import sha256
from hmac import compare_digest
from typing import Any

from monitor.store import Store
from monitor.web import accounts
from monitor.web.accounts import Account
from monitor.web.settings import WebSettings

Session = MutableMapping[str, Any]
_SEEN_EVERY = timedelta(minutes=1)


def begin(session: Session, account: Account, at: datetime) -> None:
    """Begin a session: a new id and a new token, nothing of the one before."""
    session.clear()
    session.update(
        account=account.account,
        stamp=account.stamp,
        id=secrets.token_urlsafe(24),
        csrf=secrets.token_urlsafe(24),
        began=at.timestamp(),
        seen=at.timestamp(),
    )


def end(session: Session, store: Store, at: datetime) -> None:
    """End a session for good: its cookie is worth nothing from now on, whoever kept a copy."""
    row = {"session": _digest(session["id"]), "account": session["account"], "known_at": at}
    store.office.add({"sessions_ended": [row]})
    session.clear()


def account_of(session: Session, store: Store, settings: WebSettings, at: datetime) -> Account | None:
    """Whose session it is; None, and the session is emptied, where it has run out or was ended."""
    if "id" not in session:
        return None
    account = accounts.find(store, session["account"])
    idle, since = (at.timestamp() - session[name] for name in ("seen", "began"))
    good = (
        account is not None
        and account.is_open
        and compare_digest(account.stamp, session["stamp"])
        and idle <= settings.idle_minutes * 60
        and since <= settings.absolute_minutes * 60
        and not store.office.rows("sessions_ended", session=_digest(session["id"]))
    )
    if not good:
        session.clear()
        return None
    if idle >= _SEEN_EVERY.total_seconds():
        session["seen"] = at.timestamp()
    return account


def token(session: Session) -> str:
    """The token that every form of this session carries; made where there is none yet (the sign-in form)."""
    if "csrf" not in session:
        session["csrf"] = secrets.token_urlsafe(24)
    return str(session["csrf"])


def is_token(session: Session, given: str) -> bool:
    """Whether a form carries the session's token."""
    return bool(session.get("csrf")) and compare_digest(str(session["csrf"]).encode(), given.encode())


def _digest(session_id: str) -> str:
    return sha256(session_id.encode()).hexdigest()
