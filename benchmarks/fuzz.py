"""Real files of the demo turned into hostile ones and sent through every reader, up to judged rows.

    python benchmarks/fuzz.py [--files 20000] [--seed 1] [--kind "readings CSV"]
    python benchmarks/fuzz.py --seed 1 --kind "readings CSV" --only 4711    one file again, in this process

Each file is drawn from seed, kind and number alone, so that it can be made again. Children read them, many each, under
a bound of time a file and of memory; one that hangs, grows or dies is counted and replaced, and its file is kept in
--to with the command that replays it. Counted, too, is a file whose rows are not all accounted for, or whose error does
not help. Ends with 1 where there is one of these.
Here and not among the tests, as anybody can run it for as long as wanted; a test runs it for a short while.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: threads do not come along into a forked child

import argparse
import json
import resource
import select
import signal
import sys
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from random import Random

import fuzz_readers
from fuzz_readers import ALL_USED, HELD, REFUSED, REJECTED, BrokenError, Kind

CRASH, SLOW, LARGE, BROKEN = "crashes", "over time", "over memory", "broken"
OFFENCES = (CRASH, SLOW, LARGE, BROKEN)
COLUMNS = (REFUSED, HELD, REJECTED, ALL_USED, *OFFENCES)
SHARES = {
    "readings CSV": 34,
    "readings XLSX": 20,
    "register CSV": 16,
    "register XLSX": 8,
    "field sheet JSON": 14,
    "photos": 8,
}
"""Of a hundred files."""
BATCH = 400
SECONDS, MEGABYTES = 10.0, 600
"""Bounds of one file: time of a processor, and memory beyond what the child began with."""
PATIENCE = 120.0
"""Seconds by the clock after which a child is taken to hang: the machine may be busy."""


def drawn(kind: Kind, seed: int, number: int) -> tuple[str, bytes, int | None]:
    """File so-and-so: its name, its bytes, and how many rows were written where that is known."""
    chance = Random(f"{seed} {kind.name} {number}")
    (name, data), (_, other) = chance.choice(kind.files), chance.choice(kind.files)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library that writes workbooks warns of what is meant here
        return name, *kind.mutate(chance, data, other)


def what_became(kind: Kind, seed: int, number: int) -> tuple[list[str], str]:
    """What became of a file, and how it went wrong where it did."""
    name, data, rows = drawn(kind, seed, number)
    try:
        return sorted(fuzz_readers.became(kind, name, data, rows)), ""
    except MemoryError:
        return [LARGE], "no memory left"
    except BrokenError as error:
        return [BROKEN], str(error)
    except Exception:  # what no reader may let out: counted as a crash
        return [CRASH], traceback.format_exc()


def work(kind: Kind, seed: int, numbers: range, out: int) -> None:
    """Read files one after the other and write what became of each into a pipe; never returns."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[0])
        most = pages * resource.getpagesize() + MEGABYTES * 1_000_000
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        for number in numbers:
            began = time.process_time()
            found, why = what_became(kind, seed, number)
            if (seconds := time.process_time() - began) > SECONDS:
                found, why = [SLOW], f"{seconds:.0f} s"
            os.write(out, (json.dumps([number, found, why]) + "\n").encode())
        os._exit(0)
    except BaseException:
        os._exit(1)


def outcomes(kind: Kind, seed: int, numbers: range) -> Iterator[tuple[int, list[str], str]]:
    """What became of each file, read by children that are replaced where they stop."""
    while numbers:
        into, out = os.pipe()
        child = os.fork()
        if not child:
            os.close(into)
            work(kind, seed, numbers, out)
        os.close(out)
        done = yield from _told(into, numbers)
        os.close(into)
        numbers = numbers[done:]
        ended, status = os.waitpid(child, os.WNOHANG)
        if numbers and not ended:
            time.sleep(0.05)  # one that is ending
            ended, status = os.waitpid(child, os.WNOHANG)
        if not ended:
            if numbers:
                os.kill(child, signal.SIGKILL)
            status = os.waitpid(child, 0)[1]
        if numbers:
            killed_here = not ended
            why = f"no answer in {PATIENCE:.0f} s" if killed_here else f"the process ended with {status}"
            yield numbers[0], [SLOW if killed_here else CRASH], why
            numbers = numbers[1:]


