"""The signature of a post: HMAC-SHA-256 (RFC 2104, FIPS 180-4) over its moment and its bytes.

Whoever receives posts may copy this file: it needs nothing but Python. `verify` takes a post only whose bytes were
signed with the shared secret, and a short time ago, so that one overheard cannot be sent again later.
"""

import hmac
from hashlib import sha256

TIMESTAMP = "Wallbow-Timestamp"
SIGNATURE = "Wallbow-Signature"
SENDING = "Wallbow-Sending"
"""Names of the headers; Wallbow-Sending is the same where a post is sent again."""
LATE_SECONDS = 300


def signature(secret: str, timestamp: int, body: bytes) -> str:
    """Hex digits over '<timestamp>.<body>'; timestamp: seconds since 1970 in UTC."""
    return hmac.new(secret.encode(), f"{timestamp}.".encode() + body, sha256).hexdigest()


def verify(secret: str, timestamp: str, body: bytes, signed: str, *, now: float) -> bool:
    """Whether a post is genuine and fresh. timestamp, signed: the headers as received; now: seconds since 1970."""
    if not (timestamp.isascii() and timestamp.isdecimal() and signed.isascii()):
        return False
    fresh = abs(now - int(timestamp)) <= LATE_SECONDS
    return hmac.compare_digest(signature(secret, int(timestamp), body), signed) and fresh
