"""One visit of one wall at a large store: by command and in the service, from its file to the list; medians.

    python benchmarks/one_visit.py [--walls 10000] [--store FOLDER] [--times 9] [--seed 1]

The store is that of `scale.py` with what a company has besides: a receipt of every visit, an owner of every house. What
of it the folder has not yet is made first, which takes most of the time; each run adds visits to it. Every visit is of
another wall, and all its readings are used. By command: a whole process, what it takes of a core, and what one consists
of. In the service: the preview of an upload and its confirming, by requests to an app of this process, as a page or a
script sends them; the first one warms it up. Each line stands beside what it is to take at most at 100,000 walls.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: one core

import argparse
import json
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime
from hashlib import sha256
from pathlib import Path

import pyarrow as pa
import scale

from monitor import schema
from monitor import store as stores
from monitor.store import Store
from monitor.units import MM_PER_INCH, SIXTEENTH_MM

VISIT = date(2023, 3, 1)
BY_COMMAND, IN_SERVICE = 0.5, 0.1
"""Seconds that a visit may take at 100,000 walls."""
_CHUNK = 20_000

_PARTS = """
import json, sys, time
from datetime import UTC, date, datetime
from pathlib import Path
from monitor import store as stores
from monitor.cli import commands, make_short_work
from monitor.pipeline import alert_listing, alerting, intake, moments, verdict_listing
path, root, began = Path(sys.argv[1]), sys.argv[2], float(sys.argv[3])
make_short_work()
commands("ingest")
at = [time.time()]
store = stores.open(root)
now = moments.not_before(store, datetime.now(UTC)).at
known = intake.preview_visit(store, path.name, path.read_bytes(), received_at=now, sender="office", today=date.today())
at.append(time.time())
taken = intake.take_visit(store, path.name, path.read_bytes(), received_at=now, sender="office", today=date.today())
at.append(time.time())
walls = {wall for each in taken for wall in each.walls}
assert list(verdict_listing.judged_again(store, walls, judged_on=date.today(), known_on=now))
at.append(time.time())
alert_listing.of_look(store, alerting.look(store, at=now, walls=walls))
at.append(time.time())
print(json.dumps([b - a for a, b in zip([began, *at], at)]))
"""


def made(path: Path, walls: int, seed: int) -> Store:
    """The store, made now where there is none."""
    if not (path / "store.json").exists():
        scale.add(path, walls, seed, 1)
    store = stores.open(path)
    if not store.office.people(among=["T1"]).num_rows:
        _besides(store)
        scale.compact(path, walls, seed, 1)
    if not store.assessments():
        scale.assess(path, walls, seed, 2)
    return stores.open(path)


def _besides(store: Store) -> None:
    """A receipt of every visit, an owner of every house, and who reads."""
    readings = store.tiers.rows("readings", columns=("house", "visit_date", "known_at"))
    visits = sorted(set(zip(*(readings[name].to_pylist() for name in readings.column_names), strict=True)))
    blank = {f.name: "" if pa.types.is_string(f.type) else 0 for f in schema.find("receipts")}
    for start in range(0, len(visits), _CHUNK):
        rows = [
            blank
            | {"source_sha256": _sha(f"{house} {day}"), "file_sha256": _sha(f"{day} {house}"), "known_at": known}
            | {"source_name": f"{house} {day}.csv", "sender": "office", "holds": "readings", "received": 5, "used": 5}
            for house, day, known in visits[start : start + _CHUNK]
        ]
        store.add("receipts", pa.Table.from_pylist(rows, schema=schema.RECEIPTS))
    person = {field.name: "" for field in schema.find("people")} | {"known_at": scale.BEGAN}
    owners = [
        person | {"person": f"P-{house}", "role": "owner", "house": house, "name": f"Owner of {house}"}
        for house in sorted({house for house, *_ in visits})
    ]
    readers = [person | {"person": name, "role": "technician"} for name in ("T1", "T2", "T3", "T4")]
    store.office.put_people([*owners, *readers])


def _sha(text: str) -> str:
    return sha256(text.encode()).hexdigest()


def visits(store: Store, seed: int) -> Iterator[tuple[str, bytes]]:
    """Files of one visit each, each of another wall: its last numbers, a sixteenth more or less."""
    draw = random.Random(seed)
    keys = store.ids("walls")
    while True:
        house, wall = draw.choice(keys)
        rows = store.readings(walls=[(house, wall)]).to_pylist()
        last = max(row["visit_date"] for row in rows)
        if last >= VISIT:
            continue
        lines = ["house,wall,visit date,technician,method,set-up,mark,value,unit,kind,stand-off"]
        for row in sorted((row for row in rows if row["visit_date"] == last), key=lambda row: row["mark"]):
            sixteenths = round(row["value_mm"] / SIXTEENTH_MM) + draw.choice((-1, 0, 1))
            value = f"{sixteenths // 16} {sixteenths % 16}/16"
            stand_off = f"{row['standoff_mm'] / MM_PER_INCH:g}"
            lines.append(f"{house},{wall},{VISIT},T1,string,1,{row['mark']},{value},in,gap,{stand_off}")
        yield f"{house}-{wall}.csv", "\n".join(lines).encode()


def by_command(store: Store, files: Iterator[tuple[str, bytes]], times: int, folder: Path) -> None:
    """The command as it is typed, and what it consists of."""
    whole, cores, parts = [], [], []
    for _ in range(times):
        begun, used = time.perf_counter(), _of_a_core()
        _run(["-m", "monitor", "ingest", str(_file(folder, *next(files))), "--store", str(store.path)])
        whole.append(time.perf_counter() - begun)
        cores.append(_of_a_core() - used)
        path = _file(folder, *next(files))
        parts.append(json.loads(_run(["-c", _PARTS, str(path), str(store.path), str(time.time())]).splitlines()[-1]))
    _say("by command", whole, BY_COMMAND)
    _say("  of a core", cores)
    start, judge, again, assess, alerts = zip(*parts, strict=True)
    _say("  start-up", start)
    _say("  judge", judge)
    _say("  judge again and store", again)
    _say("  assess its wall, put it on the list", assess)
    _say("  look for alerts", alerts)


def _of_a_core() -> float:
    """Seconds that the processes run so far took of a core."""
    return sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2])


def _file(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def _run(words: list[str]) -> str:
    bare = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    done = subprocess.run([sys.executable, *words], capture_output=True, text=True, env=bare, check=False)
    if done.returncode not in (0, 10):  # 10: some rows are to be mended
        raise SystemExit(done.stderr[-2000:])
    return done.stdout


def in_service(store: Store, files: Iterator[tuple[str, bytes]], times: int) -> None:
    """Requests to an app of this process."""
    from fastapi.testclient import TestClient

    from monitor.cli import make_short_work
    from monitor.terms import Role
    from monitor.web import accounts
    from monitor.web.app import make_app
    from monitor.web.settings import WebSettings

    make_short_work()  # as every command does, `serve` too
    if accounts.find(store, "T1") is None:
        accounts.add(store, "T1", Role.OFFICE, password=None, at=datetime.now(UTC))
    key = accounts.new_key(store, "T1", at=datetime.now(UTC))
    limit = f"{10 * times + 100} per 1 minute"
    settings = WebSettings(secret="for this benchmark", public_url="http://localhost", uploads_by_account=limit)
    app = make_app(store.path, settings, lambda: datetime.now(UTC))
    client = TestClient(app, base_url="http://localhost", headers={"Authorization": f"Bearer {key}"})
    previews, confirms, cores = [], [], []
    for _ in range(times + 1):
        name, data = next(files)
        begun = time.perf_counter()
        told = client.post("/api/uploads", files={"files": (name, data)}).json()
        seen, used = time.perf_counter(), time.process_time()
        done = client.post(f"/api/uploads/{told['upload_id']}/confirm").json()
        confirms.append(time.perf_counter() - seen)
        cores.append(time.process_time() - used)
        previews.append(seen - begun)
        if done["state"] != "stored" or not done["walls"][0]["verdict"]:
            raise SystemExit(f"not stored and judged: {done}")
    _say("in the service, from confirming to the list", confirms[1:], IN_SERVICE)
    _say("  of a core", cores[1:])
    _say("  its preview, before", previews[1:])


def _say(what: str, seconds: list[float] | tuple[float, ...], most: float | None = None) -> None:
    target = f" | at most {1e3 * most:.0f} at 100,000 walls" if most else ""
    print(f"{what:45} | {1e3 * statistics.median(seconds):6.0f} ms{target}", flush=True)


def main() -> None:
    """Measure and print."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--walls", type=int, default=10_000)
    ask.add_argument("--store", type=Path)
    ask.add_argument("--times", type=int, default=9)
    ask.add_argument("--seed", type=int, default=1)
    asked = ask.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        store = made(asked.store or Path(folder) / "store", asked.walls, asked.seed)
        waits = store.tiers.waiting()
        print(f"{len(store.ids('walls')):,} walls; adds that wait in the inbox: {waits}")
        files = visits(store, int(time.time()))
        by_command(store, files, asked.times, Path(folder))
        in_service(store, files, asked.times)


if __name__ == "__main__":
    main()