def _told(into: int, numbers: range) -> Iterator[tuple[int, list[str], str]]:
    """Lines from a child until it has told all, ended, or taken too long; how many it told is returned."""
    told, rest = 0, b""
    while told < len(numbers):
        ready, _, _ = select.select([into], [], [], PATIENCE)
        piece = os.read(into, 1 << 16) if ready else b""
        if not piece:
            break
        *lines, rest = (rest + piece).split(b"\n")
        for line in lines:
            yield tuple(json.loads(line))
            told += 1
    return told


def keep(kind: Kind, seed: int, number: int, offence: str, why: str, folder: Path) -> None:
    """The offender and how to replay it."""
    folder.mkdir(parents=True, exist_ok=True)
    name, data, _ = drawn(kind, seed, number)
    stem = f"{kind.name.replace(' ', '-')}-{seed}-{number}"
    (folder / f"{stem}{Path(name).suffix}").write_bytes(data)
    replay = f'python benchmarks/fuzz.py --seed {seed} --kind "{kind.name}" --only {number}'
    (folder / f"{stem}.txt").write_text(f"{offence}\n{replay}\n{why}\n", encoding="utf-8")
    print(f"  {offence}: {replay}\n    {why.strip().splitlines()[-1]}", flush=True)


def tried(kind: Kind, seed: int, numbers: range, folder: Path) -> Counter[str]:
    """Files of one kind by their numbers; offenders are kept."""
    counted: Counter[str] = Counter()
    for first in range(0, len(numbers), BATCH):
        for number, found, why in outcomes(kind, seed, numbers[first : first + BATCH]):
            counted["files"] += 1
            counted.update(found)
            for offence in set(found) & set(OFFENCES):
                keep(kind, seed, number, offence, why, folder)
    return counted


def main(words: list[str] | None = None) -> int:
    """Draw, read, count and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--files", type=int, default=2000, help="in all")
    parser.add_argument("--seed", type=int, default=1, help="of all draws")
    parser.add_argument("--kind", choices=list(SHARES), help="one kind of file alone")
    parser.add_argument("--first", type=int, default=0, help="number of the first file of each kind")
    parser.add_argument("--only", type=int, help="one file again by its number, not in a child; needs --kind")
    parser.add_argument("--to", type=Path, default=Path("reports/fuzz"), help="where offenders are kept")
    given = parser.parse_args(words)
    if given.only is not None and not given.kind:
        parser.error("--only needs --kind")
    kinds = fuzz_readers.Demo().kinds()
    if given.only is not None:
        found, why = what_became(kinds[given.kind], given.seed, given.only)
        print(", ".join(found), why, sep="\n")
        return int(bool(set(found) & set(OFFENCES)))
    chosen = [kinds[name] for name in SHARES if given.kind in (None, name)]
    whole = sum(SHARES[kind.name] for kind in chosen)
    print(f"{'kind':<17}" + "".join(f"{column:>12}" for column in ("files", *COLUMNS, "files/s")), flush=True)
    everything: Counter[str] = Counter()
    for kind in chosen:
        began = time.monotonic()
        files = max(1, round(given.files * SHARES[kind.name] / whole))
        counted = tried(kind, given.seed, range(given.first, given.first + files), given.to)
        everything += counted
        print(_row(kind.name, counted, time.monotonic() - began), flush=True)
    print(_row("all", everything, 0))
    clean = not any(everything[offence] for offence in OFFENCES)
    print("Every file was read or refused, and every row accounted for." if clean else f"NOT CLEAN: see {given.to}.")
    return 0 if clean else 1


def _row(name: str, counted: Counter[str], seconds: float) -> str:
    speed = f"{counted['files'] / seconds:>12.1f}" if seconds else ""
    return f"{name:<17}" + "".join(f"{counted[column]:>12,}" for column in ("files", *COLUMNS)) + speed


if __name__ == "__main__":
    sys.exit(main())
