"""Mails handed to a server by SMTP (RFC 5321), each acknowledged or kept for the next time."""

import smtplib
import ssl
from collections.abc import Iterable, Iterator
from contextlib import suppress
from email.message import EmailMessage
from functools import partial
from ipaddress import ip_address
from typing import Any

from monitor.config import MailServer
from monitor.telling.outcome import WHOLE, Outcome, ended_after

DELIVERED = "taken over by the mail server"
_BROKE_OFF = "the mail server broke off, or did not answer in time"
_MOST_BROKEN = 3
"""After so many broken connections a run gives up; a mail that breaks one does not keep the others."""


def send(
    server: MailServer, password: str, mails: Iterable[EmailMessage], *, timeout: float, trust: ssl.SSLContext | None
) -> Iterator[Outcome]:
    """What came of each mail, in their order, each told before the next is sent.

    trust: whose certificates are believed, None for the system's. The password is never sent in the clear.
    """
    connection: smtplib.SMTP | None = None
    broken, last = 0, ""
    try:
        for mail in mails:
            if broken >= _MOST_BROKEN:
                yield Outcome(False, last)
                continue
            try:
                if connection is None:
                    connection = _connected(server, password, timeout, trust)
                with ended_after(WHOLE * timeout, partial(getattr, connection, "sock")):
                    connection.send_message(mail)
                outcome = Outcome(True, DELIVERED)
            except _UnusableError as error:
                broken, last = _MOST_BROKEN, str(error)
                outcome = Outcome(False, last)
            except smtplib.SMTPServerDisconnected:
                broken, last = broken + 1, _BROKE_OFF
                connection, outcome = None, Outcome(False, last)
            except smtplib.SMTPRecipientsRefused as error:
                codes = sorted({code for code, _ in error.recipients.values()})
                outcome = Outcome(False, f"the mail server refused this address (code {codes[0]})")
            except smtplib.SMTPResponseException as error:
                outcome = Outcome(False, f"the mail server refused this mail (code {error.smtp_code})")
            except smtplib.SMTPException:
                outcome = Outcome(False, "the mail server cannot take this mail's address")
            except OSError as error:
                broken, last = broken + 1, _broken(error)
                connection, outcome = None, Outcome(False, last)
            yield outcome
    finally:
        if connection is not None:
            with suppress(OSError, smtplib.SMTPException), ended_after(timeout, lambda: connection.sock):
                connection.quit()


class _Bounded(smtplib.SMTP):
    """The library's connection, whose wait for the greeting ends too."""

    def connect(self, *where: Any, **more: Any) -> tuple[int, bytes]:
        """As the library's."""
        with ended_after(WHOLE * float(self.timeout), lambda: self.sock):
            return super().connect(*where, **more)


class _BoundedOverTls(_Bounded, smtplib.SMTP_SSL):
    """The same over TLS from the first byte."""


class _UnusableError(Exception):
    """No mail can be handed to this server now."""


def _connected(server: MailServer, password: str, timeout: float, trust: ssl.SSLContext | None) -> smtplib.SMTP:
    if server.user and server.security == "none" and not _is_this_machine(server.host):
        raise _UnusableError("a password would go in the clear: use starttls or tls")
    if server.user and not password:
        raise _UnusableError("there is no password for the mail server in the environment")
    context = trust or ssl.create_default_context()
    made: smtplib.SMTP | None = None
    try:
        if server.security == "tls":
            made = _BoundedOverTls(server.host, server.port, timeout=timeout, context=context)
        else:
            made = _Bounded(server.host, server.port, timeout=timeout)
        with ended_after(WHOLE * timeout, partial(getattr, made, "sock")):
            if server.security == "starttls":
                made.starttls(context=context)
            if server.user:
                made.login(server.user, password)
        ready, made = made, None
        return ready
    except smtplib.SMTPNotSupportedError as error:
        raise _UnusableError("the mail server offers no STARTTLS, or no way to sign in") from error
    except smtplib.SMTPAuthenticationError as error:
        raise _UnusableError(f"the mail server refused user and password (code {error.smtp_code})") from error
    except smtplib.SMTPResponseException as error:
        raise _UnusableError(f"the mail server turns us away (code {error.smtp_code})") from error
    except smtplib.SMTPException as error:
        raise _UnusableError(_BROKE_OFF) from error
    except OSError as error:
        raise _UnusableError(_broken(error)) from error
    except UnicodeError as error:
        raise _UnusableError("the mail server's name is none") from error
    finally:
        if made is not None:
            made.close()


def _broken(error: OSError) -> str:
    if isinstance(error, TimeoutError):
        return _BROKE_OFF
    if isinstance(error, ssl.SSLError):
        return "no trusted TLS connection to the mail server"
    return f"the mail server cannot be reached ({error.strerror or type(error).__name__})"


def _is_this_machine(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
