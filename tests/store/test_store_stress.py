"""The scripts of faults and of many at once, run for a short while as anybody would run them."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from store_rows import table

from monitor.store import Store

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"

pytestmark = pytest.mark.skipif(os.name == "nt", reason="processes are killed and forked the POSIX way here")


def run(script: str, *arguments: str) -> list[list[str]]:
    """The lines of figures that a script prints, once it has ended well."""
    done = subprocess.run(
        [sys.executable, BENCHMARKS / script, *arguments], check=False, capture_output=True, text=True, timeout=240
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return [line.split() for line in done.stdout.splitlines()[1:] if any(part.isdigit() for part in line.split())]


def test_kills_in_every_kind_of_work_lose_double_and_halve_nothing_and_find_a_planted_fault() -> None:
    *figures, planted = run("faults.py", "--kills", "30", "--plant", "50")
    assert sum(int(line[1]) for line in figures) >= 30
    kinds = ["ingest", "compaction", "assessment", "pages", "office", "photos", "uploads", "accounts"]
    assert [line[0] for line in figures] == kinds
    assert all(line[4:] == ["0", "0", "0"] for line in figures)
    assert planted[:2] == ["planted:", "found"]


def test_writers_compactors_readers_and_backups_at_once_see_every_acknowledged_row_once() -> None:
    crowd = ("--writers", "2", "--compactors", "1", "--readers", "1", "--copiers", "1")
    [line] = run("crowd.py", "--seconds", "2", "--grace", "0.5", *crowd)
    acknowledged, lost, doubled, half, looks, generations, damages, failed, copies, unsound = map(int, line)
    assert acknowledged > 3
    assert looks > 1
    assert generations > 1
    assert copies
    assert (lost, doubled, half, damages, failed, unsound) == (0, 0, 0, 0, 0, 0)


def test_a_writer_that_names_its_file_while_the_sweep_looks_does_not_stop_a_compaction(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.add("walls", table("walls", {"house": "DH-1", "wall": "N"}))
    being_written = store.path / "inbox" / "walls" / ".another.parquet.0123456789abcdef.tmp"
    being_written.write_bytes(b"")
    real = Path.stat

    def stat(path: Path, **how: Any) -> os.stat_result:
        if path.name == being_written.name:
            being_written.unlink()  # between the listing and the look
        return real(path, **how)

    monkeypatch.setattr(Path, "stat", stat)
    assert store.compact()
    assert store.facts("walls").num_rows == 1
