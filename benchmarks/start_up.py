"""How long commands take to start, beside the bare interpreter.

    python benchmarks/start_up.py [--store reports/demo/store] [--runs 20]

The store is that of the demo (`wallbow demo` makes it). Medians; a run of the interpreter stands before each run of a
command, so that whatever else the machine does falls on both. What each command may load is held by
tests/cli/test_what_commands_load.py.
"""

import argparse
import statistics
import subprocess
import sys
import time
from pathlib import Path


def seconds(words: list[str]) -> float:
    """How long a process takes from its start to its end."""
    begun = time.perf_counter()
    subprocess.run([sys.executable, *words], capture_output=True, check=True)
    return time.perf_counter() - begun


def main() -> None:
    """Measure and print."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--store", type=Path, default=Path("reports/demo/store"))
    ask.add_argument("--runs", type=int, default=20)
    asked = ask.parse_args()
    at = ["--store", str(asked.store)]
    calls = (["--help"], ["flagged", "--help"], ["company", *at], ["account", "list", *at], ["flagged", *at],
             ["wall", "DH-02-E", *at])  # fmt: skip
    print("command | ms | bare interpreter, ms | times it")
    for words in calls:
        pairs = [(seconds(["-c", "pass"]), seconds(["-m", "monitor", *words])) for _ in range(asked.runs)]
        bare, took = (statistics.median(found) for found in zip(*pairs, strict=True))
        shown = " ".join(word for word in words if word not in at)
        print(f"wallbow {shown} | {1e3 * took:.0f} | {1e3 * bare:.0f} | {took / bare:.1f}")


if __name__ == "__main__":
    main()
