"""What reinforcements did, and when the limit may be reached: rows and sentences for the pages of one wall."""

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.report import wording
from monitor.report.context import Row, WallView, tellable
from monitor.report.language import Language
from monitor.report.standing import jumped
from monitor.report.wording import EN
from monitor.units import rate_number

NONE = "–"
NOTES = ("ends_note", "crack_note", "technician_note")


def repairs(view: WallView) -> Sequence[Mapping[str, Any]]:
    """One row per reinforcement: rates before, after and their difference, the step, the take-up, sentence, warning."""
    return [
        {
            "day": row["reinforced_on"].isoformat(),
            "mark": row["mark"],
            **_rates(view, row),
            "step": _length(row, "step", view.unit),
            "step_kind": row["step_kind"],
            "take_up": _length(row, "take_up", view.unit),
            "reason": row["reason"],
            "warning": row["warning"],
        }
        for row in view.repairs
    ]


def _rates(view: WallView, row: Row) -> Mapping[str, str]:
    told = view.tellable_periods
    periods = {"before": {row["period"] - 1}, "after": {row["period"]}}
    periods["difference"] = periods["before"] | periods["after"]
    return {
        name: _rate(row, name, view.unit) if needed <= told else "too few visits" for name, needed in periods.items()
    }


def limit_range(view: WallView) -> str:
    """When the limit may be reached, as a range; '' where the rate is not shown to be inward, or has a step in it."""
    row = view.current
    if row is None or row["limit_from"] is None or not tellable(row) or jumped(view):
        return ""
    first = wording.month_text(row["limit_from"])
    if row["limit_to"] is None:
        return wording.LIMIT_OPEN.format(first=first)
    return wording.LIMIT_RANGE.format(first=first, last=wording.month_text(row["limit_to"]))


def notes(row: Row | None) -> list[str]:
    """What else stands in the way of the wall's numbers: ends, cracks, technicians."""
    return [row[name] for name in NOTES if row[name]] if row else []


def before_and_after(view: WallView, unit: str, *, none_measured: bool, words: Language = EN) -> str:
    """The homeowner's sentence on the newest reinforcement; '' where the readings compare nothing.

    none_measured: the page says that no movement was measured since, so none is called slower or faster beside it.
    """
    current = view.current
    rows = [row for row in view.repairs if current and row["period"] == current["period"]]
    told = view.tellable_periods
    if (
        not current
        or not rows
        or rows[0]["difference_mm_per_year"] is None
        or not {current["period"] - 1, current["period"]} <= told
    ):
        return ""
    row = rows[0]
    low, high = row["difference_lower"], row["difference_upper"]
    day = words.day_text(row["reinforced_on"])
    if low <= 0 <= high:
        return words.say("repair", "not_compared", day=day)
    changed = "slower" if high < 0 else "faster"
    if none_measured:
        return _before_only(row, unit, day, words) if changed == "slower" else ""
    size = words.rate_pair(abs(row["difference_mm_per_year"]), unit)
    least, most = sorted((abs(low), abs(high)))
    pair = words.range_text(least, most, unit)
    said = words.say("repair", "compared", day=day, changed=words["repair"][changed], size=size, range=pair)
    return f"{said} {words['repair']['season']}" if row["warning"] and changed == "slower" else said


def _before_only(row: Row, unit: str, day: str, words: Language) -> str:
    rate, lower, upper = (row[f"before_{end}"] for end in ("mm_per_year", "lower", "upper"))
    if lower is None or lower <= 0:
        return ""
    pair = words.range_text(lower, upper, unit)
    return words.say("repair", "before_only", day=day, size=words.rate_pair(rate, unit), range=pair)


def _rate(row: Row, name: str, unit: str) -> str:
    rate, lower, upper = (row[f"{name}_{end}"] for end in ("mm_per_year", "lower", "upper"))
    if rate is None:
        return "not measured"
    shown, low, high = (rate_number(value, unit) for value in (rate, lower, upper))
    return f"{shown} ({low} to {high})"


def _length(row: Row, name: str, unit: str) -> str:
    mm, lower, upper = (row[f"{name}_{end}"] for end in ("mm", "lower", "upper"))
    return NONE if mm is None else f"{wording.length_pair(mm, unit)}; {lower:.1f} to {upper:.1f} mm"
