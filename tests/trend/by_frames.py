"""The trend room's functions for tests that think in frames: tables in from frames, and back to frames."""

from collections.abc import Collection
from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa

from monitor.config import Rules, Settings
from monitor.pipeline.frames import frame, table
from monitor.trend import assess as assessment
from monitor.trend import cases as all_cases
from monitor.trend import expected, summary
from monitor.trend.cases import Cases
from monitor.trend.framed import rows_of

__all__ = ["assess", "build", "foretold", "rows_of", "summaries", "table_of", "tables"]

FACTS = ("readings", "walls", "marks", "events")


def tables(readings: pd.DataFrame, walls: pd.DataFrame, marks: pd.DataFrame, events: pd.DataFrame) -> list[pa.Table]:
    """Frames of facts as tables of their schemas, in this order."""
    return [table(name, given) for name, given in zip(FACTS, (readings, walls, marks, events), strict=True)]


def build(
    readings: pd.DataFrame, walls: pd.DataFrame, marks: pd.DataFrame, events: pd.DataFrame, rules: Rules, on: date
) -> Cases:
    """Cases from frames of facts."""
    return all_cases.build(*tables(readings, walls, marks, events), rules, on)


def assess(
    readings: pd.DataFrame,
    walls: pd.DataFrame,
    marks: pd.DataFrame,
    events: pd.DataFrame,
    settings: Settings,
    judged_on: date,
    *,
    cold: Collection[str] = (),
    ahead: bool = True,
) -> dict[str, pd.DataFrame]:
    """The assessment from frames to frames."""
    facts = tables(readings, walls, marks, events)
    found = assessment.assess(*facts, settings, judged_on, cold=cold, ahead=ahead)
    return {name: frame(rows) for name, rows in found.items()}


def foretold(
    readings: pd.DataFrame, walls: pd.DataFrame, marks: pd.DataFrame, events: pd.DataFrame, settings: Settings, on: date
) -> pd.DataFrame:
    """What marks should read, from frames of facts."""
    return frame(expected.table(*tables(readings, walls, marks, events), settings, on))


def summaries(
    readings: pd.DataFrame, walls: pd.DataFrame, marks: pd.DataFrame, events: pd.DataFrame, settings: Settings, on: date
) -> summary.Told:
    """The fits told, from frames of facts."""
    return summary.summaries(*tables(readings, walls, marks, events), settings, on)


def table_of(cases: Cases) -> pd.DataFrame:
    """The table of cases as a frame."""
    found = frame(pa.table(cases.told()))
    return found.assign(case=np.arange(len(found)), method_code=cases.table.method)
