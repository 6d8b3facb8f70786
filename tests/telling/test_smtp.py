"""Mails handed to a real server on this machine: taken over, refused, slow, broken, with and without TLS."""

import ssl
import subprocess
import time
from collections.abc import Callable
from datetime import UTC, datetime
from email.message import EmailMessage
from pathlib import Path
from shutil import which

import pytest
from aiosmtpd.smtp import AuthResult
from mail_server import Postbox, breaking_off, dripping, free_port, serving, silent, talking

from monitor.config import MailServer
from monitor.errors import SettingsError
from monitor.telling import mail, smtp
from monitor.telling.outcome import Outcome

AT = datetime(2026, 4, 10, 7, 30, tzinfo=UTC)
PASSWORD = "correct horse"
SECONDS = 0.2


def letter(number: int = 1, to: str = "o1@example.invalid", subject: str = "1 new wall alert") -> EmailMessage:
    return mail.made(f"{number:016x}", sender="alerts@walls.invalid", to=to, subject=subject, body="DH-01-N\n", at=AT)


def sent(port: int, *letters: EmailMessage, trust: ssl.SSLContext | None = None, **server: object) -> list[Outcome]:
    where = {"host": "localhost", "port": port, "security": "none", "sender": "alerts@walls.invalid"} | server
    found = MailServer(**where)  # type: ignore[arg-type]
    return list(smtp.send(found, PASSWORD, letters, timeout=SECONDS * 10, trust=trust))


def test_each_mail_is_taken_over_whole_with_its_message_id() -> None:
    box = Postbox()
    with serving(box) as port:
        assert sent(port, letter(1), letter(2, "e1@example.invalid")) == [Outcome(True, smtp.DELIVERED)] * 2
    assert [(to, found["Message-ID"]) for to, found in box.taken] == [
        ("o1@example.invalid", "<0000000000000001@walls.invalid>"),
        ("e1@example.invalid", "<0000000000000002@walls.invalid>"),
    ]
    assert box.taken[0][1].get_content() == "DH-01-N\r\n"


def test_an_address_refused_keeps_no_other_mail_and_is_not_named_in_the_answer() -> None:
    box = Postbox(refused={"gone@example.invalid"})
    with serving(box) as port:
        first, second = sent(port, letter(1, "gone@example.invalid"), letter(2))
    assert (first.delivered, second.delivered) == (False, True)
    assert first.why == "the mail server refused this address (code 550)"


def test_a_mail_refused_for_now_is_told_with_its_code() -> None:
    with serving(Postbox(says="451 4.3.0 later")) as port:
        assert sent(port, letter()) == [Outcome(False, "the mail server refused this mail (code 451)")]


@pytest.mark.parametrize("talk", [silent, dripping, breaking_off])
def test_a_server_that_is_silent_endless_or_breaks_off_takes_bounded_time(
    talk: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitor.telling.smtp.WHOLE", 2)
    server = {"host": "127.0.0.1", "security": "none", "sender": "a@walls.invalid"}
    began = time.monotonic()
    with talking(talk) as port:
        found = MailServer(port=port, **server)  # type: ignore[arg-type]
        outcomes = list(smtp.send(found, "", [letter(1), letter(2)], timeout=SECONDS, trust=None))
    assert time.monotonic() - began < 5
    assert outcomes == [Outcome(False, "the mail server broke off, or did not answer in time")] * 2


def test_a_port_where_nobody_listens_and_a_name_that_is_none_are_told() -> None:
    assert "cannot be reached" in sent(free_port(), letter())[0].why
    assert not sent(25, letter(), host="." * 70)[0].delivered


def test_where_starttls_is_asked_for_and_not_offered_no_mail_and_no_password_goes_out() -> None:
    box = Postbox()
    with serving(box) as port:
        [found] = sent(port, letter(), security="starttls", user="wallbow")
    assert found.why == "the mail server offers no STARTTLS, or no way to sign in"
    assert box.taken == []


def test_a_password_is_never_sent_in_the_clear_to_another_machine() -> None:
    [found] = sent(25, letter(), host="mail.example.invalid", user="wallbow")
    assert found.why == "a password would go in the clear: use starttls or tls"


@pytest.mark.skipif(which("openssl") is None, reason="a certificate of our own is made by openssl")
@pytest.mark.parametrize("password", [PASSWORD, "another"])
def test_over_starttls_the_password_signs_in_and_a_stranger_s_certificate_does_not_do(
    tmp_path: Path, password: str
) -> None:
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    kind = ("-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2")
    name = ("-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost")
    made = ("openssl", "req", *kind, *name, "-keyout", str(key), "-out", str(certificate))
    subprocess.run(made, check=True, capture_output=True)
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(certificate, key)
    box = Postbox()

    def signs_in(server: object, session: object, envelope: object, mechanism: str, data: object) -> AuthResult:
        return AuthResult(success=getattr(data, "password", b"") == password.encode(), handled=False)

    with serving(box, tls_context=context, authenticator=signs_in, auth_require_tls=True) as port:
        [stranger] = sent(port, letter(), security="starttls", user="wallbow")
        ours = ssl.create_default_context(cafile=str(certificate))
        [found] = sent(port, letter(), security="starttls", user="wallbow", trust=ours)
    assert stranger == Outcome(False, "no trusted TLS connection to the mail server")
    if password == PASSWORD:
        assert found == Outcome(True, smtp.DELIVERED)
    else:
        assert found == Outcome(False, "the mail server refused user and password (code 535)")
        assert box.taken == []


@pytest.mark.parametrize(
    "broken",
    [
        {"subject": "1 alert\r\nBcc: everybody@example.invalid"},
        {"to": "o1@example.invalid\r\nBcc: everybody@example.invalid"},
        {"to": "o1@example.invalid, everybody@example.invalid"},
        {"to": "nobody"},
        {"to": ""},
    ],
)
def test_what_would_break_out_of_a_header_is_refused(broken: dict[str, str]) -> None:
    with pytest.raises(SettingsError, match="addressed"):
        letter(**broken)  # type: ignore[arg-type]


def test_the_same_arguments_make_the_same_bytes() -> None:
    assert letter().as_bytes() == letter().as_bytes()
    assert letter()["Date"] == "Fri, 10 Apr 2026 07:30:00 +0000"
