"""Readings of one wall as a table shows them: every one received, used or not, on a zero that people can follow."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from monitor.report.context import Row, WallView
from monitor.terms import State
from monitor.units import inches_from_mm

NONE = "–"


def readings(view: WallView) -> Sequence[Mapping[str, Any]]:
    """One row per reading, in the order of the visits."""
    inward = inward_of_first_mm(view)
    return [_reading(row, view, inward[row["reading_id"]]) for row in view.readings]


def inward_of_first_mm(view: WallView) -> Mapping[str, float | None]:
    """How far inward of its mark's first used reading by the same method each reading lies, by reading_id.

    None where it has no deflection or its mark none to compare with. What a plumb line, a laser or a distance meter
    reads is a distance from where it happens to stand, so the deflection itself tells people nothing.
    """
    first: dict[tuple[str, str], float] = {}
    for row in view.readings:
        if row["state"] == State.USED and row["deflection_mm"] is not None:
            first.setdefault((row["mark"], row["method"]), row["deflection_mm"])
    return {
        row["reading_id"]: _less(row["deflection_mm"], first.get((row["mark"], row["method"]))) for row in view.readings
    }


def _less(mm: float | None, zero: float | None) -> float | None:
    return None if mm is None or zero is None else mm - zero


def reading_counts(view: WallView) -> Mapping[str, int]:
    """Readings by state; their sum is what was received."""
    return {str(state): sum(row["state"] == state for row in view.readings) for state in State}


def unread(view: WallView) -> list[str]:
    """Marks that could not be read, by day and reason."""
    found: dict[tuple[date, str], list[str]] = {}
    for row in view.readings:
        if row["not_read"] and row["visit_date"]:
            found.setdefault((row["visit_date"], row["not_read"]), []).append(row["mark"])
    return [
        f"{day.isoformat()}: {', '.join(dict.fromkeys(marks))} not read ({why})"
        for (day, why), marks in sorted(found.items())
    ]


def _reading(row: Row, view: WallView, inward_mm: float | None) -> Mapping[str, Any]:
    typed = " ".join(filter(None, (row["value_raw"], row["unit"]))) or row["not_read"] or NONE
    standoff = " ".join(filter(None, (row["standoff_raw"],))) or (
        f"{row['standoff_mm']:.1f} mm" if row["standoff_mm"] is not None else ""
    )
    reasons = [row["reason"] or (f"not read: {row['not_read']}" if row["not_read"] else "")]
    for ruling in view.rulings[row["reading_id"]]:
        value = " to " + " ".join(filter(None, (ruling["value_raw"], ruling["unit"]))) if ruling["value_raw"] else ""
        reasons.append(f"{ruling['known_at']:%Y-%m-%d}: {ruling['act']}{value} by {ruling['who']}: {ruling['why']}")
    return {
        **row,
        "typed": typed,
        "standoff": standoff,
        "value_shown": f"{row['value_mm']:.2f}" if row["value_mm"] is not None else NONE,
        "inward_mm": f"{inward_mm:.1f}" if inward_mm is not None else NONE,
        "inward_in": f"{inches_from_mm(inward_mm):.3f}" if inward_mm is not None else NONE,
        "reasons": [text for text in reasons if text],
        "by": ", ".join(str(row[name]) for name in ("method", "instrument", "setup") if row[name] is not None),
        "from": ", ".join(filter(None, (row["source_name"], row["source_sheet"], row["source_cell"]))),
        "remarks": "; ".join(filter(None, (row["seen"], row["weather"], row["note"]))),
    }
