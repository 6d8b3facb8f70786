"""Settings and their defaults: thresholds and rules, and the model's variances.

The thresholds are the company's own, to be agreed with a licensed engineer.
"""

from collections.abc import Callable, Mapping
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from msgspec import Meta, field

from monitor.documents import Document, RefusedError, of_values
from monitor.errors import SettingsError
from monitor.terms import Method, Urgency
from monitor.units import INCHES_PER_FOOT, MM_PER_INCH

END_REACH_MM = INCHES_PER_FOOT * MM_PER_INCH
"""A mark within one foot of a corner is an end mark (common practice, no source)."""


_Positive = Annotated[float, Meta(gt=0)]
_NotNegative = Annotated[float, Meta(ge=0)]
_Share = Annotated[float, Meta(gt=0, lt=1)]
_Month = Annotated[int, Meta(ge=1, le=12)]


class Rules(Document, frozen=True, kw_only=True):
    """Thresholds and limits. Rates in mm/yr, lengths in mm. Defaults are common practice, no source, unless said."""

    before_mm_per_year: _Positive = MM_PER_INCH / 8
    after_mm_per_year: _Positive = MM_PER_INCH / 16
    total_limit_mm: _Positive = 2 * MM_PER_INCH
    thickness_share: Annotated[_Positive, Meta(description="graver limit of total, a share of the thickness")] = 1 / 3
    take_up_days: Annotated[int, Meta(ge=0)] = 90
    engineer_mm_per_year: _Positive = MM_PER_INCH / 4
    jump_mm: _Positive = 6.0
    keep_out_jump_mm: _Positive = 13.0
    jump_p: _Share = 0.001
    alpha: Annotated[_Share, Meta(description="moving: evidence at or above 1/alpha")] = 0.05
    look_again_evidence: Annotated[float, Meta(gt=1)] = 10.0
    moving_visits: Annotated[int, Meta(ge=3)] = 3
    holding_visits: Annotated[int, Meta(ge=3)] = 4
    holding_months: _Positive = 12.0
    first_interval_months: Annotated[_Positive, Meta(description="between visits in a period's first years")] = 6.0
    first_interval_years: _NotNegative = 2.0
    later_interval_months: _Positive = 12.0
    confirm_weeks: Annotated[int, Meta(gt=0, description="from a doubtful visit to the one that confirms it")] = 8
    grace_days: Annotated[int, Meta(ge=0)] = 30
    frost_from: Annotated[_Month, Meta(description="first month in which a visit is made before the frost")] = 9
    frost_to: Annotated[_Month, Meta(description="last such month")] = 11

    def threshold(self, period: int) -> float:
        """Threshold of a period in mm/yr: before the first reinforcement (period 0), or after one."""
        return self.before_mm_per_year if period == 0 else self.after_mm_per_year


class MethodSds(Document, frozen=True, kw_only=True):
    """Standard deviations of one method: reading sd and set-up offset in mm, yaw and tilt in mm per m; None = free."""

    reading_mm: _Positive
    offset_mm: float | None = 0.0
    yaw_mm_per_m: _NotNegative = 0.0
    tilt_mm_per_m: _NotNegative = 0.0


def _default_methods() -> Mapping[Method, MethodSds]:
    return {
        Method.STRING: MethodSds(reading_mm=0.8, offset_mm=1.0, yaw_mm_per_m=0.2),
        Method.PLUMB: MethodSds(reading_mm=0.9, offset_mm=None),
        Method.LASER: MethodSds(reading_mm=0.9, offset_mm=None, yaw_mm_per_m=1.0, tilt_mm_per_m=0.3),
        Method.METER: MethodSds(reading_mm=1.0, offset_mm=0.7),
    }


class Variances(Document, frozen=True, kw_only=True):
    """All variance parameters of the model.

    Defaults are practice from memory, no source, until they are estimated from the company's walls.
    """

    methods: Mapping[Method, MethodSds] = field(default_factory=_default_methods)
    season_mm: Annotated[_NotNegative, Meta(description="A: cos and sin coefficients ~ N(0, A^2 / 2)")] = 1.1
    season_carry: Annotated[float, Meta(ge=0, le=1, description="rho: season carried into the next period")] = 0.7
    local_mm_per_year: Annotated[_NotNegative, Meta(description="omega")] = 0.2
    local_share: Annotated[_NotNegative, Meta(description="kappa")] = 0.1
    wobble_mm: Annotated[_NotNegative, Meta(description="psi")] = 0.3
    scale_dof: Annotated[_Positive, Meta(description="d0 of the residual scale's prior")] = 15.0
    scale: Annotated[_Positive, Meta(description="s0^2")] = 1.0
    jump_rate_mm_per_year: Annotated[_Positive, Meta(description="sd of component rates in the jump forecast")] = 3.0


