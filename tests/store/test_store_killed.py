"""A writer killed at any moment leaves every acknowledged add visible, once and whole; writers at once lose nothing."""

import multiprocessing
import os
import random
import time
from collections import Counter
from multiprocessing.process import BaseProcess
from pathlib import Path

import pyarrow as pa
import pytest
from store_rows import START, table

from monitor import store as stores
from monitor.store import Store, compaction, facts, generations
from monitor.store.verify import verify

pytestmark = pytest.mark.skipif(os.name == "nt", reason="processes are killed and forked the POSIX way here")

ROWS = 5
KILLS = 20


def add_of(number: int) -> pa.Table:
    return table("walls", *({"house": f"DH-{number}", "wall": f"{part}"} for part in range(ROWS)))


def hurry() -> None:
    """Compact after every third add and keep nothing old, so that most moments lie inside a compaction."""
    facts.INBOX_LIMIT = 2
    facts._LOOK_EVERY = 1
    compaction.GRACE_SECONDS = -1.0


def write_for_ever(path: Path, first: int, acknowledged: Path) -> None:
    hurry()
    store = stores.open(path)
    with acknowledged.open("ab", buffering=0) as log:
        number = first
        while True:
            store.add("walls", add_of(number))
            log.write(f"{number}\n".encode())
            number += 1


def write_some(path: Path, numbers: list[int]) -> None:
    hurry()
    store = stores.open(path)
    for number in numbers:
        store.add("walls", add_of(number))


def started(target: object, *arguments: object) -> BaseProcess:
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["pandas", "pytest", "monitor.store.verify"])  # what a child would import each time
    process = context.Process(target=target, args=arguments)  # type: ignore[arg-type]
    process.start()
    return process


def adds_in(store: Store) -> Counter[int]:
    return Counter(int(house.removeprefix("DH-")) for house in store.facts("walls")["house"].to_pylist())


def test_a_writer_killed_at_any_moment_loses_no_acknowledged_add(store: Store, tmp_path: Path) -> None:
    chance = random.Random(20260105)
    log = tmp_path / "acknowledged"
    log.touch()
    for _ in range(KILLS):
        before = len(log.read_bytes().splitlines())
        process = started(write_for_ever, store.path, before, log)
        enough, give_up = before + chance.randrange(1, 5), time.monotonic() + 60
        while len(log.read_bytes().splitlines()) < enough and time.monotonic() < give_up:
            time.sleep(0.001)
        time.sleep(chance.uniform(0, 0.04))
        process.kill()
        process.join()
        acknowledged = [int(line) for line in log.read_bytes().splitlines()]
        found = adds_in(stores.open(store.path))
        assert len(acknowledged) > before
        assert set(found.values()) == {ROWS}
        # at most the one that was under way may be in without an answer; its retry is the same file
        assert set(acknowledged) <= set(found) <= set(range(len(acknowledged) + 1))
    assert generations.pointer(store.path).generation >= KILLS / 2
    assert verify(store).damages == ()


def test_writers_at_once_with_compactions_between_them_lose_and_double_nothing(store: Store) -> None:
    shared = list(range(30))
    processes = [started(write_some, store.path, [*shared, *range(own, own + 10)]) for own in (100, 200, 300)]
    while any(process.is_alive() for process in processes):
        found = adds_in(store)
        assert set(found.values()) <= {ROWS}
    for process in processes:
        process.join()
        assert process.exitcode == 0
    expected = {*shared, *range(100, 110), *range(200, 210), *range(300, 310)}
    assert adds_in(store) == dict.fromkeys(expected, ROWS)
    assert verify(store).damages == ()
    assert store.facts("walls", known_on=START).num_rows == len(expected) * ROWS
