"""The script of hostile files, run for a short while as anybody would run it, and what it is to catch."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"
PLANTED = """
import os, sys, time
from pathlib import Path
import fuzz
from fuzz_readers import BrokenError, Kind, became
from monitor.errors import IntakeError, Where

fuzz.SECONDS, fuzz.MEGABYTES = 0.2, 100

def crashes(*_): raise ValueError("planted")
def dies(*_): os._exit(3)
def hangs(*_): time.sleep(60)
def dawdles(*_):
    while time.process_time() < began + 0.4: pass
    return {fuzz.ALL_USED}
def grows(*_): return bytearray(400_000_000) and {fuzz.ALL_USED}
def loses(*_): raise BrokenError("a row is gone")
def mute(*_): raise IntakeError("No.", where=Where(file="x"))
def good(*_): return {fuzz.ALL_USED}

for bad in (crashes, dies, hangs, dawdles, grows, loses, mute):
    def read(name, data, rows, bad=bad):
        global began
        began = time.process_time()
        return (bad if data == b"1" else good)(name, data, rows)
    numbers = iter([])
    kind = Kind(bad.__name__, [("x.csv", b"")], lambda chance, *_: (b"%d" % chance.randrange(2), None), read)
    fuzz.PATIENCE = 1.0 if bad is hangs else 60.0
    files = 1 + next(n for n in range(99) if fuzz.drawn(kind, 1, n)[1] == b"1")
    found = fuzz.tried(kind, 1, range(files), Path(sys.argv[1]))
    print("planted", bad.__name__, *(f"{name}={found[name]}" for name in fuzz.OFFENCES if found[name]))
fuzz.SECONDS, fuzz.MEGABYTES = 10.0, 600
sys.exit(fuzz.main(["--files", "20", "--to", sys.argv[1]]))
"""

pytestmark = pytest.mark.skipif(os.name == "nt", reason="processes are forked and bounded the POSIX way here")


def test_twenty_files_are_read_or_refused_and_each_fault_that_is_planted_is_counted(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", PLANTED, tmp_path],
        cwd=BENCHMARKS,
        check=False,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    told = [line.split()[1:] for line in done.stdout.splitlines() if line.startswith("planted")]
    offence = {"crashes": "crashes", "dies": "crashes", "hangs": "over time", "dawdles": "over time",
               "grows": "over memory", "loses": "broken", "mute": "broken"}  # fmt: skip
    assert [" ".join(line[1:]) for line in told] == [f"{word}=1" for word in offence.values()]
    assert [line[0] for line in told] == list(offence)
    assert "Every file was read or refused, and every row accounted for." in done.stdout
    assert len(list(tmp_path.glob("*.txt"))) == len(offence)
