"""Tried limits as text: a line a quantity, a column a threshold."""

from collections.abc import Sequence
from math import isinf, isnan

from monitor.pipeline.listed import Listing
from monitor.study.company import Company
from monitor.study.limits import NEAR, TWICE, Flags, Tried
from monitor.study.measures import HOLDING_MONTHS
from monitor.study.shares import Months, Share
from monitor.units import limit_rate_text


def listing(company: Company, tried: Sequence[Tried], *, years: float, seed: int) -> Listing:
    """The table, with what was simulated below it."""
    own = len(company.walls)
    of_own = "if this wall were" if own == 1 else f"if all {own} walls were"
    rows = [
        ("threshold", *(limit_rate_text(one.threshold_mm_per_year, company.unit) for one in tried)),
        (f"false flags a year, {of_own} still", *(_flags(one.false_still) for one in tried)),
        (f"false flags a year, {of_own} slow", *(_flags(one.false_slow) for one in tried)),
        (f"a wall at {TWICE:g} x the threshold: half are found within", *(_months(one.median) for one in tried)),
        (f"a wall at {TWICE:g} x the threshold: 9 in 10 are found within", *(_months(one.most) for one in tried)),
        *(
            (f"still walls called holding after {month} months", *(_share(one.holding[number]) for one in tried))
            for number, month in enumerate(HOLDING_MONTHS)
        ),
        (
            f"walls at {NEAR:g} x the threshold ever called holding, wrongly",
            *(_share(one.wrongly_holding) for one in tried),
        ),
    ]
    headers = ["", *("after reinforcement" if one.strapped else "before reinforcement" for one in tried)]
    return Listing(f"These thresholds over {years:g} years", headers, rows, _closing(company, tried, seed))


def _closing(company: Company, tried: Sequence[Tried], seed: int) -> str:
    left_out = (
        f" {company.left_out} of the company's walls left out, for lack of size or marks." if company.left_out else ""
    )
    return (
        f"{tried[0].walls} simulated walls a number (seed {seed}), like the company's {len(company.walls)} in turn; "
        "in brackets 95 % intervals for so few. Slow: evenly from still up to the threshold. Months count from the "
        f"zero or the reinforcement.{left_out} A simulation of the model's own assumptions: no promise for a house."
    )


def _flags(value: Flags) -> str:
    return f"{value.a_year:.2g} ({value.low:.2g} to {value.high:.2g})"


def _share(value: Share) -> str:
    if isnan(value.value):
        return "not visited so long"
    return f"{value.value:.0%} ({value.low:.0%} to {value.high:.0%})"


def _months(value: Months) -> str:
    if isinf(value.value):
        return f"not in time ({_month(value.low)} at best)" if not isinf(value.low) else "not in time"
    return f"{value.value:.0f} months ({_month(value.low)} to {_month(value.high)})"


def _month(value: float) -> str:
    return "not in time" if isinf(value) else f"{value:.0f}"
