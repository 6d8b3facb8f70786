"""A company of any size taken through the line: made up, added, compacted, assessed, listed, its variances estimated.

    python benchmarks/scale.py [--sizes 1000 10000] [--jobs 2] [--seed 1] [--keep FOLDER] [--curve FILE.svg]

Walls are simulated as they are added (a string, eight visits half a year apart, five marks, some visits missed, some
walls strapped), so that no step ever holds the company. Each step is a process of its own: its time, what it and
its workers took of a core (starting up included), and the most memory that they held together (the sum of each one's
most, which is no less). --curve draws the times.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: a core a process

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import redirect_stdout
from datetime import UTC, date, datetime
from pathlib import Path

DAY = date(2023, 1, 31)
KNOWN = datetime(2023, 1, 31, 22, tzinfo=UTC)
BEGAN = datetime(2019, 1, 1, tzinfo=UTC)
CHUNK = 10_000
"""Walls that are added at once."""
_MB = 1024.0
_ALWAYS = ("seconds", "core_seconds", "mb")
Told = Mapping[str, float]


def add(path: Path, walls: int, seed: int, jobs: int) -> Told:
    """Simulate and add; each chunk through the store's own door."""
    import pyarrow as pa

    from monitor import store as stores
    from monitor.simulate import fleet

    del jobs
    store = stores.create(path, company={"name": "a simulated company"}, created_at=BEGAN)
    readings = 0
    for first in range(0, walls, CHUNK):
        blocks = list(fleet.stream(min(CHUNK, walls - first), seed=seed, first=first))
        for name in ("walls", "marks", "events", "readings"):
            rows = pa.concat_tables([getattr(block, name) for block in blocks])
            store.add(name, rows)
        readings += rows.num_rows
    return {"readings": readings}


def compact(path: Path, walls: int, seed: int, jobs: int) -> Told:
    """Take it all into buckets."""
    from monitor import store as stores

    del walls, seed, jobs
    stores.open(path).compact()
    return {}


def assess(path: Path, walls: int, seed: int, jobs: int) -> Told:
    """Assess every wall."""
    from monitor import store as stores
    from monitor.pipeline import assessing, saying
    from monitor.pipeline.workers import in_processes

    del seed
    found = assessing.assess(
        stores.open(path),
        judged_on=DAY,
        known_on=KNOWN,
        tables=("wall_results",),
        columns={"wall_results": saying.ASKS_FOR},
        many=in_processes(jobs),
    )
    rows = found.wall_results
    judged = rows.filter(rows["is_current"]).num_rows
    if judged != walls:
        raise SystemExit(f"{judged} walls were judged, not {walls}")
    return {}


def listed(path: Path, walls: int, seed: int, jobs: int) -> Told:
    """Write the monthly list as `wallbow flagged --csv` does, to nowhere."""
    from monitor import store as stores
    from monitor.cli import show
    from monitor.pipeline import assessing, listing

    del walls, seed, jobs
    store = stores.open(path)
    found = listing.monthly(store, assessing.newest(store, tables=()))
    with Path(os.devnull).open("w", encoding="utf-8") as nowhere, redirect_stdout(nowhere):
        show.listing(found, as_csv=True)
    return {"listed": len(found.rows)}


def variances(path: Path, walls: int, seed: int, jobs: int) -> Told:
    """Estimate the company's own variances."""
    from monitor import store as stores
    from monitor.pipeline import repeatability

    del walls, seed, jobs
    if not repeatability.estimate(stores.open(path), judged_on=DAY, known_on=KNOWN, made_at=KNOWN):
        raise SystemExit("no reading counts")
    return {}


STEPS: Mapping[str, Callable[[Path, int, int, int], Told]] = {
    "add": add,
    "compact": compact,
    "assess": assess,
    "list": listed,
    "variances": variances,
}


