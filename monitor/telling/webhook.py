"""Signed posts of JSON to another program's address; no redirect is followed."""

import http.client
import ssl
from datetime import datetime
from urllib.parse import urlsplit

from monitor.telling.outcome import WHOLE, Outcome, ended_after
from monitor.telling.signing import SENDING, SIGNATURE, TIMESTAMP, signature

DELIVERED = "taken over by the webhook"


def post(url: str, secret: str, sending_id: str, body: bytes, *, at: datetime, timeout: float) -> Outcome:
    """Post a body; taken over where the answer's status is 2xx. url: http or https (config.Telling sees to that)."""
    if not secret:
        return Outcome(False, "there is no secret to sign with in the environment")
    parts = urlsplit(url)
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    timestamp = int(at.timestamp())
    headers = {
        "Content-Type": "application/json",
        SENDING: sending_id,
        TIMESTAMP: str(timestamp),
        SIGNATURE: signature(secret, timestamp, body),
    }
    host = parts.hostname or ""
    connection = (
        http.client.HTTPSConnection(host, parts.port, timeout=timeout, context=ssl.create_default_context())
        if parts.scheme == "https"
        else http.client.HTTPConnection(host, parts.port, timeout=timeout)
    )
    try:
        with ended_after(WHOLE * timeout, lambda: connection.sock):
            connection.request("POST", target, body, headers)
            status = connection.getresponse().status
    except TimeoutError:
        return Outcome(False, "the webhook did not answer in time")
    except (OSError, http.client.HTTPException, ValueError) as error:
        return Outcome(False, f"the webhook cannot be reached ({type(error).__name__})")
    finally:
        connection.close()
    if 200 <= status < 300:
        return Outcome(True, DELIVERED)
    if 300 <= status < 400:
        return Outcome(False, f"the webhook sends us elsewhere (status {status}), which is not followed")
    return Outcome(False, f"the webhook refused it (status {status})")
