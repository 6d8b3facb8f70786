"""The sentences of verdicts and findings: what was found, how large, how sure, in the wall's own unit.

Functions of `Rows` take rows of the wall results with the unit of their wall, and return a column of texts.
"""

from collections.abc import Callable
from math import log

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor.config import Rules
from monitor.terms import LengthUnit, Movement, Verdict
from monitor.trend.columns import Array, Flags, Rows, Whole
from monitor.trend.sentences import (
    chosen,
    given,
    iso,
    joined,
    listed,
    months,
    rewritten,
    said,
    same,
    where,
    written,
)
from monitor.units import length_step_mm, length_text, limit_rate_text, rate_number, rate_step_mm, rate_text

COMPONENT = {
    Movement.BOW: "bowing",
    Movement.TIP: "tipping at the top",
    Movement.SLIDE: "sliding at the base",
}
"""What a component of movement is called in a sentence."""

MOST_ODDS = 1000
_NEARLY = 1e-9
"""Odds this little below a round number, by the error of the logarithm, are told as it."""


def reason(walls: Rows, rules: Rules) -> pa.Array:
    """The verdict's reason in one sentence. walls: with their verdict, own_lower and what is left in doubt."""
    return chosen(
        walls,
        (walls.says("verdict", Verdict.MOVING), lambda rows: _moving(rows, rules)),
        (walls.says("verdict", Verdict.LOOK_AGAIN), lambda rows: _look_again(rows, rules)),
        (walls.says("verdict", Verdict.HOLDING), _holding),
        (True, lambda rows: _too_early(rows, rules)),
    )


def missing(walls: Rows, rules: Rules, *, months_short: Array, when: pa.Array) -> pa.Array:
    """What a period lacks for being called holding, in one sentence; '' where it lacks nothing.

    months_short: months by which its visits span too little; when: from when on it can be called so, '' if not known.
    """
    upper, count, held = walls.number("rate_upper"), walls.count("visits"), walls.count("readings_held")
    over = upper >= walls.number("threshold_mm_per_year")
    now = where(tellable(walls, rules), said(" (now {rate})", rate=rates(upper, inches(walls))), "")
    lacking = listed(
        given(count < rules.holding_visits, written(rules.holding_visits - count, _more_visits)),
        given(months_short > 0, written(np.maximum(1, np.rint(months_short)), _more_months)),
        given(held > 0, said("a ruling on {held}", held=counted(held, "held reading"))),
        given(walls.count("overdue_days") > 0, "the overdue visit"),
        given(np.isnan(upper) & (count >= 2), "marks or a method that determine a rate"),
        given(over, said("an upper bound below the threshold of {limit}{now}", limit=threshold(walls), now=now)),
    )
    until = where(~same(when, ""), said("; {when}", when=when))
    return where(~same(lacking, ""), said("Missing for holding: {lacking}{until}.", lacking=lacking, until=until))


def when(likely: Array, looked_until: Array, earliest: Array) -> pa.Array:
    """From when on a wall can be called holding; '' where nothing is known.

    likely: the planned visit after which a still wall is called so with 80 % chance; looked_until: the last planned
    visit that was looked at; earliest: where none was, the first planned day with visits and months enough.
    """
    likely_said = said(
        "if it does not move, it is likely (4 times in 5) to be called so after the visit of {day}", day=iso(likely)
    )
    until_said = said(
        "no visit planned until {day} is likely to show it, even if the wall does not move", day=iso(looked_until)
    )
    earliest_said = said("by visits and months alone it can be called holding from {day}", day=iso(earliest))
    return pc.coalesce(likely_said, until_said, earliest_said, "")


def inches(walls: Rows) -> Flags:
    """Whether a wall's numbers are told in inches; in millimetres where not."""
    return walls.says("unit", LengthUnit.INCH) | walls.says("unit")


def rates(mm_per_year: Array, in_inches: Flags) -> pa.Array:
    """Rates as texts, null for NaN."""
    return _in_unit(mm_per_year, in_inches, rate_text, rate_step_mm)


def lengths(mm: Array, in_inches: Flags) -> pa.Array:
    """Lengths in the wall's unit, the other one beside, as `both` tells one; null for NaN."""
    own = _in_unit(mm, in_inches, length_text, length_step_mm)
    other = _in_unit(mm, ~in_inches, length_text, length_step_mm)
    return said("{own} ({other})", own=own, other=other)


def limit_rates(mm_per_year: Array, in_inches: Flags) -> pa.Array:
    """Limits of a rate as texts, null for NaN."""
    return _in_unit(mm_per_year, in_inches, limit_rate_text)


def threshold(walls: Rows) -> pa.Array:
    """The threshold of the wall's period."""
    return limit_rates(walls.number("threshold_mm_per_year"), inches(walls))


