"""Findings that may call for a visit at once: a step at the latest visit, and what the technician saw."""

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from monitor.config import Rules
from monitor.terms import Outcome, Seen, Urgency
from monitor.trend import reasons
from monitor.trend.columns import Rows
from monitor.trend.findings.found import KEEP_OUT, SAME_DAY, WEEK, Found, both_units, found
from monitor.trend.sentences import Text, decided, given, iso, joined, rewritten, said, same, where, written

GRAVE_SIGNS = frozenset({Seen.LIP, Seen.CRUSHED_BLOCK, Seen.JOISTS_OFF, Seen.NOISE, Seen.GUSHING_WATER})
"""Signs that clear the area at once (common practice, an engineer to confirm)."""


def jump(walls: Rows, rules: Rules) -> list[Found]:
    """A step at the latest visit that set-up, season and reading error cannot explain."""
    step, p = walls.number("jump_mm"), walls.number("jump_p")
    least, far = rules.jump_mm, rules.keep_out_jump_mm
    beyond = f"{{told}}, more than set-up, season and reading error explain (chance under {rules.jump_p:g})."
    return decided(
        walls,
        (np.isnan(step) | np.isnan(p), lambda rows: _jumped(rows, Outcome.UNDECIDED, Urgency.NONE, least,
            "A step at the latest visit cannot be judged: there is no forecast for it.")),
        (step < least, lambda rows: _jumped(rows, Outcome.NO, Urgency.NONE, least,
            said("{told}, less than the step of {least} inward that asks for a call.", told=_foretold(rows),
                 least=both_units(least, rows)))),
        (p >= rules.jump_p, lambda rows: _jumped(rows, Outcome.NO, Urgency.NONE, least,
            said("{told}, which set-up, season and reading error can still explain (chance {p}).",
                 told=_foretold(rows), p=written(rows.number("jump_p"), lambda chance: f"{chance:.2g}")))),
        (step >= far, lambda rows: _jumped(rows, Outcome.YES, Urgency.KEEP_OUT, far,
            said(beyond, told=_foretold(rows)), KEEP_OUT)),
        (True, lambda rows: _jumped(rows, Outcome.YES, Urgency.SAME_DAY, least,
            said(beyond, told=_foretold(rows)), SAME_DAY)),
    )  # fmt: skip


def _jumped(walls: Rows, outcome: Outcome, urgency: Urgency, limit_mm: float, text: Text, step: str = "") -> Found:
    return found(walls, outcome, urgency, walls.number("jump_mm"), limit_mm, "mm", text, step)


def _foretold(walls: Rows) -> pa.Array:
    """How far the latest visit stands off, as the start of a sentence."""
    step = walls.number("jump_mm")
    return said(
        "The latest visit stands {length} {side} than the earlier ones foretell",
        length=reasons.lengths(np.abs(step), reasons.inches(walls)),
        side=where(step >= 0, "further in", "further out"),
    )


def seen(walls: Rows) -> list[Found]:
    """What the technician wrote counts without any number; standing water alone is no finding."""
    alarming, unknown = rewritten(walls.text("signs"), _alarming), walls.text("unknown")
    only_crack, nothing = same(alarming, Seen.NEW_CRACK), same(alarming, "")
    undecided = (Outcome.UNDECIDED, Urgency.CONFIRM, np.nan)
    return decided(
        walls,
        (only_crack, lambda rows: _alarmed(rows, Urgency.WEEK, WEEK)),
        (~nothing, lambda rows: _alarmed(rows, Urgency.KEEP_OUT, KEEP_OUT)),
        (~same(unknown, ""), lambda rows: _noted(rows, *undecided,
            said("The technician wrote down {day} words that are no known sign: {words}.", day=_day(rows),
                 words=pc.replace_substring(rows.text("unknown"), "; ", ", ")),
            "Ask the technician today what was seen, and correct the row.")),
        (np.isnan(walls.day("visited_on")), lambda rows: _noted(rows, Outcome.UNDECIDED, Urgency.NONE, np.nan,
            "No visit of this wall is on record, so nobody has looked for signs.")),
        (True, lambda rows: _noted(rows, Outcome.NO, Urgency.NONE, 0.0,
            said("No sign that asks for an engineer was written down {day}{water}.", day=_day(rows),
                 water=rewritten(rows.text("signs"), _water)))),
    )  # fmt: skip


def _alarmed(walls: Rows, urgency: Urgency, step: str) -> Found:
    signs = rewritten(walls.text("signs"), _alarming)
    text = said("The technician wrote down {day}: {signs}.", day=_day(walls), signs=signs)
    return _noted(walls, Outcome.YES, urgency, pc.add(pc.count_substring(signs, ", "), 1), text, step)


def _noted(walls: Rows, outcome: Outcome, urgency: Urgency, value: npt.ArrayLike, text: Text, step: str = "") -> Found:
    return found(walls, outcome, urgency, value, 1.0, "signs", text, step)


def _day(walls: Rows) -> pa.Array:
    """When signs were looked for, and whether some stand where nobody can say when."""
    undated = given(walls.flag("undated"), "on a row without a valid date")
    return joined(" or ", said("at the visit of {day}", day=iso(walls.day("visited_on"))), undated)


def _alarming(signs: str) -> str:
    """Those of the signs that ask for an engineer, grave ones first; '' where there is none."""
    words = signs.split("; ")
    return ", ".join([word for word in words if word in GRAVE_SIGNS] + [Seen.NEW_CRACK] * (Seen.NEW_CRACK in words))


def _water(signs: str) -> str:
    return "; standing water alone is noted, not judged" if Seen.STANDING_WATER in signs.split("; ") else ""