class Settings(Document, frozen=True, kw_only=True):
    """Everything an assessment depends on besides the facts."""

    rules: Rules = field(default_factory=Rules)
    variances: Variances = field(default_factory=Variances)


def _plain(text: str) -> None:
    if any(not sign.isprintable() or sign.isspace() for sign in text):
        raise ValueError("a space, a line break or an unseen sign stands in it")


def _web_address(text: str) -> None:
    """Scheme and host, and nobody's password in it: these settings lie in the store."""
    _plain(text)
    parts = urlsplit(text)
    if text and (parts.scheme not in ("http", "https") or not parts.hostname):
        raise ValueError("it does not begin with http:// or https:// and a host")
    if parts.username is not None or parts.password is not None:
        raise ValueError("a user or password stands in it; the webhook's secret belongs into the environment")
    _ = parts.port  # a port that is no number raises ValueError


def _mail_address(text: str) -> None:
    _plain(text)
    name, at, host = text.rpartition("@")
    if not name or not at or not host:
        raise ValueError("it is no mail address, like alerts@walls.example")


def _look(document: Document, **looks: Callable[[str], None]) -> None:
    """Look at texts of a document by their names. Raises RefusedError."""
    for name, look in looks.items():
        try:
            look(getattr(document, name))
        except ValueError as error:
            raise RefusedError(name, str(error)) from error


class MailServer(Document, frozen=True, kw_only=True):
    """The server that takes mail over. The password is never here: it comes from the environment."""

    host: Annotated[str, Meta(min_length=1)]
    port: Annotated[int, Meta(ge=1, le=65535)] = 587
    security: Literal["starttls", "tls", "none"] = "starttls"
    user: str = ""
    sender: str

    def __post_init__(self) -> None:
        """Raises RefusedError for a text that is none of its kind."""
        _look(self, host=_plain, user=_plain, sender=_mail_address)


def _default_reminders() -> Mapping[Urgency, int]:
    return {
        Urgency.KEEP_OUT: 1,  # people may be standing beside that wall
        Urgency.SAME_DAY: 1,  # asks for a call today; a held reading of 13 mm or more is among these
        Urgency.WEEK: 7,  # an engineer within a week: unheard for longer, that week is over
        Urgency.DECISION: 7,  # a decision this month: four chances to be heard in it
        Urgency.CONFIRM: 7,  # a visit takes weeks to arrange; more often would only teach people to look away
    }


class Telling(Document, frozen=True, kw_only=True):
    """How people are told of alerts. Defaults are common practice, no source.

    mail: without it, mails are left as files in the outbox. people: person ids to tell of every alert in place of
    everybody of the office. remind_days: days after which an alert that nobody acknowledged is told again, by urgency.
    timeout_seconds: how long to wait for a server's next word; a whole mail or post may take three times that.
    """

    mail: MailServer | None = None
    webhook: str = ""
    public_url: str = ""
    people: tuple[str, ...] = ()
    remind_days: Mapping[Urgency, Annotated[int, Meta(ge=1)]] = field(default_factory=_default_reminders)
    timeout_seconds: Annotated[float, Meta(gt=0, le=300)] = 20.0

    def __post_init__(self) -> None:
        """Raises RefusedError for an address that is none."""
        _look(self, webhook=_web_address, public_url=_web_address)

    @property
    def sender(self) -> str:
        """Whom mails come from; where no server is configured, nobody (.invalid: RFC 2606)."""
        return self.mail.sender if self.mail else "wallbow@walls.invalid"

    @classmethod
    def of(cls, written: Mapping[str, Any]) -> "Telling":
        """Settings as written by somebody. Raises SettingsError that names the first that cannot be."""
        try:
            return of_values(cls, written)
        except RefusedError as error:
            raise SettingsError(
                "People cannot be told so.",
                got=str(error),
                mend="Mend that option. A mail server needs --mail-host and --sender.",
            ) from error
