"""A disk that is full, whatever is written: a clear error, nothing acknowledged lost, nothing by half, and a retry."""

import os
import resource
import subprocess
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from datetime import date, timedelta
from pathlib import Path

import pytest
import small_store
from small_store import START, picture

from monitor import schema
from monitor import store as stores
from monitor.errors import BowError
from monitor.pipeline import assessing, intake, photo_intake, publishing, review, uploads
from monitor.store import Store
from monitor.store.verify import verify
from monitor.terms import Act, Step

NoRoom = Callable[[], AbstractContextManager[None]]
TODAY = START.date()
ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


@pytest.fixture(scope="module")
def disk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, NoRoom]]:
    """A folder, and the way to leave no room there: a small disk filled up where that may be mounted, else a limit."""
    folder = tmp_path_factory.mktemp("disk")
    mount = ["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", str(folder)]
    if not ROOT or subprocess.run(mount, capture_output=True, check=False).returncode:
        yield folder, limited
        return
    yield folder, lambda: filled(folder / "filler")
    subprocess.run(["umount", str(folder)], check=True)


@contextmanager
def limited() -> Iterator[None]:
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (64, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextmanager
def filled(filler: Path) -> Iterator[None]:
    with filler.open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(bytes(4096))
    yield
    filler.unlink()


@pytest.fixture(scope="module")
def room(disk: tuple[Path, NoRoom]) -> tuple[Store, NoRoom]:
    folder, no_room = disk
    store = small_store.made(folder / "store")
    assessing.assess(store, judged_on=TODAY, known_on=START)
    return store, no_room


def visit(store: Store) -> None:
    data = small_store.visit(date(2026, 1, 7))
    intake.take_visit(store, "n.csv", data, received_at=START, sender="T1", today=TODAY)


def decide(store: Store) -> None:
    when = {"due": None, "made_at": START, "today": TODAY}
    review.decide(store, "DH-01-N", Step.VISIT_SOONER, who="O1", why="why " * 2000, owner="O1", **when)


def rule(store: Store) -> None:
    reading = store.facts("readings")["reading_id"][0].as_py()
    review.rule(store, reading, Act.REJECT, who="O1", why="misread", made_at=START)


def photo(store: Store) -> None:
    shown = photo_intake.Shown("DH-01", "N", date(2024, 1, 10))
    given = [photo_intake.Given("IMG_1.png", lambda: picture(0))]
    photo_intake.tie(store, given, shown, who="O1", made_at=START)


def upload(store: Store) -> None:
    sent = [uploads.Sent("u.csv", small_store.visit(date(2026, 2, 7)))]
    found = uploads.preview(store, sent, account="T1", at=START, today=TODAY)
    uploads.confirm(store, found.upload_id, account="T1", at=START, today=TODAY)


WRITES: dict[str, Callable[[Store], object]] = {
    "ingest": visit,
    "compaction": Store.compact,
    "assess": lambda store: assessing.assess(store, judged_on=TODAY + timedelta(days=1), known_on=START),
    "reports": lambda store: publishing.publish(
        store, store.assessment(), store.path.parent / "pages", published_at=START
    ),
    "decision": decide,
    "ruling": rule,
    "photo": photo,
    "upload": upload,
    "company": lambda store: store.office.set_company({"name": "n" * 9000}),
    "settings": lambda store: store.save_settings(store.settings()),
}


def rows(store: Store) -> dict[str, int]:
    return {name: store.facts(name).num_rows for name in schema.FACTS} | {
        name: len(store.office.rows(name)) for name in ("decisions", "photos", "editions", "pages")
    }


@pytest.mark.parametrize("write", WRITES)
def test_what_a_full_disk_refuses_is_told_with_file_and_mend_and_done_once_there_is_room(
    room: tuple[Store, NoRoom], write: str
) -> None:
    store, no_room = room
    before = rows(store)
    with no_room(), pytest.raises(BowError) as refused:
        WRITES[write](store)
    assert str(store.path.parent) in str(refused.value.where)
    assert "room" in refused.value.mend or "space" in refused.value.mend
    assert rows(store) == before
    assert verify(store).damages == ()
    assert not list(store.path.parent.rglob("*.part"))
    assert not list(store.path.rglob("*.tmp"))
    WRITES[write](stores.open(store.path))
    assert verify(store).damages == ()
    if write not in ("compaction", "assess", "company", "settings"):
        assert rows(store) != before
