"""The Parquet files of a store on another filesystem: the same bytes as in its own folder, and what that costs.

    python benchmarks/object_store.py 's3://bucket/folder?endpoint_override=127.0.0.1:5555&scheme=http' [--walls 10000]

One simulated company twice, in a store's own folder and at the address (any URI of an empty folder that pyarrow opens):
compacted, assessed by two workers of a scheduler on this machine, read again. Prints the seconds of both, and ends with
an error where a file is missing, is one too many, or differs in a byte.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: a core a process

import argparse
import tempfile
import time
from datetime import UTC, date, datetime
from pathlib import Path

from monitor import schema
from monitor import store as stores
from monitor.pipeline import assessing, cluster
from monitor.simulate import fleet
from monitor.store import Store

DAY = date(2023, 1, 31)
KNOWN = datetime(2023, 1, 31, 22, tzinfo=UTC)
BEGAN = datetime(2019, 1, 1, tzinfo=UTC)


def company(path: Path, walls: int, at: str) -> Store:
    """The company's facts, not yet compacted."""
    store = stores.create(path, company={"name": "a simulated company"}, created_at=BEGAN, parquet_at=at)
    for block in fleet.stream(walls, seed=1):
        for name in ("walls", "marks", "events", "readings"):
            store.add(name, getattr(block, name))
    return store


def taken(store: Store, scheduler: str) -> dict[str, float]:
    """Seconds to compact, to assess, and to read all of the results."""
    began = time.perf_counter()
    store.compact()
    compacted = time.perf_counter()
    assessing.assess(store, judged_on=DAY, known_on=KNOWN, tables=(), many=cluster.at(scheduler))
    assessed = time.perf_counter()
    found = stores.open(store.path).assessment(DAY)
    if found is None or any(getattr(found, name) is None for name in schema.RESULTS):
        raise SystemExit("the assessment is not there")
    return {"compact": compacted - began, "assess": assessed - compacted, "read": time.perf_counter() - assessed}


def parquet(store: Store) -> dict[str, bytes]:
    """The bytes of the files of buckets, by name."""
    folders = ("compacted", f"assessments/{DAY}")
    names = [
        f"{folder}/{name}" for folder in folders for name in store.place.names(folder) if name.endswith(".parquet")
    ]
    return {name: store.place.read(name) for name in names}


def main() -> None:
    """Measure, compare and print."""
    from distributed import LocalCluster

    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("address")
    asked.add_argument("--walls", type=int, default=10_000)
    wanted = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        own, there = (company(folder / name, wanted.walls, at) for name, at in (("own", ""), ("there", wanted.address)))
        with LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0", host="127.0.0.1",
            local_directory=name,
        ) as workers:  # fmt: skip
            seconds = [taken(store, workers.scheduler_address) for store in (own, there)]
        mine, theirs = parquet(own), parquet(there)
    for step, value in seconds[0].items():
        print(f"{step:8} {value:6.1f} s in its own folder, {seconds[1][step]:6.1f} s there")
    wrong = sorted(name for name in mine.keys() | theirs.keys() if mine.get(name) != theirs.get(name))
    size = sum(map(len, mine.values())) / 1e6
    print(f"{wanted.walls:,} walls, {len(mine)} files, {size:.0f} MB; differing: {len(wrong)}")
    if wrong:
        raise SystemExit("\n".join(wrong))


if __name__ == "__main__":
    main()
