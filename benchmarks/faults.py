"""Processes killed at random moments of their work, and what is lost, doubled or seen by half afterwards.

    python benchmarks/faults.py [--kills 1000] [--seed 1] [--only ingest] [--plant 50]

A child numbers its pieces of work, and writes down each number once the piece is acknowledged (the call has returned).
It is killed with SIGKILL, another takes its place, repeats the last acknowledged piece and the one under way, and goes
on. Half of the kills come by the clock; as most of the time goes into computing, the others come at a step that changes
files, each kind of step in its turn: just before a file is opened for writing, linked, renamed or removed, when half of
what is written is in a file, just before a statement of SQL, or while a transaction is being committed.
After each kill the store is opened anew and counted. Lost: acknowledged, and not all of it there. Half-visible: neither
all nor nothing of it there. Doubled: more than all. Ends with 1 where there is one of these. --plant: afterwards with
a fault of our own making, files written under their names at once, until it is found, in so many kills at most.
Here and not among the tests, as anybody can run it for as long as wanted; a test runs it for a short while.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: threads do not come along into a forked child

import argparse
import builtins
import io
import json
import random
import shutil
import signal
import sqlite3
import sys
import tempfile
import threading
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pyarrow.compute as pc
import small_store
from small_store import START

from monitor import schema
from monitor import store as stores
from monitor.pipeline import assessing, bucket, intake, photo_intake, photos, publishing, review, runs, uploads
from monitor.store import Store, compaction, files, walls
from monitor.store import store as store_module
from monitor.store.verify import verify
from monitor.terms import Act, PhotoAct, Role, Step
from monitor.web import accounts

TODAY = START.date()
ROWS = 5
Found = Counter[int]


@dataclass(frozen=True)
class Work:
    """One kind of work: how piece `n` is done, how many parts of each piece are there, and how many make a whole.

    share: of all kills; beyond: what else an acknowledged piece must have, and one under way may have in part only.
    """

    name: str
    do: Callable[[Store, int], None]
    found: Callable[[Store], Found]
    whole: int
    share: int
    beyond: Callable[[Store, int], bool] | None = None


@dataclass
class Figures:
    """What one kind of work came to."""

    kills: int = 0
    acknowledged: int = 0
    lost: set[int] = field(default_factory=set)
    doubled: set[int] = field(default_factory=set)
    half: set[int] = field(default_factory=set)
    under_way: int = 0
    problems: list[str] = field(default_factory=list)

    def row(self) -> list[int]:
        """The figures as printed."""
        return [
            self.kills,
            self.under_way,
            self.acknowledged,
            *(len(each) for each in (self.lost, self.doubled, self.half)),
        ]

    @property
    def is_clean(self) -> bool:
        """Nothing lost, doubled, seen by half or damaged."""
        return not (self.lost or self.doubled or self.half or self.problems)


def take_file(store: Store, number: int) -> None:
    """Take one file of readings in."""
    data = small_store.visit(date(1990, 1, 1) + timedelta(days=number))
    moment = START + timedelta(seconds=number)
    intake.take_visit(store, f"{number}.csv", data, received_at=moment, sender="T1", today=TODAY)


def readings_of_files(store: Store) -> Found:
    """Rows of readings by the number of their file."""
    names = store.facts("readings")["source_name"].to_pylist()
    return Counter(int(name.removesuffix(".csv")) for name in names if name.removesuffix(".csv").isdigit())


def has_receipt(store: Store, number: int) -> bool:
    """Whether a file has its one receipt, and is kept as it came."""
    rows = [row for row in store.facts("receipts").to_pylist() if row["source_name"] == f"{number}.csv"]
    return len(rows) == 1 and (store.path / store_module.RECEIVED / rows[0]["file_sha256"]).is_file()


def add_and_compact(store: Store, number: int) -> None:
    """Add rows, and take the inbox into a new generation with nothing old kept: most moments lie inside that."""
    compaction.GRACE_SECONDS = -1.0
    store.add("houses", small_store.houses(number, ROWS))
    store.compact()


def rows_of_adds(store: Store) -> Found:
    """Rows by the number of their add."""
    names = store.facts("houses")["note"].to_pylist()
    return Counter(int(name) for name in names if name)


def assess(store: Store, number: int) -> None:
    """Assess anew, in place of the one before."""
    assessing.assess(store, judged_on=TODAY, known_on=START + timedelta(seconds=number))


def runs_of_assessments(store: Store) -> Found:
    """Runs on record by their number; the assessment that stands is read whole, and held to its run."""
    recorded = {run.known_until: run for run in runs.on_record(store).values()}
    standing = store.assessment(TODAY)
    if standing and (run := recorded[standing.known_until]).results_sha256:  # else cut off before it was on record
        tables = {name: getattr(standing, name) for name in schema.RESULTS}
        digests = bucket.in_parts(tables)["assessed"]["sha256"].to_pylist()
        assert run.results_sha256 == walls.total(digests), "the assessment is not that of its run"
    return Counter(
        int((known - START).total_seconds()) for known, run in recorded.items() if run.results_sha256 and known != START
    )


def publish(store: Store, number: int) -> None:
    """Publish the pages in place of those before, under another name of the company each time."""
    store.office.set_company({"name": f"an invented firm {number}"})
    publishing.publish(store, store.assessment(TODAY), pages_of(store), published_at=START + timedelta(seconds=number))


def pages_of(store: Store) -> Path:
    """Where pages are published."""
    return store.path.parent / "pages"


def pages_published(store: Store) -> Found:
    """Rows of the ledger of pages by the number of their edition; no page that lies there is cut off."""
    for path in pages_of(store).glob("*.html"):
        assert path.read_bytes().rstrip().endswith(b"</html>"), f"{path.name} is cut off"
    return Counter(int((row["known_at"] - START).total_seconds()) for row in store.office.rows("pages"))


def decide_and_rule(store: Store, number: int) -> None:
    """Decide, call, correct, reject, release, withdraw or register a person, in turn."""
    moment, why = START + timedelta(seconds=number), str(number)
    read = store.facts("readings").sort_by("reading_id")
    used = read.filter(pc.equal(read["source_name"], "2024-01-10.csv"))["reading_id"][0].as_py()
    held = read.filter(pc.equal(read["state"], "held"))["reading_id"][0].as_py()
    ruled = {"who": "O1", "why": why, "made_at": moment}
    match number % 8:
        case 0 | 1 as kind:
            step = (Step.VISIT_SOONER, Step.CALLED_HOMEOWNER)[kind]
            review.decide(store, "DH-01-N", step, owner="O1", due=TODAY, today=TODAY, **ruled)
        case 2:
            review.rule(store, used, Act.CORRECT, value="2 1/2", unit="in", **ruled)
        case 3:
            review.rule(store, used, Act.REJECT, **ruled)
        case 4:
            review.rule(store, used, Act.WITHDRAW, **ruled)
        case 5 if number not in records(store):  # whoever got no answer sees that it is released
            review.rule(store, held, Act.RELEASE, **ruled)
        case 6:
            review.rule(store, held, Act.WITHDRAW, **ruled)
        case 7:
            person = f"person,role,house,name\nC{number},office,,Invented {number}\n"
            intake.take_register(store, f"p{number}.csv", person.encode(), received_at=moment, sender="O1")


def records(store: Store) -> Found:
    """Office records and rulings by number."""
    people = [name[1:] for name in store.office.people()["person"].to_pylist() if name.startswith("C")]
    return Counter(
        map(int, [*store.office.decisions()["why"].to_pylist(), *store.facts("rulings")["why"].to_pylist(), *people])
    )


def give_photo(store: Store, number: int) -> None:
    """Tie a photo, and let the homeowner see every second one."""
    moment = START + timedelta(seconds=number)
    given = photo_intake.Given(f"IMG_{number}.png", lambda: small_store.picture(number))
    shown = photo_intake.Shown("DH-01", "N", date(2024, 1, 10))
    [tied] = photo_intake.tie(store, [given], shown, who="O1", made_at=moment).outcomes
    assert tied.row, tied
    if (
        number % 2
        and not next(row for row in photos.standing(store) if row["photo_id"] == tied.row["photo_id"])["released"]
    ):
        photos.rule(store, tied.row["photo_id"], PhotoAct.RELEASE, who="O1", why=str(number), made_at=moment)


def photos_tied(store: Store) -> Found:
    """Rows of photos by number; each is read whole."""
    rows = store.office.rows("photos")
    assert len(photos.files(store, rows)) == len({row["sha256"] for row in rows})
    return Counter(int(row["file_name"].removeprefix("IMG_").removesuffix(".png")) for row in rows)


def is_released(store: Store, number: int) -> bool:
    """Whether a photo may be seen by the homeowner where that was asked for."""
    return number % 2 == 0 or str(number) in {row["why"] for row in store.office.rows("photo_rulings")}


def send_upload(store: Store, number: int) -> None:
    """Send a file to the service and confirm it."""
    moment = START + timedelta(seconds=number)
    data = small_store.visit(date(1990, 1, 1) + timedelta(days=number))
    sent = [uploads.Sent(f"{number}.csv", data)]
    upload = uploads.preview(store, sent, account="T1", at=moment, today=TODAY)
    done = uploads.confirm(store, upload.upload_id, account="T1", at=moment, today=TODAY)
    if done.state != uploads.STORED:  # part of it came in before a kill: shown anew, and confirmed as it is now
        done = uploads.confirm(store, done.upload_id, account="T1", at=moment, today=TODAY)
    assert done.state == uploads.STORED, done.says


def change_key(store: Store, number: int) -> None:
    """Give an account another key; whoever got no answer finds it changed at that very moment."""
    moment = START + timedelta(seconds=number)
    try:
        accounts.new_key(store, "O1", at=moment)
    except accounts.AccountError:
        assert any(row["known_at"] == moment for row in store.office.rows("accounts"))


def keys_given(store: Store) -> Found:
    """Rows of the account by number."""
    rows = store.office.rows("accounts")
    return Counter(number for row in rows if (number := int((row["known_at"] - START).total_seconds())) > 0)


KINDS = (
    Work("ingest", take_file, readings_of_files, small_store.READINGS_A_FILE, 12, has_receipt),
    Work("compaction", add_and_compact, rows_of_adds, ROWS, 14),
    Work("assessment", assess, runs_of_assessments, 1, 2),
    Work("pages", publish, pages_published, 13, 2),
    Work("office", decide_and_rule, records, 1, 14),
    Work("photos", give_photo, photos_tied, 1, 7, is_released),
    Work("uploads", send_upload, readings_of_files, small_store.READINGS_A_FILE, 6, has_receipt),
    Work("accounts", change_key, keys_given, 1, 4),
)


HALF = "half written"
LONGEST_COMMIT = 0.02
"""Seconds that a transaction takes to be on the disk, about."""


def die() -> None:
    """As if the power went."""
    os.kill(os.getpid(), signal.SIGKILL)


class Steps:
    """Counts the steps that change files, by kind; kills this process at the n-th of one kind."""

    def __init__(self) -> None:
        self.done: Counter[str] = Counter()
        self.deadly: tuple[str, int] | None = None

    def __call__(self, event: str, arguments: tuple[object, ...]) -> None:
        """The interpreter's own note of what it is about to do."""
        writes = event == "open" and isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)
        if writes or event in {"os.rename", "os.remove", "os.link"}:
            self.step(event)

    def step(self, kind: str, dying: Callable[[], object] | None = None) -> None:
        """One step of a kind; where it is the deadly one this process dies, in the way that is given."""
        self.done[kind] += 1
        if (kind, self.done[kind]) == self.deadly:
            (dying or die)()

    def watch(self) -> None:
        """Have the steps inside of files and transactions counted too."""
        opened, connected = io.open, sqlite3.connect

        def watched_open(file: Any, mode: str = "r", *rest: Any, **more: Any) -> Any:
            found = opened(file, mode, *rest, **more)
            return HalfWritten(found) if "b" in mode and set(mode) & set("wxa+") else found

        def watched_connect(*arguments: Any, **more: Any) -> sqlite3.Connection:
            connection = connected(*arguments, **more)
            connection.set_trace_callback(self.statement)
            return connection

        io.open = builtins.open = watched_open
        sqlite3.connect = watched_connect

    def statement(self, sql: str) -> None:
        """A statement of SQL is about to be run."""
        if sql.startswith(("PRAGMA", "SELECT")):
            return
        if sql == "COMMIT":  # from a thread beside the one that commits, some thousandths of a second later
            self.step(
                "during a commit",
                lambda: threading.Timer(random.SystemRandom().uniform(0, LONGEST_COMMIT), die).start(),
            )
        self.step("statement")


