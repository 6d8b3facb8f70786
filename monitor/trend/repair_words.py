"""The sentences on what a reinforcement did, in the wall's own unit: never more than the bounds show."""

from typing import Any, TypeAlias

from monitor.trend import reasons
from monitor.units import rate_text

Row: TypeAlias = dict[str, Any]
"""A row of the repairs by name of the column, None where a value is not known."""


def reason(row: Row, unit: str, take_up_days: int) -> str:
    """What the repair did, in one sentence. row: a row of the repairs, and read_after: anything read after the work."""
    parts = [_rates(row, unit), *filter(None, [_step(row, unit), _take_up(row, unit, take_up_days)])]
    return f"{'; '.join(parts)}."


def warning(row: Row, first_dry_season: bool) -> str:
    """What must not be credited to the repair, in one sentence; '' where nothing.

    first_dry_season: the wall was last read in its inward season before the work, and for under a year since.
    """
    parts = []
    if first_dry_season:
        parts.append(
            "the wall was last read before the work in the wet or cold season and under a year of visits has followed, "
            "so that it may only be going back as it does every year"
        )
    if row["difference_lower"] is not None and row["difference_lower"] <= 0 <= row["difference_upper"]:
        parts.append("the readings do not show that its rate has changed at all")
    return f"Do not credit the work yet: {' and '.join(parts)}." if parts else ""


def change(row: Row) -> str:
    """'slower' or 'faster' where the bounds of the difference say so, else ''."""
    if row["difference_upper"] is not None and row["difference_upper"] < 0:
        return "slower"
    if row["difference_lower"] is not None and row["difference_lower"] > 0:
        return "faster"
    return ""


def _rates(row: Row, unit: str) -> str:
    mark, day = row["mark"], row["reinforced_on"].isoformat()
    before, after = row["before_mm_per_year"], row["after_mm_per_year"]
    known = [
        f"{rate_text(rate, unit)} {when}" for rate, when in ((before, "before"), (after, "after")) if rate is not None
    ]
    if row["difference_mm_per_year"] is None:
        lacking = "The rate before and after"
        if len(known) == 1:
            lacking = "The rate before" if before is None else "The rate after"
        said = f" ({known[0]} it)" if len(known) == 1 else ""
        why = "are measured against different things" if len(known) == 2 else "is not known"
        return f"{lacking} the work of {day} {why} at mark {mark}{said}"
    if changed := change(row):
        size = rate_text(abs(row["difference_mm_per_year"]), unit)
        low, high = sorted(abs(row[f"difference_{end}"]) for end in ("lower", "upper"))
        return (
            f"Mark {mark} moves in {size} {changed} since the work of {day} ({_between(low, high, unit)}): "
            f"{known[0]} and {known[1]}"
        )
    low, high = row["difference_lower"], row["difference_upper"]
    return (
        f"Mark {mark} is not shown to move slower or faster since the work of {day}: the rate after less the rate "
        f"before lies {_between(low, high, unit)} ({known[0]}, {known[1]})"
    )


def _between(low: float, high: float, unit: str) -> str:
    first, second = (rate_text(rate, unit) for rate in (low, high))
    return f"between {first.split(' ')[0]} and {second}, 9 times in 10"


def _step(row: Row, unit: str) -> str:
    if row["step_mm"] is None:
        return ""
    held = "" if row["read_after"] else ", with the take-up in it, for nothing was read right after the work"
    return f"at the work its {row['step_kind']} was {_moved(row, 'step', unit)}{held}"


def _take_up(row: Row, unit: str, days: int) -> str:
    if row["take_up_mm"] is None:
        return ""
    return f"in the {days} days of take-up after it, it moved {_moved(row, 'take_up', unit)}"


def _moved(row: Row, name: str, unit: str) -> str:
    """'1/16 in (1.5 mm) outward, between -2.9 and -0.1 mm inward': of a length that may go either way.

    The bounds stand in millimetres, for sixteenths of an inch are as coarse as they are.
    """
    mm, low, high = (row[f"{name}_{end}"] for end in ("mm", "lower", "upper"))
    way = "inward" if mm >= 0 else "outward"
    return f"{reasons.both(abs(mm), unit)} {way} (between {low:.1f} and {high:.1f} mm inward, 9 times in 10)"
