"""A store that can only be read: what reads works on it, what writes says so plainly, and nothing in it changes."""

import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import small_store
from small_store import START, TODAY

from monitor import schema
from monitor import store as stores
from monitor.errors import StoreError
from monitor.pipeline import assessing, intake, publishing, review, uploads
from monitor.store import Store
from monitor.store.verify import verify
from monitor.terms import Act

LOCKED = 0o555


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder that can be read only, mounted so where that may be done (root minds no mode), else by its modes."""
    folder = tmp_path_factory.mktemp("read-only")
    small_store.full(folder / "store")
    mounted = all(
        subprocess.run(["mount", *how, str(folder)], capture_output=True, check=False).returncode == 0
        for how in (("--bind", str(folder)), ("-o", "remount,ro,bind"))
    )
    if not mounted:
        for path in folder.rglob("*"):
            path.chmod(LOCKED if path.is_dir() else 0o444)
    yield folder
    if mounted:
        subprocess.run(["umount", str(folder)], check=True)
    else:
        for path in (path for path in folder.rglob("*") if path.is_dir()):
            path.chmod(0o755)


@pytest.fixture
def store(place: Path) -> Store:
    return stores.open(place / "store")


COMMANDS = {
    "flagged": (),
    "wall": ("DH-01-N",),
    "news": (),
    "plan": (),
    "verify": (),
    "export": ("--to", "export"),
    "reports": ("--to", "pages"),
    "pack": ("DH-01-N", "--to", "wall.zip"),
}


def test_every_command_that_reads_works(store: Store, tmp_path: Path) -> None:
    """In one process, as each would cost a second to start."""
    script = (
        "import sys\n"
        "from monitor.cli import commands\n"
        f"for name, rest in {COMMANDS!r}.items():\n"
        f"    commands()([name, *rest, '--store', {str(store.path)!r}], standalone_mode=False)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, cwd=tmp_path, timeout=120
    )
    assert done.returncode == 0, done.stderr
    assert "read-only" not in done.stderr  # the pages of this very edition are on the ledger already
    assert (tmp_path / "pages" / "index.html").is_file()
    assert "no damage found" in done.stderr


def test_pages_that_the_ledger_does_not_have_are_written_and_it_is_said_that_it_does_not(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    later = assessing.newest(store)
    monkeypatch.setattr(publishing, "__version__", "another")
    monkeypatch.setattr("monitor.pipeline.editions.__version__", "another")
    published = publishing.publish(store, later, tmp_path / "pages", published_at=START.replace(year=2027))
    assert published.files[0].is_file()
    assert "not on its ledger" in published.unrecorded


def test_everything_that_writes_says_that_the_store_is_read_only(store: Store) -> None:
    before = sorted((path, path.stat().st_size) for path in store.path.rglob("*"))
    sent = small_store.visit(TODAY)
    reading = store.facts("readings")["reading_id"][2].as_py()
    for write in (
        lambda: intake.take_visit(store, "n.csv", sent, received_at=START, sender="T1", today=TODAY),
        store.compact,
        lambda: assessing.assess(store, judged_on=TODAY, known_on=START),
        lambda: store.office.set_company({"name": "another"}),
        lambda: review.rule(store, reading, Act.REJECT, who="O1", why="w", made_at=START),
        lambda: uploads.preview(store, [uploads.Sent("n.csv", sent)], account="O1", at=START, today=TODAY),
        lambda: store.save_settings(store.settings()),
    ):
        with pytest.raises(StoreError, match=r"read-only.*Mend: Make the store's folder writable"):
            write()
    assert sorted((path, path.stat().st_size) for path in store.path.rglob("*")) == before
    assert verify(store).whole


def test_a_change_that_was_broken_off_is_not_seen_where_it_cannot_be_taken_back(place: Path, tmp_path: Path) -> None:
    """Killed in the middle of a change, a store is put on a disk that can only be read."""
    path = shutil.copytree(place / "store", tmp_path / "store")
    for each in (path, *path.rglob("*")):
        each.chmod(0o755 if each.is_dir() else 0o644)
    names = stores.open(path).office.company()
    killed = (
        "import os, sqlite3\n"
        f"c = sqlite3.connect({str(path / 'office.sqlite')!r}, isolation_level=None)\n"
        "c.execute('PRAGMA cache_size = 1')\n"
        "c.execute('BEGIN IMMEDIATE')\n"
        "c.execute(\"UPDATE company SET value = 'half of it'\")\n"
        "c.execute('CREATE TABLE filler (x)')\n"
        "c.executemany('INSERT INTO filler VALUES (?)', [('x' * 3000,)] * 50)\n"
        "os._exit(9)\n"
    )
    subprocess.run([sys.executable, "-c", killed], check=False)
    assert b"half of it" in (path / "office.sqlite").read_bytes()
    assert (path / "office.sqlite-journal").stat().st_size
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("monitor.store.office.is_read_only", lambda _: True)
        assert stores.open(path).office.company() == names
        assert b"half of it" in (path / "office.sqlite").read_bytes()
    assert stores.open(path).office.company() == names
    assert {name: stores.open(path).facts(name).num_rows for name in schema.FACTS}["readings"]
    assert verify(stores.open(path)).whole