class HalfWritten:
    """A file that may have to die when half of what is written is in it."""

    def __init__(self, file: Any) -> None:
        self.file = file

    def write(self, data: Any) -> int:
        """Write, or half of it."""
        STEPS.step(HALF, lambda: (self.file.write(bytes(data)[: len(data) // 2]), self.file.flush(), die()))
        return int(self.file.write(data))

    def __enter__(self) -> "HalfWritten":
        return self

    def __exit__(self, *error: object) -> None:
        self.file.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)


STEPS = Steps()


def plant() -> None:
    """A fault to be found: a file is written under its own name at once."""

    def write_new(path: Path, data: bytes) -> bool:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            return False
        with path.open("xb") as file:
            file.write(data)
        return True

    files.write_new = write_new


def work_until_killed(work: Work, path: Path, first: int, log: Path, deadly: tuple[str, int] | None) -> None:
    """Do pieces from `first` on; never returns. deadly: the step to die at."""
    try:
        STEPS.done, STEPS.deadly = Counter(), deadly
        with log.open("ab", buffering=0) as acknowledged:
            STEPS.watch()
            store = stores.open(path)
            for number in range(first, sys.maxsize):
                work.do(store, number)
                acknowledged.write(f"{number}\n".encode())
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(1)


def steps_of(work: Work, path: Path) -> tuple[float, Counter[str]]:
    """How long two pieces of work take at most, and how many steps of each kind one has; told by a child."""
    told, tell = os.pipe()
    child = os.fork()
    if not child:
        try:
            STEPS.watch()
            began = time.monotonic()
            STEPS.done = Counter()
            work.do(stores.open(path), 2)
            os.write(tell, json.dumps([2 * (time.monotonic() - began), STEPS.done]).encode())
        finally:
            os._exit(0)
    os.waitpid(child, 0)
    longest, usual = json.loads(os.read(told, 10_000))
    os.close(told)
    os.close(tell)
    return longest, Counter(usual)


def acknowledged_in(log: Path) -> set[int]:
    """The numbers written down."""
    return {int(line) for line in log.read_bytes().splitlines()}


def kill_one(work: Work, path: Path, log: Path, after: float, deadly: tuple[str, int] | None) -> bool:
    """Start a child that dies at a step, or is killed after so many seconds; whether it was killed at work."""
    first = max(acknowledged_in(log), default=1)
    child = os.fork()
    if not child:
        work_until_killed(work, path, first, log, deadly)
    if not deadly:
        time.sleep(after)
        os.kill(child, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def look(work: Work, path: Path, log: Path, so_far: Figures) -> None:
    """Count what is there after a kill."""
    acknowledged = acknowledged_in(log)
    under_way = max(acknowledged, default=0) + 1
    try:
        store = stores.open(path)
        found = work.found(store)
        missing = {number for number in acknowledged if work.beyond and not work.beyond(store, number)}
    except Exception as error:  # whatever a kill left that a reader fails on is a finding, not an end of the run
        so_far.problems.append(f"after kill {so_far.kills}: {error}")
        return
    so_far.acknowledged = len(acknowledged)
    so_far.under_way += found[under_way] == work.whole
    so_far.lost |= missing | {number for number in acknowledged if found[number] < work.whole}
    so_far.half |= {number for number, parts in found.items() if 0 < parts < work.whole}
    so_far.doubled |= {number for number, parts in found.items() if parts > work.whole}
    if strange := set(found) - acknowledged - {under_way}:
        so_far.problems.append(f"after kill {so_far.kills}: pieces nobody asked for: {sorted(strange)}")


def ready_store(path: Path) -> Path:
    """A store in which all of this can be done: with a reading that is held, and an account."""
    store = small_store.made(path)
    far_off = small_store.visit(date(2025, 7, 10)).replace(b"2 5/16", b"9 5/16")
    intake.take_visit(store, "far off.csv", far_off, received_at=START, sender="T1", today=TODAY)
    accounts.add(store, "O1", Role.OFFICE, password=None, at=START)
    return path


def killed(
    work: Work, ready: Path, folder: Path, kills: int, chance: random.Random, *, until_found: bool = False
) -> Figures:
    """So many kills in one kind of work, on a copy of a store that is ready; fewer where a fault is found."""
    so_far = Figures()
    store = stores.open(shutil.copytree(ready, folder / "store"))
    if work.name == "pages":
        assess(store, 0)
    log = folder / "acknowledged"
    log.touch()
    work.do(store, 1)
    log.write_bytes(b"1\n2\n")
    longest, usual = steps_of(work, store.path)
    others = sorted(set(usual) - {HALF})
    chance.shuffle(others)
    kinds = [kind for other in others for kind in (HALF, other)]  # a file cut in half is the worst there is
    for number in range(kills):
        so_far.kills += 1
        kind = kinds[number // 2 % len(kinds)]
        deadly = (kind, chance.randint(1, 2 * usual[kind])) if number % 2 == 0 else None
        if not kill_one(work, store.path, log, chance.uniform(0, longest), deadly):
            so_far.problems.append(f"child {so_far.kills} ended by itself")
        look(work, store.path, log, so_far)
        if until_found and not so_far.is_clean:
            return so_far
    if kills >= 10 and so_far.acknowledged <= 2:
        so_far.problems.append("nothing was acknowledged between the kills: they prove little")
    work.do(stores.open(store.path), max(acknowledged_in(log)) + 1)  # sent again by whoever got no answer
    so_far.problems += [f"{each.place}: {each.what}" for each in verify(store).damages]
    return so_far


def main() -> int:
    """Kill, count and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=1000, help="in all")
    parser.add_argument("--seed", type=int, default=1, help="of the moments")
    parser.add_argument("--only", choices=[work.name for work in KINDS], help="one kind of work alone")
    parser.add_argument("--plant", type=int, default=0, help="kills in which a planted fault is to be found")
    given = parser.parse_args()
    chance = random.Random(given.seed)
    kinds = [work for work in KINDS if given.only in (None, work.name)]
    shares = sum(work.share for work in kinds)
    print("work         kills  done-unacknowledged  acknowledged  lost  doubled  half-visible")
    all_clean = True
    sys.addaudithook(STEPS)
    everything = tempfile.TemporaryDirectory()
    ready = ready_store(Path(everything.name) / "ready")
    for work in kinds:
        with tempfile.TemporaryDirectory() as folder:
            came = killed(work, ready, Path(folder), max(1, round(given.kills * work.share / shares)), chance)
        print(f"{work.name:<12}" + "".join(f"{n:>{w}}" for n, w in zip(came.row(), (6, 21, 14, 6, 9, 14), strict=True)))
        for problem in came.problems:
            print(f"  {problem}")
        all_clean &= came.is_clean
        sys.stdout.flush()
    if given.plant:
        plant()
        with tempfile.TemporaryDirectory() as folder:
            came = killed(kinds[0], ready, Path(folder), given.plant, chance, until_found=True)
        print(f"planted: {'NOT FOUND' if came.is_clean else 'found'} after kill {came.kills}")
        all_clean &= not came.is_clean
    print("Nothing lost, doubled or seen by half." if all_clean else "NOT CLEAN: see above.")
    return 0 if all_clean else 1


if __name__ == "__main__":
    sys.exit(main())
