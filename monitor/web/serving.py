"""The service as a process: its secret, what it listens on, and uvicorn around the app."""

import errno
import logging
import os
import re
import secrets
import socket
from collections.abc import Sequence
from contextlib import suppress
from copy import deepcopy
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import uvicorn
from uvicorn.config import LOGGING_CONFIG

from monitor.errors import BowError, StoreError, Where
from monitor.web.app import make_app
from monitor.web.service import Clock
from monitor.web.settings import WebSettings

SECRET_FILE = "web.secret"
SECRET_VARIABLE = "WALLBOW_SECRET"
_SHORTEST_SECRET = 32
_GRACE_SECONDS = 30
_TOKEN = re.compile(r"/h/[^/?\s]+")
_NOT_HERE = ("This address is none of this machine's.", "Give --host an address of this machine: 127.0.0.1 or its own.")
_NOT_LISTENED = {
    errno.EADDRINUSE: ("Something listens there already.", "Give another --port, or stop what listens there."),
    errno.EACCES: ("This user may not listen there.", "Give a --port from 1024 on."),
    errno.EADDRNOTAVAIL: _NOT_HERE,
    errno.EAFNOSUPPORT: _NOT_HERE,
}
_OF_NO_USE = (errno.EADDRNOTAVAIL, errno.EAFNOSUPPORT)
"""Of several addresses of one name a machine may lack some (localhost, where it has no IPv6)."""


class ListenError(BowError):
    """An address or port that cannot be listened on."""


def secret_of(root: Path) -> str:
    """What signs the sessions of a store: the environment's, else the store's own, made at the first call.

    The file can be read by its owner only. StoreError where it is too short, or cannot be read or made.
    """
    file = root / SECRET_FILE
    found = os.environ.get(SECRET_VARIABLE, "") or _from_file(file)
    if len(found) < _SHORTEST_SECRET:
        raise StoreError(
            "The secret that signs sessions is too short.",
            where=Where(file=SECRET_VARIABLE if os.environ.get(SECRET_VARIABLE) else str(file)),
            got=f"{len(found)} signs",
            expected=f"at least {_SHORTEST_SECRET}",
            mend="Remove it, and another is made; everybody then signs in again.",
        )
    return found


def _from_file(file: Path) -> str:
    try:
        handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return file.read_text(encoding="ascii").strip()
    except OSError as error:
        raise StoreError(
            "The secret that signs sessions could not be made.",
            where=Where(file=str(file)),
            got=error.strerror or str(error),
            mend=f"Make the store's folder writable for this user, or set {SECRET_VARIABLE}.",
        ) from error
    made = secrets.token_urlsafe(48)
    with os.fdopen(handle, "w", encoding="ascii") as out:
        out.write(made + "\n")
    return made


def is_loopback(host: str) -> bool:
    """Whether nobody but this machine reaches the service there."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


class NoTokens(logging.Filter):
    """Takes the tokens of links out of the log of requests: who reads a log is not let in by it."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Let every line through, without tokens."""
        if isinstance(record.args, tuple):
            record.args = tuple(_TOKEN.sub("/h/...", arg) if isinstance(arg, str) else arg for arg in record.args)
        return True


def log_config() -> dict[str, Any]:
    """How the server logs: as it does by itself, but without tokens."""
    config = deepcopy(LOGGING_CONFIG)
    config["filters"] = {"no_tokens": {"()": NoTokens}}
    config["handlers"]["access"]["filters"] = ["no_tokens"]
    return config


def listen(host: str, port: int) -> list[socket.socket]:
    """Sockets that listen on all of a name's addresses from now on: whoever asks before `serve` waits for it.

    Raises ListenError.
    """
    found: list[socket.socket] = []
    lacking: ListenError | None = None
    for family, address in _addresses(host, port):
        try:
            found.append(socket.create_server(address, family=family))
        except OSError as error:
            lacking = _not_listened(host, port, error)
            if error.errno not in _OF_NO_USE:
                break
    else:
        if found:
            return found
    for each in found:
        each.close()
    raise lacking or ListenError(_NOT_HERE[0], got=_place(host, port), mend=_NOT_HERE[1])


def _addresses(host: str, port: int) -> list[tuple[socket.AddressFamily, Any]]:
    try:
        found = socket.getaddrinfo(host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    except (socket.gaierror, UnicodeError):  # unknown, or no name at all
        return []
    return [(family, address) for family, _, _, _, address in found]


def _not_listened(host: str, port: int, error: OSError) -> ListenError:
    other = (f"The service cannot listen there: {error.strerror}.", "Give another --host or --port.")
    what, mend = _NOT_LISTENED.get(error.errno or 0, other)
    return ListenError(what, got=_place(host, port), mend=mend)


def _place(host: str, port: int) -> str:
    return f"{host}, port {port}"


def serve(
    root: Path,
    sockets: Sequence[socket.socket],
    *,
    public_url: str,
    trusted_proxies: str,
    pages: Path | None,
    clock: Clock,
) -> None:
    """Serve until stopped. trusted_proxies: addresses, with commas, whose forwarded headers are taken as true."""
    app = make_app(root, WebSettings(secret=secret_of(root), public_url=public_url, pages=pages), clock)
    config = uvicorn.Config(
        app,
        log_config=log_config(),
        proxy_headers=bool(trusted_proxies),
        forwarded_allow_ips=trusted_proxies or None,
        server_header=False,
        timeout_graceful_shutdown=_GRACE_SECONDS,
    )
    with suppress(KeyboardInterrupt):  # how it is stopped
        uvicorn.Server(config).run(list(sockets))
