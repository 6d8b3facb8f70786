"""One wall's row of the visit plan in words."""

from collections.abc import Mapping
from typing import Any

from monitor.report import wording
from monitor.report.context import Row

NONE = "–"


def of_wall(row: Row | None, unit: str) -> Mapping[str, Any] | None:
    """A row of the plan in words, in the wall's unit; None where there is none."""
    if row is None:
        return None
    rate, gain = row["smallest_rate_mm_per_year"], row["second_setup_gain"]
    return {
        "key": f"{row['house']}-{row['wall']}",
        "on": row["visit_on"],
        "day": row["visit_on"].isoformat() if row["visit_on"] else "not planned",
        "why": row["why"],
        "rate": wording.rate_pair(rate, unit) if rate is not None else NONE,
        "gain": f"{100 * gain:.0f} %" if gain is not None else NONE,
        "holding_from": row["holding_from"].isoformat() if row["holding_from"] else NONE,
        "frost": bool(row["before_frost"]),
        "overdue": row["overdue_days"] or 0,
    }
