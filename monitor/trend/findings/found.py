"""One rule's findings as a table, and what several rules ask for in the same words."""

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from monitor import schema
from monitor.records import dataclass
from monitor.terms import LengthUnit, Outcome
from monitor.trend import reasons
from monitor.trend.columns import Rows, Whole, numbers
from monitor.trend.sentences import Text, where

KEEP_OUT = "Keep people away from the wall and call a licensed engineer now."
SAME_DAY = "Call the house today, and read the wall again from a fresh set-up."
WEEK = "Have a licensed engineer look at the wall within a week."
VISIT = "Make the overdue visit."
TOLD = [name for name in schema.FINDINGS.names if name not in ("house", "wall", "period", "rule")]
"""Columns of a finding, but for its wall and rule."""


@dataclass(frozen=True)
class Found:
    """What one rule says of some rows (numbers `at` of them, in their table); told: columns TOLD."""

    at: Whole
    told: pa.Table


def found(
    walls: Rows,
    outcome: Outcome,
    urgency: Text,
    value: npt.ArrayLike,
    limit: npt.ArrayLike,
    unit: Text,
    reason: Text,
    next_step: Text,
) -> Found:
    """Findings of the rows; whatever is not given by row holds for all of them."""
    count = len(walls)
    texts = {"outcome": outcome, "urgency": urgency, "unit": unit, "reason": reason, "next_step": next_step}
    told = {name: _for_all(text, count) for name, text in texts.items()}
    told |= {name: numbers(np.broadcast_to(of, count)) for name, of in (("value", value), ("limit", limit))}
    return Found(walls.at, pa.table([told[name] for name in TOLD], names=TOLD))


def _for_all(text: Text, count: int) -> pa.Array:
    return pa.repeat(str(text), count) if isinstance(text, str) else text


def both_units(mm: float, walls: Rows) -> pa.Array:
    """One length in the unit of each wall."""
    return where(reasons.inches(walls), *(reasons.both(mm, unit) for unit in LengthUnit))