def between(walls: Rows) -> pa.Array:
    """The wall's pair of bounds: 'between 0.12 and 0.30 inch a year over all its marks, 9 times in 10'."""
    unit = inches(walls)
    low = _in_unit(walls.number("rate_lower"), unit, rate_number, rate_step_mm)
    high = rates(walls.number("rate_upper"), unit)
    return said("between {low} and {high} over all its marks, 9 times in 10", low=low, high=high)


def most_likely(walls: Rows) -> pa.Array:
    """The wall's rate: 'most likely 0.20 inch a year at mark M3'."""
    mark = walls.text("governing_mark")
    at = where(~same(mark, ""), said(" at mark {mark}", mark=mark))
    return said("most likely {rate}{at}", rate=rates(walls.number("rate_mm_per_year"), inches(walls)), at=at)


def both(mm: float, unit: str) -> str:
    """A length in the wall's unit, the other one beside: '1 3/16 in (30.2 mm)'."""
    other = LengthUnit.MM if unit == LengthUnit.INCH else LengthUnit.INCH
    return f"{length_text(mm, unit)} ({length_text(mm, other)})"


def odds_value(log_evidence: Array) -> Array:
    """Evidence as odds to 1, cut at the most that is said."""
    return np.minimum(np.exp(np.minimum(log_evidence, log(MOST_ODDS))), MOST_ODDS)


def odds(log_evidence: Array) -> pa.Array:
    """Evidence as odds: '45 to 1'; rounded down, and not said beyond 1,000 to 1."""
    value = np.exp(np.minimum(log_evidence, log(MOST_ODDS))) + _NEARLY
    down = np.where(value >= 10, np.floor(value), np.floor(value * 10) / 10)
    return written(np.where(log_evidence >= log(MOST_ODDS), np.inf, down), _odds)


def counted(numbers: Array | Whole, noun: str) -> pa.Array:
    """'1 visit', '3 visits'."""
    return written(numbers, lambda number: f"{number:.0f} {noun}" if number == 1 else f"{number:.0f} {noun}s")


def visits(walls: Rows) -> pa.Array:
    """'5 visits in 24 months'."""
    span = np.rint(np.nan_to_num(walls.number("span_years")) * 12)
    return said("{visits} in {months}", visits=counted(walls.count("visits"), "visit"), months=counted(span, "month"))


def determined(walls: Rows) -> Flags:
    """Whether the wall has a rate with both bounds."""
    numbers = [walls.number(name) for name in ("rate_mm_per_year", "rate_lower", "rate_upper")]
    return np.asarray(~np.isnan(numbers).any(axis=0))


def tellable(walls: Rows, rules: Rules) -> Flags:
    """Whether a rate can be told: from enough visits that count, and with both bounds."""
    return determined(walls) & (walls.count("visits") >= rules.moving_visits)


def _moving(walls: Rows, rules: Rules) -> pa.Array:
    return said(
        "The wall moves inward{led}{since}, {likely} ({between}), and {visits} speak {odds} for a rate above the "
        "threshold of {limit} ({asked} is asked for).",
        led=rewritten(walls.text("largest_movement"), _led_by),
        since=_since(walls),
        likely=most_likely(walls),
        between=between(walls),
        visits=visits(walls),
        odds=odds(walls.number("log_evidence")),
        limit=threshold(walls),
        asked=_asked(rules),
    )


def _look_again(walls: Rows, rules: Rules) -> pa.Array:
    """By the bound of the leading mark, by the evidence, or by what in the readings is in doubt."""
    limit, own, log_e = threshold(walls), walls.number("own_lower"), np.nan_to_num(walls.number("log_evidence"))
    mark, doubt = walls.text("governing_mark"), walls.text("doubt")
    by_bound = own > walls.number("threshold_mm_per_year")
    bound = said(
        "the lower bound of {mark} by itself, {rate}, is above the threshold of {limit}",
        mark=where(~same(mark, ""), said("mark {mark}", mark=mark), "the wall"),
        rate=rates(own, inches(walls)),
        limit=limit,
    )
    evidence = said(
        "{visits} speak {odds} for a rate above {limit} ({asked} from visit {count} on is asked for)",
        visits=visits(walls),
        odds=odds(log_e),
        limit=where(by_bound, "it", said("the threshold of {limit}", limit=limit)),
        asked=_asked(rules),
        count=str(rules.moving_visits),
    )
    by_evidence = log_e >= log(rules.look_again_evidence)
    told = joined(" and ", given(by_bound, bound), given(by_evidence, evidence), given(~same(doubt, ""), doubt))
    return said("Not yet shown to be moving, but {told}.", told=told)


