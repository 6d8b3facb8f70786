"""Settings and their defaults: thresholds and rules, and the model's variances.

The thresholds are the company's own, to be agreed with a licensed engineer.
"""

from collections.abc import Mapping
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from monitor.errors import SettingsError
from monitor.terms import Method, Urgency
from monitor.units import INCHES_PER_FOOT, MM_PER_INCH

END_REACH_MM = INCHES_PER_FOOT * MM_PER_INCH
"""A mark within one foot of a corner is an end mark (common practice, no source)."""


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)  # few commands need all of them


class Rules(_Frozen):
    """Thresholds and limits. Rates in mm/yr, lengths in mm. Defaults are common practice, no source, unless said."""

    before_mm_per_year: float = Field(default=MM_PER_INCH / 8, gt=0)
    after_mm_per_year: float = Field(default=MM_PER_INCH / 16, gt=0)
    total_limit_mm: float = Field(default=2 * MM_PER_INCH, gt=0)
    thickness_share: float = Field(
        default=1 / 3, gt=0, description="graver limit of total, as a share of the thickness"
    )
    take_up_days: int = Field(default=90, ge=0)
    engineer_mm_per_year: float = Field(default=MM_PER_INCH / 4, gt=0)
    jump_mm: float = Field(default=6.0, gt=0)
    keep_out_jump_mm: float = Field(default=13.0, gt=0)
    jump_p: float = Field(default=0.001, gt=0, lt=1)
    alpha: float = Field(default=0.05, gt=0, lt=1, description="moving: evidence at or above 1/alpha")
    look_again_evidence: float = Field(default=10.0, gt=1)
    moving_visits: int = Field(default=3, ge=3)
    holding_visits: int = Field(default=4, ge=3)
    holding_months: float = Field(default=12.0, gt=0)
    first_interval_months: float = Field(default=6.0, gt=0, description="between visits in a period's first years")
    first_interval_years: float = Field(default=2.0, ge=0)
    later_interval_months: float = Field(default=12.0, gt=0)
    confirm_weeks: int = Field(default=8, gt=0, description="from a doubtful visit to the one that confirms it")
    grace_days: int = Field(default=30, ge=0)
    frost_from: int = Field(default=9, ge=1, le=12, description="first month in which a visit is made before the frost")
    frost_to: int = Field(default=11, ge=1, le=12, description="last such month")

    def threshold(self, period: int) -> float:
        """Threshold of a period in mm/yr: before the first reinforcement (period 0), or after one."""
        return self.before_mm_per_year if period == 0 else self.after_mm_per_year


class MethodSds(_Frozen):
    """Standard deviations of one method: reading sd and set-up offset in mm, yaw and tilt in mm per m; None = free."""

    reading_mm: float = Field(gt=0)
    offset_mm: float | None = Field(default=0.0)
    yaw_mm_per_m: float = Field(default=0.0, ge=0)
    tilt_mm_per_m: float = Field(default=0.0, ge=0)


def _default_methods() -> Mapping[Method, MethodSds]:
    return {
        Method.STRING: MethodSds(reading_mm=0.8, offset_mm=1.0, yaw_mm_per_m=0.2),
        Method.PLUMB: MethodSds(reading_mm=0.9, offset_mm=None),
        Method.LASER: MethodSds(reading_mm=0.9, offset_mm=None, yaw_mm_per_m=1.0, tilt_mm_per_m=0.3),
        Method.METER: MethodSds(reading_mm=1.0, offset_mm=0.7),
    }


class Variances(_Frozen):
    """All variance parameters of the model.

    Defaults are practice from memory, no source, until they are estimated from the company's walls.
    """

    methods: Mapping[Method, MethodSds] = Field(default_factory=_default_methods)
    season_mm: float = Field(default=1.1, ge=0, description="A: cos and sin coefficients ~ N(0, A^2 / 2)")
    season_carry: float = Field(default=0.7, ge=0, le=1, description="rho: season carried into the next period")
    local_mm_per_year: float = Field(default=0.2, ge=0, description="omega")
    local_share: float = Field(default=0.1, ge=0, description="kappa")
    wobble_mm: float = Field(default=0.3, ge=0, description="psi")
    scale_dof: float = Field(default=15.0, gt=0, description="d0 of the residual scale's prior")
    scale: float = Field(default=1.0, gt=0, description="s0^2")
    jump_rate_mm_per_year: float = Field(default=3.0, gt=0, description="sd of component rates in the jump forecast")


