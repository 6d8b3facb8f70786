"""A command's process ends with it: what it wrote is whole, its exit code is the command's, threads are waited for."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli import exits

_WRITES = """
import sys, threading, time
from monitor import cli
def main():
    def later():
        time.sleep(0.3)
        print("from the thread")
    for _ in range(1000):
        print("x" * 999)
    if sys.argv[1] == "thread":
        threading.Thread(target=later).start()
    print("to stderr", file=sys.stderr)
    raise SystemExit({"none": None, "text": "said", "thread": 3}.get(sys.argv[1], 10))
cli.main = main
cli.run()
"""


@pytest.mark.parametrize(
    ("how", "code", "said"), [("none", 0, ""), ("text", 1, "said\n"), ("number", 10, ""), ("thread", 3, "")]
)
def test_all_that_was_written_arrives_and_the_code_is_that_of_the_command(how: str, code: int, said: str) -> None:
    buffered = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    done = subprocess.run(
        [sys.executable, "-c", _WRITES, how], capture_output=True, text=True, check=False, env=buffered
    )
    assert done.returncode == code
    assert done.stdout == ("x" * 999 + "\n") * 1000 + ("from the thread\n" if how == "thread" else "")
    assert done.stderr == "to stderr\n" + said


def test_a_command_that_finds_no_store_says_so_by_its_code(tmp_path: Path) -> None:
    words = [sys.executable, "-m", "monitor", "company", "--store", str(tmp_path / "none")]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (exits.STORE, "")
    assert "There is no store here." in done.stderr


def test_where_nobody_reads_any_more_a_command_ends_without_a_fault_of_its_own() -> None:
    words = f"{sys.executable} -m monitor --help | head -c 1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", words], capture_output=True, text=True, check=False)
    assert done.stdout == "U"
    assert "Traceback" not in done.stderr
