"""Writers, compactors, readers and backups at once: every acknowledged row once, and nobody sees half of anything.

    python benchmarks/crowd.py [--seconds 180] [--writers 8] [--compactors 2] [--readers 2] [--copiers 1] [--grace 60]

Each writer adds numbered groups of rows, sends every third twice as somebody does who got no answer, and writes down
what was acknowledged. A reader counts again and again: each group is there whole or not at all; what was acknowledged
before it began to read is there; nothing that it saw goes away. Two writers share their numbers. grace: seconds that a
replaced file is kept for slow readers. Every writer also puts a record of each group into the office's. A copier makes
backup after backup: each opens, is proven whole, and holds all that was acknowledged before it began; with --plain it
copies the folder by other means instead, to see what that would lose. Ends with 1 where anything is wrong.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import small_store

from monitor import store as stores
from monitor.errors import BowError
from monitor.store import Store, compaction, generations
from monitor.store.backup import back_up
from monitor.store.verify import verify

ROWS = 5
APART = 10_000_000
"""Between the first numbers of two writers."""


def write(store: Store, log: Path, first: int, until: float) -> None:
    """Add groups, until it is time."""
    number = first
    with log.open("ab", buffering=0) as acknowledged:
        while time.monotonic() < until:
            rows = small_store.houses(number, ROWS)
            store.add("houses", rows)
            if number % 3 == 0:
                store.add("houses", rows)
            store.office.add(
                {"sessions_ended": [{"session": str(number), "account": "", "known_at": small_store.START}]}
            )
            acknowledged.write(f"{number}\n".encode())
            number += 1


def compact(store: Store, until: float) -> None:
    """Compact again and again, until it is time."""
    while time.monotonic() < until:
        store.compact()


def groups_in(store: Store) -> Counter[int]:
    """Rows of each group."""
    return Counter(int(note) for note in store.facts("houses")["note"].to_pylist() if note)


def acknowledged_in(folder: Path) -> set[int]:
    """All numbers that writers wrote down in full lines."""
    lines = b"".join(log.read_bytes() for log in folder.glob("*.acknowledged"))
    return {int(line) for line in lines.decode().splitlines(keepends=True) if line.endswith("\n")}


def read(store: Store, folder: Path, looks: Path, until: float) -> None:
    """Count again and again, until it is time."""
    seen: set[int] = set()
    with looks.open("ab", buffering=0) as log:
        while time.monotonic() < until:
            due = acknowledged_in(folder)
            found = groups_in(store)
            assert set(found.values()) <= {ROWS}, f"by half or doubled: {Counter(found.values())}"
            assert due | seen <= set(found), f"missing: {sorted((due | seen) - set(found))[:5]}"
            seen = set(found)
            log.write(b".")


def copy(store: Store, folder: Path, plain: bool, until: float) -> None:
    """Back up again and again, until it is time."""
    while time.monotonic() < until:
        due, to = acknowledged_in(folder), folder / "copy"
        try:
            if plain:  # what vanishes meanwhile it goes past, as people do
                subprocess.run(["cp", "-r", store.path, to], check=False, stderr=subprocess.DEVNULL)
            whole = verify(stores.open(to)).whole if plain else back_up(store, to).whole
            there = set(groups_in(stores.open(to))) & {int(row["session"]) for row in records_in(stores.open(to))}
            sound = whole and due <= there
        except (BowError, OSError) as error:
            sound = False
            print(f"  copy: {error}", file=sys.stderr)
        with (folder / ("sound" if sound else "unsound")).open("ab") as log:
            log.write(b".")
        shutil.rmtree(to, ignore_errors=True)


def records_in(store: Store) -> list[dict[str, Any]]:
    """The office's records of groups."""
    return store.office.rows("sessions_ended")


def child(do: Callable[[], None]) -> int:
    """A process that does it, and ends with 1 where it raises."""
    if pid := os.fork():
        return pid
    try:
        do()
    except BaseException:
        traceback.print_exc()
        os._exit(1)
    os._exit(0)


def main() -> int:
    """Start all, wait, count and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name, default in (("writers", 8), ("compactors", 2), ("readers", 2), ("copiers", 1)):
        parser.add_argument(f"--{name}", type=int, default=default)
    parser.add_argument("--plain", action="store_true", help="copy the folder instead of making backups")
    parser.add_argument("--seconds", type=float, default=180.0)
    parser.add_argument("--grace", type=float, default=compaction.GRACE_SECONDS)
    given = parser.parse_args()
    compaction.GRACE_SECONDS = given.grace
    with tempfile.TemporaryDirectory() as name:
        return crowd(Path(name), given)


def crowd(folder: Path, given: argparse.Namespace) -> int:
    """The crowd on a store in a folder; 0 where all is well."""
    path = small_store.made(folder / "store").path
    until = time.monotonic() + given.seconds
    first = [max(1, number) * APART for number in range(given.writers)]  # the first two share
    work: list[Callable[[], None]] = [
        *(
            lambda n=n: write(stores.open(path), folder / f"{n}.acknowledged", first[n], until)
            for n in range(given.writers)
        ),
        *(lambda: compact(stores.open(path), until) for _ in range(given.compactors)),
        *(lambda: copy(stores.open(path), folder, given.plain, until) for _ in range(given.copiers)),
        *(lambda n=n: read(stores.open(path), folder, folder / f"{n}.looks", until) for n in range(given.readers)),
    ]
    ends = [os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) for pid in [child(do) for do in work]]
    store = stores.open(path)
    due, found = acknowledged_in(folder), groups_in(store)
    lost = sum(found[number] < ROWS for number in due)
    doubled = sum(parts > ROWS for parts in found.values())
    half = sum(parts < ROWS for parts in found.values())
    looks = sum(log.stat().st_size for log in folder.glob("*.looks"))
    generation = generations.pointer(path).generation
    damages = verify(store).damages
    sound, unsound = (size_of(folder / name) for name in ("sound", "unsound"))
    lost += len(due - {int(row["session"]) for row in records_in(store)})
    figures = {
        "acknowledged": len(due),
        "lost": lost,
        "doubled": doubled,
        "half-visible": half,
        "looks": looks,
        "generations": generation,
        "damages": len(damages),
        "failed processes": sum(map(bool, ends)),
        "copies": sound + unsound,
        "unsound": unsound,
    }
    print("  ".join(figures))
    print("  ".join(f"{number:>{len(name)}}" for name, number in figures.items()))
    for damage in damages:
        print(f"  {damage.place}: {damage.what}")
    wrong = lost or doubled or half or damages or any(ends) or unsound or set(found) != due
    return int(bool(wrong or not looks or not sound))


def size_of(path: Path) -> int:
    """Bytes of a file, 0 where there is none."""
    return path.stat().st_size if path.exists() else 0


if __name__ == "__main__":
    sys.exit(main())