class Settings(_Frozen):
    """Everything an assessment depends on besides the facts."""

    rules: Rules = Field(default_factory=Rules)
    variances: Variances = Field(default_factory=Variances)


def _plain(text: str) -> str:
    if any(not sign.isprintable() or sign.isspace() for sign in text):
        raise ValueError("a space, a line break or an unseen sign stands in it")
    return text


def _web_address(text: str) -> str:
    """Scheme and host, and nobody's password in it: these settings lie in the store."""
    parts = urlsplit(_plain(text))
    if text and (parts.scheme not in ("http", "https") or not parts.hostname):
        raise ValueError("it does not begin with http:// or https:// and a host")
    if parts.username is not None or parts.password is not None:
        raise ValueError("a user or password stands in it; the webhook's secret belongs into the environment")
    _ = parts.port  # a port that is no number raises ValueError
    return text


def _mail_address(text: str) -> str:
    name, at, host = _plain(text).rpartition("@")
    if not name or not at or not host:
        raise ValueError("it is no mail address, like alerts@walls.example")
    return text


_Plain = Annotated[str, AfterValidator(_plain)]
_WebAddress = Annotated[str, AfterValidator(_web_address)]


class MailServer(_Frozen):
    """The server that takes mail over. The password is never here: it comes from the environment."""

    host: _Plain = Field(min_length=1)
    port: int = Field(default=587, ge=1, le=65535)
    security: Literal["starttls", "tls", "none"] = "starttls"
    user: _Plain = ""
    sender: Annotated[str, AfterValidator(_mail_address)]


def _default_reminders() -> Mapping[Urgency, int]:
    return {
        Urgency.KEEP_OUT: 1,  # people may be standing beside that wall
        Urgency.SAME_DAY: 1,  # asks for a call today; a held reading of 13 mm or more is among these
        Urgency.WEEK: 7,  # an engineer within a week: unheard for longer, that week is over
        Urgency.DECISION: 7,  # a decision this month: four chances to be heard in it
        Urgency.CONFIRM: 7,  # a visit takes weeks to arrange; more often would only teach people to look away
    }


class Telling(_Frozen):
    """How people are told of alerts. Defaults are common practice, no source.

    mail: without it, mails are left as files in the outbox. people: person ids to tell of every alert in place of
    everybody of the office. remind_days: days after which an alert that nobody acknowledged is told again, by urgency.
    timeout_seconds: how long to wait for a server's next word; a whole mail or post may take three times that.
    """

    mail: MailServer | None = None
    webhook: _WebAddress = ""
    public_url: _WebAddress = ""
    people: tuple[str, ...] = ()
    remind_days: Mapping[Urgency, Annotated[int, Field(ge=1)]] = Field(default_factory=_default_reminders)
    timeout_seconds: float = Field(default=20.0, gt=0, le=300)

    @property
    def sender(self) -> str:
        """Whom mails come from; where no server is configured, nobody (.invalid: RFC 2606)."""
        return self.mail.sender if self.mail else "wallbow@walls.invalid"

    @classmethod
    def of(cls, written: Mapping[str, Any]) -> "Telling":
        """Settings as written by somebody. Raises SettingsError that names the first that cannot be."""
        try:
            return cls.model_validate(written)
        except ValidationError as error:
            first = error.errors()[0]
            raise SettingsError(
                "People cannot be told so.",
                got=f"{'.'.join(map(str, first['loc']))}: {first['msg'].removeprefix('Value error, ')}",
                mend="Mend that option. A mail server needs --mail-host and --sender.",
            ) from error