def _holding(walls: Rows) -> pa.Array:
    left_open = joined("\n", walls.text("not_settled"), walls.text("not_measured"))
    return said(
        "Over {visits} {rate}, below the threshold of {limit}{left_open}.",
        visits=visits(walls),
        rate=_rate(walls),
        limit=threshold(walls),
        left_open=rewritten(left_open, lambda text: _left_open(*text.split("\n"))),
    )


def _too_early(walls: Rows, rules: Rules) -> pa.Array:
    count, in_take_up = walls.count("visits"), (walls.count("visits_all") > 0) & (walls.count("period") > 0)
    below = walls.number("rate_upper") < walls.number("threshold_mm_per_year")
    return chosen(
        walls,
        ((count == 0) & in_take_up, lambda rows: _within_take_up(rows, rules)),
        (count == 0, lambda _: "No visit of this period counts for the rate yet."),
        (count == 1, lambda _: "Only 1 visit of this period counts for the rate, and one visit shows no movement."),
        (~determined(walls), _undetermined),
        (~tellable(walls, rules), lambda rows: _untold(rows, rules)),
        (below, lambda rows: _so_far(
            rows, "which is below the threshold of {limit}, but not enough yet to be called holding")),
        (True, lambda rows: _so_far(
            rows, "which leaves open on which side of the threshold of {limit} it lies")),
    )  # fmt: skip


def _within_take_up(walls: Rows, rules: Rules) -> pa.Array:
    return said(
        "No visit of this period counts for the rate yet: {waiting} lie within the {days} days of take-up after the "
        "work.",
        waiting=counted(walls.count("visits_all"), "visit"),
        days=str(rules.take_up_days),
    )


def _undetermined(walls: Rows) -> pa.Array:
    return said("The marks and the method of {visits} do not determine the rate of any mark.", visits=visits(walls))


def _untold(walls: Rows, rules: Rules) -> pa.Array:
    asked = str(rules.moving_visits)
    return said("No rate can be told from {visits}: it takes {asked} visits that count.", visits=visits(walls),
                asked=asked)  # fmt: skip


def _so_far(walls: Rows, settled: str) -> pa.Array:
    return said(f"After {{visits}} {{rate}}, {settled}.", visits=visits(walls), rate=_rate(walls),
                limit=threshold(walls))  # fmt: skip


def _rate(walls: Rows) -> pa.Array:
    """The wall's rate as the start of a sentence's end: subject, estimate, bounds."""
    return said("the wall's inward rate, {likely}, lies {between}", likely=most_likely(walls), between=between(walls))


def _since(walls: Rows) -> pa.Array:
    """When the movement began as far as the visits tell: nothing is known of the time before the first one."""
    first = walls.day("first_visit")
    onset = np.where(np.isnan(walls.day("onset")), first, walls.day("onset"))
    month = months(onset)
    at_latest = said(", since {month} at the latest", month=month)
    return pc.fill_null(where(onset == first, at_latest, said(", since about {month}", month=month)), "")


def _left_open(not_settled: str, not_measured: str) -> str:
    if len(not_measured.split()) == len(Movement):
        return " (how much of it is bowing, tipping at the top or sliding at the base is not measured)"
    parts = [
        f"{_listed([COMPONENT[Movement(word)] for word in text.split()])} {how}"
        for text, how in ((not_settled, "not settled"), (not_measured, "not measured"))
        if text
    ]
    return f" ({'; '.join(parts)})" if parts else ""


def _led_by(largest_movement: str) -> str:
    return f" (first of all {COMPONENT[Movement(largest_movement)]})" if largest_movement else ""


def _more_visits(lacking: float) -> str:
    return "1 more visit that counts for the rate" if lacking == 1 else f"{lacking:.0f} more visits that count"


def _more_months(number: float) -> str:
    return f"{number:.0f} more month{'' if number == 1 else 's'} between the first visit and the last"


def _odds(value: float) -> str:
    if value > MOST_ODDS:
        return f"over {MOST_ODDS:,} to 1"
    return f"{value:.0f} to 1" if value >= 10 else f"{value:.1f} to 1"


def _asked(rules: Rules) -> str:
    """The odds that a wall is called moving at."""
    return str(odds(np.array([log(1 / rules.alpha)]))[0])


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _in_unit(
    mm: Array, in_inches: Flags, write: Callable[[float, str], str], step: Callable[[str], float] | None = None
) -> pa.Array:
    """Numbers in millimetres as `write` tells them in a unit, null for NaN; step: as `written` takes it, by unit."""

    def of(unit: LengthUnit, mine: Flags) -> pa.Array:
        return written(np.where(mine, mm, np.nan), lambda value: write(value, unit), step and step(unit))

    return pc.coalesce(of(LengthUnit.INCH, in_inches), of(LengthUnit.MM, ~in_inches))
