"""How long the model takes, beside a scan of the same columns and beside a fit of statsmodels per wall.

    python benchmarks/engine.py [--walls 100000] [--at-once 2500] [--sample 50] [--seed 1]

Walls of one shape: a string, eight visits half a year apart, five marks, lengths of whole feet; one core. They are
taken as the store has them, a bucket at a time; each line is the median of the buckets' times a wall, and how many
times the scan of the columns with pyarrow that is. fit: every wall's fit, from its cases. fit and starts: that, and the
fit and the evidence from every starting visit. cases: tables to walls and periods. assess: all of it, with screening,
jumps, the wall's pair, verdicts and reasons; written: that, and its tables written as the store writes them. plan: what
the plan of visits to come costs beside. The two last lines are statsmodels on a sample of the same walls: ordinary
least squares by formula, and a mixed model with a random intercept for each visit.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: one core

import argparse
import resource
import tempfile
import time
import warnings
from collections.abc import Callable
from datetime import date
from pathlib import Path
from statistics import median

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import statsmodels.formula.api as smf

from monitor import schema
from monitor.config import Settings
from monitor.pipeline import bucket
from monitor.pipeline.frames import frame
from monitor.store import parts
from monitor.store.place import Place
from monitor.terms import Method, State
from monitor.trend import cases, portfolio, restarts
from monitor.trend.assess import assess

VISITS, MARKS = 8, 5
FEET, FOOT_MM = range(20, 45), 304.8
"""Lengths of the walls."""
HEIGHT_MM = 1220.0
FIRST, LAST = date(2022, 4, 1), date(2026, 4, 30)
SCANNED = ["house", "wall", "mark", "visit_date", "part", "method", "setup", "deflection_mm", "step_mm", "error_factor",
           "state"]  # fmt: skip
FACTS = ("readings", "walls", "marks", "events")


def company(walls: int, seed: int) -> dict[str, pa.Table]:
    """Readings, walls, marks and events of walls that move by a random rate each; complete visits."""
    rng = np.random.default_rng(seed)
    houses = [f"H{number:06d}" for number in range(walls)]
    length_mm = FOOT_MM * rng.choice(FEET, walls)
    share = np.linspace(0.0, 1.0, MARKS)
    years = np.arange(VISITS) / 2
    bow = np.sin(np.pi * share)
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
    size = {"length_mm": length_mm, "clear_height_mm": [2 * HEIGHT_MM] * walls}
    places = {
        "x_mm": np.outer(length_mm, share).reshape(-1),
        "z_mm": np.full(walls * MARKS, HEIGHT_MM),
        "row": ["M"] * (walls * MARKS),
    }
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


def timed(do: Callable[[], object]) -> float:
    """The time of a run, in seconds."""
    began = time.perf_counter()
    do()
    return time.perf_counter() - began


def of_bucket(tables: dict[str, pa.Table], number: int, folder: Path) -> dict[str, float]:
    """Seconds of each line for the walls of one bucket."""
    settings, facts = Settings(), [tables[name] for name in FACTS]
    path = folder / "readings.parquet"
    pq.write_table(tables["readings"].select(SCANNED), path)
    found: dict[str, dict[str, pa.Table]] = {}

    def from_each_start() -> None:
        threshold = built.table.threshold
        for part in fitted:
            restarts.restarted(part, threshold[part.cases], settings.variances)

    def write() -> None:
        parts.write(Place(folder.as_uri()), "part", number, bucket.in_parts(found["results"]))

    def judge(*, ahead: bool) -> None:
        found["results"] = assess(*facts, settings, LAST, ahead=ahead)

    built = cases.build(*facts, settings.rules, LAST)
    fitted = list(portfolio.parts(built, settings.variances))
    scan = timed(lambda: pq.ParquetFile(path).read())
    fit = timed(lambda: list(portfolio.parts(built, settings.variances)))
    starts = timed(from_each_start)
    whole = timed(lambda: judge(ahead=True))
    judged = timed(lambda: judge(ahead=False))
    return {
        "scan": scan,
        "cases": timed(lambda: cases.build(*facts, settings.rules, LAST)),
        "fit": fit,
        "fit and starts": fit + starts,
        "assess": judged,
        "written": judged + timed(write),
        "plan": whole - judged,
    }


def main() -> None:
    """Measure and print."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--walls", type=int, default=100_000)
    asked.add_argument("--at-once", type=int, default=2500)
    asked.add_argument("--sample", type=int, default=50)
    asked.add_argument("--seed", type=int, default=1)
    wanted = asked.parse_args()
    every: list[dict[str, float]] = []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(max(1, wanted.walls // wanted.at_once)):
            tables = company(wanted.at_once, wanted.seed + number)
            every.append(of_bucket(tables, number, Path(folder)))
    lines = {name: median(each[name] for each in every) / wanted.at_once for name in every[0]}
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    lines |= _statsmodels(frame(tables["readings"]), wanted.sample)
    print(f"{len(every) * wanted.at_once:,} walls, {wanted.at_once:,} at once; at most {memory:,.0f} MB")
    print(f"{'':16} {'microseconds a wall':>20} {'times the scan':>15} {'fit and starts, written: times faster':>38}")
    for name, seconds in lines.items():
        ratios = [f"{seconds / lines[other]:,.0f}" for other in ("fit and starts", "written")]
        faster = ", ".join(ratios) if name.startswith("statsm") else ""
        print(f"{name:16} {seconds * 1e6:20,.1f} {seconds / lines['scan']:15,.1f} {faster:>38}")


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
