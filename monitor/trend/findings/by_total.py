"""Findings by the total: how far a wall stands in, against its limits."""

import numpy as np
import pyarrow as pa

from monitor.config import Rules
from monitor.terms import Outcome, Urgency
from monitor.trend import reasons
from monitor.trend.columns import Array, Rows
from monitor.trend.findings.found import KEEP_OUT, WEEK, Found, found
from monitor.trend.sentences import Text, decided, iso, said, where
from monitor.trend.totals import FOOT

_BESIDE = "; the slide of the foot, {since}, is not in it"


def total(walls: Rows, rules: Rules) -> list[Found]:
    """At or over the wall's limit an engineer looks within a week, at or over a third of its thickness at once."""
    value, limit, graver = walls.number("total_mm"), walls.number("total_limit_mm"), _graver_mm(walls, rules)
    likely, most = _slide(walls)
    return decided(
        walls,
        (np.isnan(value) | np.isnan(limit), _total_unknown),
        (value >= graver, lambda rows: _total_grave(rows, rules)),
        (value >= limit, lambda rows: _total_told(rows, rules, Outcome.YES, Urgency.WEEK, WEEK)),
        (np.isnan(likely), lambda rows: _total_told(rows, rules, Outcome.NO, Urgency.NONE, "")),
        (value + most < np.fmin(limit, graver),
         lambda rows: _total_told(rows, rules, Outcome.NO, Urgency.NONE, "", said(_BESIDE, since=_slid(rows)))),
        (True, lambda rows: _total_open(rows, rules)),
    )  # fmt: skip


def _total_unknown(walls: Rows) -> Found:
    text = "The total inward deflection at the latest visit is not known."
    step = "Read the end marks, or the lowest mark of a column, or enter the total measured at the zero reading."
    limit = walls.number("total_limit_mm")
    return found(walls, Outcome.UNDECIDED, Urgency.NONE, np.nan, limit, "mm", text, step)


def _total_grave(walls: Rows, rules: Rules) -> Found:
    graver = _graver_mm(walls, rules)
    text = said(
        "{subject}, at or over {share} of the wall's thickness, {limit}.",
        subject=_stands(walls),
        share=f"{rules.thickness_share:.0%}",
        limit=reasons.lengths(graver, reasons.inches(walls)),
    )
    return found(walls, Outcome.YES, Urgency.KEEP_OUT, walls.number("total_mm"), graver, "mm", text, KEEP_OUT)


def _total_told(walls: Rows, rules: Rules, outcome: Outcome, urgency: Urgency, step: str, beside: Text = "") -> Found:
    text = said("{told}{beside}.", told=_against_limit(walls, rules), beside=beside)
    value, limit = walls.number("total_mm"), walls.number("total_limit_mm")
    return found(walls, outcome, urgency, value, limit, "mm", text, step)


def _total_open(walls: Rows, rules: Rules) -> Found:
    template = "{told}" + _BESIDE + ", and with it the wall may be over the limit."
    text = said(template, told=_against_limit(walls, rules), since=_slid(walls))
    step = "Measure the total against something that does not slide: a string between its ends, or a fixed point."
    value = walls.number("total_mm") + _slide(walls)[1]
    nearest = np.fmin(walls.number("total_limit_mm"), _graver_mm(walls, rules))
    return found(walls, Outcome.UNDECIDED, Urgency.CONFIRM, value, nearest, "mm", text, step)


def _stands(walls: Rows) -> pa.Array:
    """How far in the wall stands, and against what, as the start of a sentence."""
    against = where(~walls.says("total_reference"),
                    said(" (measured against {line})", line=walls.text("total_reference")))  # fmt: skip
    length = reasons.lengths(walls.number("total_mm"), reasons.inches(walls))
    return said("Mark {mark} stands {length} inward in all{against}", mark=walls.text("total_mark"), length=length,
                against=against)  # fmt: skip


def _against_limit(walls: Rows, rules: Rules) -> pa.Array:
    limit = walls.number("total_limit_mm")
    no_thickness = "; its graver limit is not known, for the wall's thickness is not entered"
    return said(
        "{subject}, {side} the limit of {limit}{graver}",
        subject=_stands(walls),
        side=where(walls.number("total_mm") >= limit, "at or over", "under"),
        limit=reasons.lengths(limit, reasons.inches(walls)),
        graver=where(np.isnan(_graver_mm(walls, rules)), no_thickness),
    )


def _slid(walls: Rows) -> pa.Array:
    likely = reasons.lengths(_slide(walls)[0], reasons.inches(walls))
    first = walls.day("first_visit")
    since = where(~np.isnan(first), said(" since {day}", day=iso(first)))
    return said("most likely {likely}{since}", likely=likely, since=since)


def _graver_mm(walls: Rows, rules: Rules) -> Array:
    return rules.thickness_share * walls.number("thickness_mm")


def _slide(walls: Rows) -> tuple[Array, Array]:
    """How far the foot has likely slid in over the visits that count, and at most, where the total stands on it.

    NaN where the total does not, or no slide inward is shown. The time before the first of them is not known.
    """
    span = np.nan_to_num(walls.number("span_years"))
    shown = walls.says("total_reference", FOOT) & (walls.number("slide_lower") > 0) & walls.flag("tellable")
    years = np.where(shown & (span != 0), span, np.nan)
    return walls.number("slide_mm_per_year") * years, walls.number("slide_upper") * years
