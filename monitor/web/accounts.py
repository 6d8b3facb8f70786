"""Accounts: who may come in, and as what. Rows only added to; of the rows of one account the latest stands."""

import re
from datetime import datetime
from hashlib import sha256
from typing import Any

from monitor.errors import BowError, NotFoundError
from monitor.pipeline import who
from monitor.records import asdict, dataclass, replace
from monitor.store import Store
from monitor.terms import STAFF, AccountState, Role
from monitor.web import passwords

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}")


class AccountError(BowError):
    """An account that cannot be made or changed as asked."""


@dataclass(frozen=True)
class Account:
    """One account as it stands (columns of schema.ACCOUNTS)."""

    account: str
    known_at: datetime
    role: Role
    state: AccountState
    password_hash: str = ""
    key_hash: str = ""

    @property
    def is_open(self) -> bool:
        """Whether the person may come in."""
        return self.state is AccountState.OPEN

    @property
    def stamp(self) -> str:
        """Changes with password, role and state, so that sessions begun before do not outlive the change."""
        return sha256("\x1f".join((self.password_hash, self.role, self.state)).encode()).hexdigest()[:32]


def find(store: Store, name: str) -> Account | None:
    """The account of that name as it stands, None where there is none."""
    rows = store.office.rows("accounts", account=name)
    return _of(rows[-1]) if rows else None


def everyone(store: Store) -> list[Account]:
    """All accounts as they stand, by name."""
    latest = {row["account"]: row for row in store.office.rows("accounts")}
    return [_of(latest[name]) for name in sorted(latest)]


def add(store: Store, name: str, role: Role, *, password: str | None, at: datetime) -> Account:
    """Open an account for a person, without a password where they are to have a key only.

    Raises AccountError where there is one or the name or role cannot be used, RulingError where others are registered
    and that person is not, or is none of the company's, PasswordError.
    """
    name = who.person(store, name, STAFF)
    if not _NAME.fullmatch(name):
        raise AccountError(
            "This name cannot be signed in by.", got=name, expected="letters, digits, - and _", mend="Take another id."
        )
    if role not in STAFF:
        raise AccountError("This role has no account.", got=role, expected=", ".join(STAFF))
    found = find(store, name)
    if found and found.is_open:
        raise AccountError(
            "There is such an account already.", got=name, mend="Close it first, or give it a new password."
        )
    password_hash = "" if password is None else passwords.hashed(password)
    return _keep(store, found, Account(name, at, role, AccountState.OPEN, password_hash))


def close(store: Store, name: str, *, at: datetime) -> Account:
    """Close an account: its sessions and its key end now. Raises NotFoundError."""
    account = the(store, name)
    closed = replace(account, state=AccountState.CLOSED, password_hash="", key_hash="", known_at=at)
    return _keep(store, account, closed)


def new_password(store: Store, name: str, password: str, *, at: datetime) -> Account:
    """Give an account another password: sessions begun with the one before end. Raises NotFoundError, PasswordError."""
    account = the(store, name)
    return _keep(store, account, replace(account, password_hash=passwords.hashed(password), known_at=at))


def new_key(store: Store, name: str, *, at: datetime) -> str:
    """Give an account a personal key in place of the one before; returned to be shown once. Raises NotFoundError."""
    account = the(store, name)
    key, key_hash = passwords.new_key(account.account)
    _keep(store, account, replace(account, key_hash=key_hash, known_at=at))
    return key


def the(store: Store, name: str) -> Account:
    """The open account of that name, whatever its case. NotFoundError where there is none."""
    wanted = name.strip().casefold()
    for account in everyone(store):
        if account.account.casefold() == wanted and account.is_open:
            return account
    raise NotFoundError(
        "There is no such open account.", got=name, mend="`wallbow account list` shows those there are."
    )


def by_password(store: Store, name: str, password: str) -> Account | None:
    """The open account that this name and password open; as slow where there is none of that name."""
    try:
        account = the(store, name)
    except NotFoundError:
        passwords.matches("", password[: passwords.LONGEST])
        return None
    return account if passwords.matches(account.password_hash, password[: passwords.LONGEST + 1]) else None


def by_key(store: Store, key: str) -> Account | None:
    """The open account that this personal key opens."""
    name, secret = passwords.split_key(key)
    account = find(store, name)
    key_hash = account.key_hash if account and account.is_open else ""
    return account if passwords.key_matches(key_hash, secret) else None


def _of(row: dict[str, Any]) -> Account:
    return Account(**(row | {"role": Role(row["role"]), "state": AccountState(row["state"])}))


def _keep(store: Store, before: Account | None, account: Account) -> Account:
    """The row added. Two changes in one instant would be told apart by nothing, so the later one is refused."""
    late = before is not None and before.known_at >= account.known_at
    if late or not store.office.add({"accounts": [asdict(account)]}):
        raise AccountError("This account was changed at this very moment.", got=account.account, mend="Try again.")
    return account
