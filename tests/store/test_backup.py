"""A backup taken while others write is whole and holds what was acknowledged; restored elsewhere it tells the same."""

import os
import shutil
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any

import pytest
import small_store
from small_store import START

from monitor import store as stores
from monitor.errors import StoreError
from monitor.store import Store, files
from monitor.store.backup import back_up
from monitor.store.verify import verify

ROWS = 3


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_store.full(tmp_path_factory.mktemp("backup") / "store").path


def write_until(path: Path, stop: threading.Event, acknowledged: list[int], first: int) -> None:
    store, number = stores.open(path), first
    while not stop.is_set():
        store.add("houses", small_store.houses(number, ROWS))
        store.office.add({"sessions_ended": [{"session": str(number), "account": "", "known_at": START}]})
        acknowledged.append(number)
        number += 1


def compact_until(path: Path, stop: threading.Event) -> None:
    store = stores.open(path)
    while not stop.is_set():
        store.compact()


def numbers_in(store: Store) -> tuple[set[int], set[int]]:
    rows = store.facts("houses")["note"].to_pylist()
    groups = {int(note) for note in rows if note}
    assert all(rows.count(str(number)) == ROWS for number in groups)
    return groups, {int(row["session"]) for row in store.office.rows("sessions_ended")}


def test_while_others_write_each_backup_is_whole_and_holds_what_was_acknowledged_before(
    full: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitor.store.compaction.GRACE_SECONDS", -1.0)  # nothing old is kept for slow readers
    path, stop = shutil.copytree(full, tmp_path / "store"), threading.Event()
    acknowledged: list[int] = []
    writers = [
        threading.Thread(target=write_until, args=(path, stop, acknowledged, first)) for first in (1000, 2000)
    ] + [threading.Thread(target=compact_until, args=(path, stop))]
    for writer in writers:
        writer.start()
    try:
        for number in range(4):
            before = set(acknowledged)
            proof = back_up(stores.open(path), tmp_path / str(number))
            assert proof.damages == ()
            for found in numbers_in(stores.open(tmp_path / str(number))):
                assert before <= found
    finally:
        stop.set()
        for writer in writers:
            writer.join()
    assert len(acknowledged) > 4
    assert verify(stores.open(path)).whole


def asked(store: Path, to: Path, **how: Any) -> bytes:
    """The list and the pages of a store, as another process makes them; what the list says."""
    script = (
        "from monitor.cli import commands\n"
        f"for asked in (['flagged', '--csv'], ['reports', '--known-on', '2026-12-31', '--to', {str(to)!r}]):\n"
        f"    commands()([*asked, '--store', {str(store)!r}], standalone_mode=False)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, check=False, timeout=120, **how)
    assert done.returncode == 0, done.stderr
    return done.stdout


def as_nobody() -> None:
    os.setgid(65534)
    os.setuid(65534)


def may_be_nobody() -> bool:
    """Whether this user may become another one that can run the interpreter."""
    if not hasattr(os, "geteuid") or os.geteuid():
        return False
    try:
        return not subprocess.run(
            [sys.executable, "-c", "import pyarrow"], preexec_fn=as_nobody, check=False
        ).returncode
    except (OSError, subprocess.SubprocessError):
        return False


def test_restored_at_another_place_for_another_user_in_another_time_zone_lists_and_pages_are_the_same_bytes(
    full: Path, tmp_path: Path
) -> None:
    back_up(stores.open(full), tmp_path / "backup")
    environment = dict(os.environ)
    said = asked(full, tmp_path / "pages", env=environment | {"TZ": "America/Chicago"})
    with tempfile.TemporaryDirectory() as name:
        there = Path(name)
        shutil.copytree(tmp_path / "backup", there / "here it is")
        how: dict[str, Any] = {"env": environment | {"TZ": "Pacific/Auckland", "LC_ALL": "C"}}
        if may_be_nobody():
            how["preexec_fn"] = as_nobody
            for path in (there, *there.rglob("*")):
                os.chown(path, 65534, 65534)
        assert asked(there / "here it is", there / "pages", cwd=there, **how) == said
        pages = [page for page in (tmp_path / "pages").rglob("*") if page.is_file()]
        assert len(pages) > 10
        for page in pages:
            assert (there / page.relative_to(tmp_path)).read_bytes() == page.read_bytes(), page.name


def test_a_backup_goes_over_nothing_and_not_into_the_store(full: Path, tmp_path: Path) -> None:
    store = stores.open(full)
    (tmp_path / "mine").write_text("mine")
    for to in (tmp_path, tmp_path / "mine"):
        with pytest.raises(StoreError, match="new or empty folder only"):
            back_up(store, to)
    with pytest.raises(StoreError, match="in the store itself"):
        back_up(store, full / "inbox" / "backup")
    assert (tmp_path / "mine").read_text() == "mine"


def test_a_backup_that_is_cut_off_is_not_there_and_the_next_takes_its_place(
    full: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    to = tmp_path / "backup"

    def refuse(path: Path) -> None:
        raise OSError(28, "No space left on device", str(path))

    with monkeypatch.context() as patch:
        patch.setattr(files, "sync", refuse)
        with pytest.raises(StoreError, match=rf"{to}: The backup could not be written.*No space.*Mend: Make room"):
            back_up(stores.open(full), to)
    assert not to.exists()
    assert back_up(stores.open(full), to).whole
    assert [path.name for path in tmp_path.iterdir()] == ["backup"]


def test_a_damaged_store_is_backed_up_with_its_damage_named(full: Path, tmp_path: Path) -> None:
    path = shutil.copytree(full, tmp_path / "store")
    kept = min((path / "files").iterdir())
    kept.write_bytes(b"other")
    proof = back_up(stores.open(path), tmp_path / "backup")
    assert [damage.place for damage in proof.damages] == [f"files/{kept.name}"]
