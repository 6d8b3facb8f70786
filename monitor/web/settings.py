"""How the service stands: where people reach it, how long a session lasts, how much it takes."""

from pathlib import Path
from urllib.parse import urlsplit

from monitor.errors import SettingsError
from monitor.records import dataclass

LOOPBACK = "http://127.0.0.1:8765"
_USUAL_PORT = {"http": 80, "https": 443}
_SAME_MACHINE = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True)
class WebSettings:
    """public_url: the address people type; the session's cookie goes over TLS only where it begins with https.

    secret: signs the sessions. pages: folder of the written pages, None where there is none to show. Limits on rates
    are written as the limits library reads them ('10 per 15 minute'). patience_seconds: how long a body may pause. The
    numbers are common practice, no source.
    """

    secret: str
    public_url: str = LOOPBACK
    pages: Path | None = None
    idle_minutes: int = 120
    absolute_minutes: int = 12 * 60
    sign_in_failures_by_address: str = "30 per 15 minute"
    sign_in_failures_by_account: str = "10 per 15 minute"
    uploads_by_account: str = "120 per 1 minute"
    unknown_links_by_address: str = "20 per 5 minute"
    checks_by_address: str = "30 per 5 minute"
    patience_seconds: float = 60.0
    form_bytes: int = 64 * 1024
    upload_bytes: int = 40 * 1024 * 1024
    upload_files: int = 50

    def __post_init__(self) -> None:
        """Refuse an address nobody could type."""
        parts = urlsplit(self.public_url)
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.path not in ("", "/") or parts.query:
            raise SettingsError(
                "This is no address that people could reach the service by.",
                got=self.public_url,
                expected="like https://walls.example or http://127.0.0.1:8765",
                mend="Give scheme and host, with the port where it is not the usual one, and no path.",
            )

    @property
    def over_tls(self) -> bool:
        """Whether people reach the service over TLS."""
        return urlsplit(self.public_url).scheme == "https"

    @property
    def origins(self) -> frozenset[str]:
        """Origins that the service's own pages have: scheme, host and port; on this machine by each of its names."""
        parts = urlsplit(self.public_url)
        return frozenset(f"{parts.scheme}://{host}" for host in self.hosts)

    @property
    def hosts(self) -> frozenset[str]:
        """What a request's Host header may say, with the port where it is not the scheme's usual one."""
        parts = urlsplit(self.public_url)
        name = f"[{parts.hostname}]" if ":" in (parts.hostname or "") else parts.hostname or ""
        port = "" if parts.port in (None, _USUAL_PORT[parts.scheme]) else f":{parts.port}"
        return frozenset(each + port for each in (_SAME_MACHINE if name in _SAME_MACHINE else (name,)))
