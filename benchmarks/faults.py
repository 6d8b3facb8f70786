"""Processes killed at random moments of their work, and what is lost, doubled or seen by half afterwards.

    python benchmarks/faults.py [--kills 1000] [--seed 1] [--only ingest]

A child numbers its pieces of work, and writes down each number once the piece is acknowledged (the call has returned).
It is killed with SIGKILL, another takes its place, repeats the last acknowledged piece and the one under way, and goes
on. Half of the kills come by the clock; as most of the time goes into computing, the others come just before a file is
opened for writing, linked, renamed or removed, or SQLite is called: at the n-th of one of these, both drawn.
After each kill the store is opened anew and counted. Lost: acknowledged, and not all of it there. Half-visible: neither
all nor nothing of it there. Doubled: more than all. Ends with 1 where there is one of these.
Here and not among the tests, as anybody can run it for as long as wanted; a test runs it for a short while.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: threads do not come along into a forked child

import argparse
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import small_store
from small_store import START

from monitor import store as stores
from monitor.pipeline import assessing, intake, publishing, review, runs
from monitor.store import Store, compaction
from monitor.store import store as store_module
from monitor.store.verify import verify
from monitor.terms import Act, Step

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
        assert run.results_sha256 == runs.results_hash(standing), "the assessment is not that of its run"
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
    """Decide, correct, reject, release, withdraw or register a person, in turn."""
    moment, why = START + timedelta(seconds=number), str(number)
    reading = store.facts("readings")["reading_id"][0].as_py()
    kind = number % 5
    if kind == 0:
        step, due = Step.VISIT_SOONER, TODAY
        review.decide(store, "DH-01-N", step, who="O1", why=why, owner="O1", due=due, made_at=moment, today=TODAY)
    elif kind == 1:
        review.rule(store, reading, Act.CORRECT, who="O1", why=why, value="2 1/2", unit="in", made_at=moment)
    elif kind == 2:
        review.rule(store, reading, Act.REJECT, who="O1", why=why, made_at=moment)
    elif kind == 3:
        review.rule(store, reading, Act.WITHDRAW, who="O1", why=why, made_at=moment)
    else:
        person = f"person,role,house,name\nC{number},office,,Invented {number}\n"
        intake.take_register(store, f"p{number}.csv", person.encode(), received_at=moment, sender="O1")


def records(store: Store) -> Found:
    """Office records and rulings by number."""
    people = [name[1:] for name in store.office.people()["person"].to_pylist() if name.startswith("C")]
    return Counter(
        map(int, [*store.office.decisions()["why"].to_pylist(), *store.facts("rulings")["why"].to_pylist(), *people])
    )


KINDS = (
    Work("ingest", take_file, readings_of_files, small_store.READINGS_A_FILE, 12, has_receipt),
    Work("compaction", add_and_compact, rows_of_adds, ROWS, 16),
    Work("assessment", assess, runs_of_assessments, 1, 3),
    Work("pages", publish, pages_published, 13, 2),
    Work("office", decide_and_rule, records, 1, 17),
)


class Steps:
    """Counts the steps that change files, by kind; kills this process just before the n-th of one kind."""

    def __init__(self) -> None:
        self.done: Counter[str] = Counter()
        self.deadly: tuple[str, int] | None = None

    def __call__(self, event: str, arguments: tuple[object, ...]) -> None:
        """The interpreter's own note of what it is about to do."""
        writes = event == "open" and isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)
        if writes or event in {"os.rename", "os.remove", "os.link", "sqlite3.connect"}:
            self.done[event] += 1
            if (event, self.done[event]) == self.deadly:
                os.kill(os.getpid(), signal.SIGKILL)


STEPS = Steps()


def work_until_killed(work: Work, path: Path, first: int, log: Path, deadly: tuple[str, int] | None) -> None:
    """Do pieces from `first` on; never returns. deadly: the step to die at."""
    try:
        STEPS.done, STEPS.deadly = Counter(), deadly
        store = stores.open(path)
        with log.open("ab", buffering=0) as acknowledged:
            for number in range(first, sys.maxsize):
                work.do(store, number)
                acknowledged.write(f"{number}\n".encode())
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(1)


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
    except Exception as error:
        so_far.problems.append(f"after kill {so_far.kills}: {error}")
        return
    so_far.acknowledged = len(acknowledged)
    so_far.under_way += found[under_way] == work.whole
    so_far.lost |= missing | {number for number in acknowledged if found[number] < work.whole}
    so_far.half |= {number for number, parts in found.items() if 0 < parts < work.whole}
    so_far.doubled |= {number for number, parts in found.items() if parts > work.whole}
    if strange := set(found) - acknowledged - {under_way}:
        so_far.problems.append(f"after kill {so_far.kills}: pieces nobody asked for: {sorted(strange)}")


def killed(work: Work, ready: Path, folder: Path, kills: int, chance: random.Random) -> Figures:
    """So many kills in one kind of work, on a copy of a store that is ready."""
    so_far = Figures()
    store = stores.open(shutil.copytree(ready, folder / "store"))
    if work.name == "pages":
        assess(store, 0)
    log = folder / "acknowledged"
    log.touch()
    work.do(store, 1)
    began = time.monotonic()
    STEPS.done = Counter()
    work.do(store, 2)
    log.write_bytes(b"1\n2\n")
    longest, usual = 4 * (time.monotonic() - began), STEPS.done
    for number in range(kills):
        so_far.kills += 1
        kind = chance.choice(sorted(usual))
        deadly = (kind, chance.randint(1, 4 * usual[kind])) if number % 2 else None
        if not kill_one(work, store.path, log, chance.uniform(0, longest), deadly):
            so_far.problems.append(f"child {so_far.kills} ended by itself")
        look(work, store.path, log, so_far)
    if kills >= 10 and so_far.acknowledged <= 2:
        so_far.problems.append("nothing was acknowledged between the kills: they prove little")
    so_far.problems += [f"{each.place}: {each.what}" for each in verify(store).damages]
    return so_far


def main() -> int:
    """Kill, count and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=1000, help="in all")
    parser.add_argument("--seed", type=int, default=1, help="of the moments")
    parser.add_argument("--only", choices=[work.name for work in KINDS], help="one kind of work alone")
    given = parser.parse_args()
    chance = random.Random(given.seed)
    kinds = [work for work in KINDS if given.only in (None, work.name)]
    shares = sum(work.share for work in kinds)
    print("work         kills  done-unacknowledged  acknowledged  lost  doubled  half-visible")
    all_clean = True
    sys.addaudithook(STEPS)
    everything = tempfile.TemporaryDirectory()
    ready = small_store.made(Path(everything.name) / "ready").path
    for work in kinds:
        with tempfile.TemporaryDirectory() as folder:
            came = killed(work, ready, Path(folder), max(1, round(given.kills * work.share / shares)), chance)
        print(f"{work.name:<12}" + "".join(f"{n:>{w}}" for n, w in zip(came.row(), (6, 21, 14, 6, 9, 14), strict=True)))
        for problem in came.problems:
            print(f"  {problem}")
        all_clean &= came.is_clean
        sys.stdout.flush()
    print("Nothing lost, doubled or seen by half." if all_clean else "NOT CLEAN: see above.")
    return 0 if all_clean else 1


if __name__ == "__main__":
    sys.exit(main())
