"""How long the model takes, beside a scan of the same columns and beside a fit of statsmodels per wall.

    python benchmarks/engine.py [--walls 5000] [--sample 50] [--seed 1]

Walls of one shape: a string, eight visits half a year apart, five marks; one core. Each line is a time a wall, and how
many times the scan of the columns with pyarrow that is. cases: tables to walls and periods. fit: every wall's fit. each
start: the fit and the evidence from every starting visit. assess: all of it, with screening, reasons and the plan of
the visits to come. The two last lines are statsmodels on a sample of the same walls: ordinary least squares by formula,
and a mixed model with a random intercept for each visit.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: one core

import argparse
import tempfile
import time
import warnings
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import statsmodels.formula.api as smf

from monitor import schema
from monitor.config import Settings
from monitor.pipeline.frames import frame
from monitor.terms import Method, State
from monitor.trend import cases, portfolio, restarts
from monitor.trend.assess import assess

VISITS, MARKS = 8, 5
LENGTH_MM, HEIGHT_MM = 9000.0, 1220.0
FIRST, LAST = date(2022, 4, 1), date(2026, 4, 30)
SCANNED = ["house", "wall", "mark", "visit_date", "part", "method", "setup", "deflection_mm", "step_mm", "error_factor",
           "state"]  # fmt: skip


def company(walls: int, seed: int) -> dict[str, pa.Table]:
    """Readings, walls, marks and events of walls that move by a random rate each; complete visits."""
    rng = np.random.default_rng(seed)
    houses = [f"H{number:06d}" for number in range(walls)]
    x_mm = np.linspace(0.0, LENGTH_MM, MARKS)
    years = np.arange(VISITS) / 2
    bow = np.sin(np.pi * x_mm / LENGTH_MM)
    inward = rng.normal(0.3, 1.0, (walls, 1, 1)) * years[:, None] * bow
    read = inward + rng.normal(0, 1.0, (walls, VISITS, 1)) + rng.normal(0, 0.7, (walls, VISITS, MARKS))
    days = np.datetime64(FIRST) + np.round(years * 365.25).astype("timedelta64[D]")
    names = np.array([f"M{number}" for number in range(1, MARKS + 1)])
    count = walls * VISITS * MARKS
    readings = {
        "reading_id": np.char.mod("%016x", np.arange(count)),
        "house": np.repeat(houses, VISITS * MARKS),
        "visit_date": np.tile(np.repeat(days, MARKS), walls),
        "method": np.full(count, Method.STRING.value),
        "setup": np.ones(count, dtype=np.int32),
        "mark": np.tile(names, walls * VISITS),
        "deflection_mm": read.reshape(-1),
        "step_mm": np.full(count, 25.4 / 16),
        "error_factor": np.ones(count),
        "state": np.full(count, State.USED.value),
    }
    ends = {"left_end": ["return"] * walls, "right_end": ["return"] * walls, "method": ["string"] * walls}
    size = {"length_mm": [LENGTH_MM] * walls, "clear_height_mm": [2 * HEIGHT_MM] * walls}
    places = {"x_mm": np.tile(x_mm, walls), "z_mm": np.full(walls * MARKS, HEIGHT_MM), "row": ["M"] * (walls * MARKS)}
    named = {"house": np.repeat(houses, MARKS), "mark": np.tile(names, walls)}
    return {
        "readings": _table("readings", count, readings),
        "walls": _table("walls", walls, {"house": houses, **size, **ends}),
        "marks": _table("marks", walls * MARKS, named | places),
        "events": schema.empty("events"),
    }


def _table(name: str, rows: int, filled: dict[str, object]) -> pa.Table:
    columns = {"wall": ["N"] * rows, **filled}
    arrays = []
    for field in schema.find(name):
        if field.name in columns:
            arrays.append(pa.array(columns[field.name]).cast(field.type))
        else:
            arrays.append(pa.array([""] * rows) if pa.types.is_string(field.type) else pa.nulls(rows, field.type))
    return pa.Table.from_arrays(arrays, schema=schema.find(name))


def timed(do: Callable[[], object], times: int = 1) -> float:
    """The least time of several runs, in seconds."""
    found = []
    for _ in range(times):
        began = time.perf_counter()
        do()
        found.append(time.perf_counter() - began)
    return min(found)


def main() -> None:
    """Measure and print."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--walls", type=int, default=5000)
    asked.add_argument("--sample", type=int, default=50)
    asked.add_argument("--seed", type=int, default=1)
    wanted = asked.parse_args()
    tables = company(wanted.walls, wanted.seed)
    readings, walls, marks, events = (frame(tables[name]) for name in ("readings", "walls", "marks", "events"))
    settings = Settings()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.parquet"
        pq.write_table(tables["readings"].select(SCANNED), path)
        scan = timed(lambda: pq.ParquetFile(path).read(), 5) / wanted.walls

    def built() -> cases.Cases:
        return cases.build(readings, walls, marks, events, settings.rules, LAST)

    found = built()
    done = list(portfolio.fitted(found, settings.variances))

    def from_each_start() -> None:
        for block in done:
            threshold = found.table["threshold_mm_per_year"].to_numpy(np.float64)[block.block.cases]
            restarts.restarted(block, threshold, settings.variances)

    lines = {
        "scan": scan,
        "cases": timed(built) / wanted.walls,
        "fit": timed(lambda: list(portfolio.fitted(found, settings.variances))) / wanted.walls,
        "each start": timed(from_each_start) / wanted.walls,
        "assess": timed(lambda: assess(readings, walls, marks, events, settings, LAST)) / wanted.walls,
        **_statsmodels(readings, wanted.sample),
    }
    print(f"{'':12} {'microseconds a wall':>20} {'times the scan':>15} {'assess is so many times faster':>32}")
    for name, seconds in lines.items():
        faster = f"{seconds / lines['assess']:.1f}" if name.startswith("statsm") else ""
        print(f"{name:12} {seconds * 1e6:20.1f} {seconds / scan:15.0f} {faster:>32}")


def _statsmodels(readings: pd.DataFrame, sample: int) -> dict[str, float]:
    rows = readings[readings["house"] < f"H{sample:06d}"]
    years = (rows["visit_date"] - rows["visit_date"].min()).dt.days / 365.25
    groups = [each for _, each in rows.assign(years=years, visit=rows["visit_date"].astype(str)).groupby("house")]

    def ordinary() -> None:
        for each in groups:
            smf.ols("deflection_mm ~ C(mark) + years", each).fit()

    def mixed() -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a variance at its edge is told of wall by wall
            for each in groups:
                smf.mixedlm("deflection_mm ~ C(mark) + years", each, groups=each["visit"]).fit()

    return {"statsm. OLS": timed(ordinary) / len(groups), "statsm. MixedLM": timed(mixed) / len(groups)}


if __name__ == "__main__":
    main()
