"""Settings and their defaults: thresholds and rules, and the model's variances.

The thresholds are the company's own, to be agreed with a licensed engineer.
"""

from collections.abc import Mapping

from pydantic import BaseModel, ConfigDict, Field

from monitor.terms import Method
from monitor.units import INCHES_PER_FOOT, MM_PER_INCH

END_REACH_MM = INCHES_PER_FOOT * MM_PER_INCH
"""A mark within one foot of a corner is an end mark (common practice, no source)."""


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


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
