"""Signed posts to a real server on this machine, and the signature held against its definition."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, HTTPServer
from threading import Thread

import pytest
from mail_server import dripping, free_port, silent, talking

from monitor.telling import webhook
from monitor.telling.outcome import Outcome
from monitor.telling.signing import LATE_SECONDS, SENDING, SIGNATURE, TIMESTAMP, signature, verify

SECRET, BODY = "a secret for tests only", b'{"alerts": []}'
AT = datetime(2026, 4, 10, 7, 30, tzinfo=UTC)


@dataclass
class Heard:
    """What a server answers, and what it was asked: path, headers, body."""

    status: int = 204
    location: str = ""
    posts: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)


@contextmanager
def answering(heard: Heard) -> Iterator[str]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            heard.posts.append((self.path, dict(self.headers), body))
            self.send_response(heard.status)
            if heard.location:
                self.send_header("Location", heard.location)
            self.end_headers()

        def do_GET(self) -> None:
            heard.posts.append((self.path, dict(self.headers), b""))

        def log_message(self, *_: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}"
        finally:
            server.shutdown()
            thread.join()


def posted(url: str, *, secret: str = SECRET, timeout: float = 2.0) -> Outcome:
    return webhook.post(url, secret, "00ff", BODY, at=AT, timeout=timeout)


def test_the_signature_is_hmac_sha_256_by_its_definition() -> None:
    """RFC 2104, section 2: H(K xor opad, H(K xor ipad, text)), here over moment, full stop and body."""
    key = SECRET.encode().ljust(64, b"\0")
    inner = sha256(bytes(byte ^ 0x36 for byte in key) + b"1775806200." + BODY).digest()
    assert signature(SECRET, 1775806200, BODY) == sha256(bytes(byte ^ 0x5C for byte in key) + inner).hexdigest()


def test_only_what_was_signed_a_short_time_ago_with_the_secret_is_genuine() -> None:
    signed, now = signature(SECRET, 1000, BODY), 1000.0
    assert verify(SECRET, "1000", BODY, signed, now=now)
    assert verify(SECRET, "1000", BODY, signed, now=now + LATE_SECONDS)
    assert not verify(SECRET, "1000", BODY, signed, now=now + LATE_SECONDS + 1), "sent again later"
    assert not verify(SECRET, "1001", BODY, signed, now=now)
    assert not verify(SECRET, "1000", BODY + b" ", signed, now=now)
    assert not verify(SECRET + "x", "1000", BODY, signed, now=now)
    assert not any(verify(SECRET, "1000", BODY, other, now=now) for other in ("", signed[:-1], "ü" * 64))
    assert not any(verify(SECRET, other, BODY, signed, now=now) for other in ("", "-1000", "1000.0", "²", "ü"))


def test_what_is_posted_can_be_verified_by_whoever_receives_it() -> None:
    heard = Heard()
    with answering(heard) as url:
        assert posted(f"{url}/walls?for=us") == Outcome(True, webhook.DELIVERED)
    [(path, headers, body)] = heard.posts
    assert (path, headers[SENDING], headers["Content-Type"]) == ("/walls?for=us", "00ff", "application/json")
    assert verify(SECRET, headers[TIMESTAMP], body, headers[SIGNATURE], now=AT.timestamp())
    assert SECRET not in str(heard.posts)


def test_no_redirect_is_followed() -> None:
    elsewhere = Heard()
    with answering(elsewhere) as other, answering(Heard(307, f"{other}/elsewhere")) as url:
        assert posted(url) == Outcome(False, "the webhook sends us elsewhere (status 307), which is not followed")
    assert elsewhere.posts == []


def test_a_server_that_refuses_is_absent_silent_or_endless_is_told_in_bounded_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("monitor.telling.webhook.WHOLE", 2)
    with answering(Heard(503)) as url:
        assert posted(url) == Outcome(False, "the webhook refused it (status 503)")
    assert not posted(f"http://127.0.0.1:{free_port()}").delivered
    for talk in (silent, dripping):
        with talking(talk) as port:
            assert not posted(f"http://127.0.0.1:{port}", timeout=0.2).delivered


def test_nothing_goes_out_unsigned() -> None:
    heard = Heard()
    with answering(heard) as url:
        assert posted(url, secret="") == Outcome(False, "there is no secret to sign with in the environment")
    assert heard.posts == []
