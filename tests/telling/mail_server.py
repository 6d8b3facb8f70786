"""A real mail server on this machine, and some that are broken in ways that servers are."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@dataclass
class Postbox:
    """What a server took over; refused: addresses that it refuses; before_taking: called before a mail is taken."""

    refused: set[str] = field(default_factory=set)
    before_taking: Callable[[], object] = lambda: None
    says: str = "250 taken"
    taken: list[tuple[str, EmailMessage]] = field(default_factory=list)
    raw: list[bytes] = field(default_factory=list)

    async def handle_RCPT(  # noqa: N802
        self, _server: SMTP, _session: Session, envelope: Envelope, address: str, _options: list[str]
    ) -> str:
        if address in self.refused:
            return f"550 5.1.1 <{address}> is unknown here"
        envelope.rcpt_tos.append(address)
        return "250 fine"

    async def handle_DATA(self, _server: SMTP, _session: Session, envelope: Envelope) -> str:  # noqa: N802
        self.before_taking()
        if self.says.startswith("2"):
            content = bytes(envelope.content or b"")
            self.raw.append(content)
            for to in envelope.rcpt_tos:
                self.taken.append((to, message_from_bytes(content, policy=default)))  # type: ignore[arg-type]
        return self.says


@contextmanager
def serving(box: Postbox, **more: Any) -> Iterator[int]:
    """The port of a server that takes mails into a postbox."""
    controller = Controller(box, hostname="127.0.0.1", port=free_port(), **more)
    controller.start()
    try:
        yield controller.port
    finally:
        controller.stop()


@contextmanager
def talking(talk: Callable[[socket.socket, threading.Event], None]) -> Iterator[int]:
    """The port of a server that talks to one after the other as it likes."""
    over = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.settimeout(0.05)

        def serve() -> None:
            while not over.is_set():
                try:
                    there, _ = listening.accept()
                except TimeoutError:
                    continue
                with there, suppress(OSError):
                    there.settimeout(2)
                    talk(there, over)

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield listening.getsockname()[1]
        finally:
            over.set()
            thread.join()


def silent(there: socket.socket, over: threading.Event) -> None:
    """Says nothing at all."""
    over.wait(5)


def dripping(there: socket.socket, over: threading.Event) -> None:
    """Greets without end, a sign at a time, so that no wait for the next sign is long."""
    there.sendall(b"220-")
    while not over.wait(0.02):
        there.sendall(b"x")


def breaking_off(there: socket.socket, over: threading.Event) -> None:
    """Takes a mail's words and hangs up before saying whether it took them."""
    there.sendall(b"220 here\r\n")
    with there.makefile("rb") as words:
        for word in words:
            there.sendall(b"354 go on\r\n" if word == b"data\r\n" else b"250 fine\r\n")
            if word == b"data\r\n":
                while words.readline() not in (b".\r\n", b""):
                    pass
                return
