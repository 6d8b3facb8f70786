"""Passwords and personal keys, kept only as Argon2id hashes (RFC 9106's second recommended parameters by default)."""

import secrets
from functools import cache, lru_cache
from hashlib import sha256
from threading import BoundedSemaphore
from typing import TYPE_CHECKING

from monitor.errors import BowError

if TYPE_CHECKING:
    from argon2 import PasswordHasher

SHORTEST, LONGEST = 12, 256
"""Signs of a password: length is what counts, so nothing else is asked of it (common practice, no source)."""
_FEW = BoundedSemaphore(2)
"""Each comparison takes 64 MB for a moment; a crowd at the door waits its turn instead of taking all memory."""


class PasswordError(BowError):
    """A password that cannot be used."""


@cache
def _hasher() -> "PasswordHasher":
    from argon2 import PasswordHasher  # wanted where a password is set or given, not where accounts are listed

    return PasswordHasher()


def hashed(password: str) -> str:
    """The hash to store. Raises PasswordError where the password is too short or too long."""
    if not SHORTEST <= len(password) <= LONGEST:
        raise PasswordError(
            "This password cannot be used.",
            got=f"{len(password)} signs",
            expected=f"{SHORTEST} to {LONGEST} signs",
            mend="Take a sentence of four words or more that nobody would guess.",
        )
    return _hasher().hash(password)


def matches(stored: str, password: str) -> bool:
    """Whether this is the password; as slow where there is none, so that nobody learns who has an account."""
    from argon2.exceptions import InvalidHashError, VerificationError

    try:
        with _FEW:
            return _hasher().verify(stored or _nobodys(), password) and bool(stored)
    except (VerificationError, InvalidHashError):
        return False


def new_key(account: str) -> tuple[str, str]:
    """A personal key, to be shown once, and the hash to store."""
    secret = secrets.token_urlsafe(32)
    return f"{account}.{secret}", _hasher().hash(_digest(secret))


def split_key(key: str) -> tuple[str, str]:
    """Account and secret part of a personal key."""
    account, _, secret = key.rpartition(".")
    return account, secret


def key_matches(stored: str, secret: str) -> bool:
    """Whether this is the secret part of the key. What was compared is remembered by its SHA-256."""
    return _compared(stored, _digest(secret))


@lru_cache(maxsize=256)
def _compared(stored: str, digest: str) -> bool:
    return matches(stored, digest)


@cache
def _nobodys() -> str:
    return _hasher().hash(secrets.token_urlsafe(32))


def _digest(secret: str) -> str:
    return sha256(secret.encode()).hexdigest()
