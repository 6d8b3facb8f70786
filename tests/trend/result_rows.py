"""Rows of the tables that verdicts are judged from, for the tests of this folder; what is not given is unknown."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import pandas as pd
import pyarrow as pa

from monitor import schema
from monitor.config import Rules
from monitor.trend.verdicts import judge

JUDGED_ON = date(2026, 5, 1)
RULES = Rules()
BESIDE = {"doubt": pa.string(), "may_be_misread": pa.bool_()}
"""What is laid beside the wall results for their verdicts."""
AFTER = RULES.after_mm_per_year


def table(name: str, rows: Sequence[dict[str, Any]]) -> pa.Table:
    """A table of the schema of that name."""
    blank = {field.name: "" if field.type == pa.string() else None for field in schema.find(name)}
    return pa.Table.from_pylist([blank | row for row in rows], schema=schema.find(name))


def frame(name: str, rows: Sequence[dict[str, Any]]) -> pd.DataFrame:
    """The same as a frame, as tables of Arrow become one."""
    return table(name, rows).to_pandas()


def wall_row(**given: Any) -> dict[str, Any]:
    """A wall two years after its reinforcement that is neither moving nor holding yet."""
    return {
        "house": "DH-01",
        "wall": "N",
        "period": 1,
        "is_current": True,
        "started_on": date(2024, 4, 10),
        "method": "string",
        "visits": 5,
        "visits_all": 6,
        "readings_used": 30,
        "readings_held": 0,
        "first_visit": date(2024, 10, 10),
        "last_visit": date(2026, 4, 12),
        "span_years": 549 / 365.25,
        "threshold_mm_per_year": AFTER,
        "governing_mark": "M3",
        "rate_mm_per_year": 0.9,
        "rate_lower": -0.4,
        "rate_upper": 2.2,
        "largest_movement": "",
        "log_evidence": 0.1,
        "exceed_chance": 0.2,
        "total_mm": 31.0,
        "total_mark": "M3",
        "total_limit_mm": 50.8,
        "jump_mm": 0.5,
        "jump_p": 0.3,
        "due_on": date(2026, 10, 12),
        "overdue_days": 0,
    } | given


HOLDING = {"rate_mm_per_year": 0.2, "rate_lower": -0.6, "rate_upper": 1.0, "log_evidence": -2.0}
MOVING = {
    "rate_mm_per_year": 5.0,
    "rate_lower": 3.1,
    "rate_upper": 6.9,
    "log_evidence": 4.0,
    "exceed_chance": 0.99,
    "bow_mm_per_year": 4.8,
    "bow_lower": 2.9,
    "bow_upper": 6.7,
    "largest_movement": "bow",
}


def mark_row(lower: float | None, **given: Any) -> dict[str, Any]:
    return {"house": "DH-01", "wall": "N", "period": 1, "mark": "M3", "rate_lower": lower} | given


def reading(**given: Any) -> dict[str, Any]:
    shared = {"house": "DH-01", "wall": "N", "visit_date": date(2026, 4, 12), "method": "string", "setup": 1}
    return shared | {"mark": "M3", "deflection_mm": 30.0, "state": "used", "reading_id": "r"} | given


def register(**given: Any) -> dict[str, Any]:
    return {"house": "DH-01", "wall": "N", "unit": "in", "thickness_mm": 203.0} | given


def judged(
    *rows: dict[str, Any],
    marks: Sequence[dict[str, Any]] = (),
    readings: Sequence[dict[str, Any]] = (),
    walls: Sequence[dict[str, Any]] | None = None,
    rules: Rules = RULES,
    judged_on: date = JUDGED_ON,
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rows of the completed wall results and of the findings that `judge` makes of these rows."""
    results = table("wall_results", rows)
    for name in BESIDE:
        results = results.append_column(name, pa.array([row.get(name) for row in rows], BESIDE[name]))
    completed, findings = judge(
        results,
        table("mark_results", marks),
        table("readings", readings),
        table("walls", [register()] if walls is None else walls),
        rules,
        judged_on,
    )
    assert findings.schema == schema.FINDINGS
    assert completed.select(schema.WALL_RESULTS.names).schema == schema.WALL_RESULTS
    return completed.to_pylist(), findings.to_pylist()


def finding(rule: str, findings: list[dict[str, Any]]) -> dict[str, Any]:
    """The one finding by that rule."""
    (found,) = (row for row in findings if row["rule"] == rule)
    return found