def one_step(name: str, path: Path, walls: int, seed: int, jobs: int) -> None:
    """Do a step in this process, and print what it took."""
    began = time.perf_counter()
    told = dict(STEPS[name](path, walls, seed, jobs))
    seconds = time.perf_counter() - began
    used = sum(sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    mine, workers = (
        resource.getrusage(who).ru_maxrss / _MB for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    print(json.dumps({"seconds": seconds, "core_seconds": used, "mb": mine + workers * jobs} | told))


def taken(path: Path, walls: int, seed: int, jobs: int) -> dict[str, Told]:
    """All steps for a company, each in a process of its own."""
    found: dict[str, Told] = {}
    for name in STEPS:
        asked = ["--step", name, "--at", str(path), "--sizes", str(walls), "--seed", str(seed), "--jobs", str(jobs)]
        done = subprocess.run([sys.executable, __file__, *asked], capture_output=True, text=True, check=False)
        if done.returncode:
            raise SystemExit(f"{name} of {walls} walls: {done.stderr[-2000:]}")
        found[name] = json.loads(done.stdout.splitlines()[-1])
        more = "".join(f", {value:,.0f} {what}" for what, value in found[name].items() if what not in _ALWAYS)
        said = f"{found[name]['seconds']:9.1f} s {found[name]['core_seconds'] / walls * 1e6:9.1f} us of a core a wall"
        print(f"{walls:>9,} walls {name:8} {said} {found[name]['mb']:8.0f} MB{more}", flush=True)
    return found


def curve(times: Mapping[int, Mapping[str, Told]]) -> str:
    """The times by size as an SVG, both on logarithmic axes, each with its line of proportion, dotted."""
    from math import log10

    sizes, steps = sorted(times), list(STEPS)
    seconds = [max(times[size][step]["seconds"], 1e-3) for size in sizes for step in steps]
    low, high = int(log10(min(seconds)) - 1), int(log10(max(seconds)) + 1)
    first, last = log10(sizes[0]), max(log10(sizes[-1]), log10(sizes[0]) + 1)

    def x(size: float) -> float:
        return 70 + 440 * (log10(size) - first) / (last - first)

    def y(second: float) -> float:
        return 290 - 260 * (log10(second) - low) / (high - low)

    lines = [
        f'<line x1="70" x2="510" y1="{y(10.0**k):.1f}" y2="{y(10.0**k):.1f}" stroke="#ddd"/>'
        f'<text x="62" y="{y(10.0**k) + 4:.1f}" text-anchor="end">{10.0**k:g} s</text>'
        for k in range(low, high + 1)
    ]
    named: list[tuple[float, str, str]] = []
    lines += [f'<text x="{x(size):.1f}" y="312" text-anchor="middle">{size:,}</text>' for size in sizes]
    for step, colour in zip(steps, ("#4a6", "#b60", "#246", "#a2c", "#c24"), strict=True):
        mine = [max(times[size][step]["seconds"], 1e-3) for size in sizes]
        points = " ".join(f"{x(size):.1f},{y(each):.1f}" for size, each in zip(sizes, mine, strict=True))
        lines.append(f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="2"/>')
        lines += [
            f'<circle cx="{x(size):.1f}" cy="{y(each):.1f}" r="3" fill="{colour}"/>'
            for size, each in zip(sizes, mine, strict=True)
        ]
        ends = " ".join(f"{x(size):.1f},{y(mine[0] * size / sizes[0]):.1f}" for size in (sizes[0], sizes[-1]))
        lines.append(f'<polyline points="{ends}" fill="none" stroke="{colour}" stroke-dasharray="2 4"/>')
        named.append((y(mine[-1]) + 4, step, colour))
    at = 0.0
    for wanted, step, colour in sorted(named):
        at = max(wanted, at + 14)  # one below the other
        lines.append(f'<text x="{x(sizes[-1]) + 8:.1f}" y="{at:.1f}" fill="{colour}">{step}</text>')
    body = "\n".join(lines)
    style = 'font-family="sans-serif" font-size="12"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 580 340" {style}>\n<rect width="580" height="340" '
        f'fill="#fff"/>\n{body}\n<text x="290" y="334" text-anchor="middle">walls</text>\n</svg>\n'
    )


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--sizes", type=int, nargs="+", default=[1000, 10_000])
    asked.add_argument("--jobs", type=int, default=2)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--keep", type=Path, metavar="FOLDER", help="keep the stores there, by size")
    asked.add_argument("--curve", type=Path, metavar="FILE.svg")
    asked.add_argument("--step", choices=STEPS, help=argparse.SUPPRESS)
    asked.add_argument("--at", type=Path, help=argparse.SUPPRESS)
    wanted = asked.parse_args(arguments)
    if wanted.step:
        one_step(wanted.step, wanted.at, wanted.sizes[0], wanted.seed, wanted.jobs)
        return
    times = {}
    for walls in wanted.sizes:
        with tempfile.TemporaryDirectory() as folder:
            at = (wanted.keep or Path(folder)) / f"walls-{walls}"
            times[walls] = taken(at, walls, wanted.seed, wanted.jobs)
    if wanted.curve:
        wanted.curve.write_text(curve(times), encoding="utf-8")


if __name__ == "__main__":
    main()
