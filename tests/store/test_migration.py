"""A store of an older version is brought to this one: whole, whatever cuts it short, and nothing is lost on the way."""

import json
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from monitor import schema
from monitor import store as stores
from monitor.errors import StoreError
from monitor.store import Store, files, marker, migration
from monitor.store.verify import verify

VERSION_1 = Path(__file__).parent / "data" / "store-version-1"
VERSION_2 = Path(__file__).parent / "data" / "store-version-2"


class Cut(BaseException):
    """The power goes."""


@pytest.fixture
def old(tmp_path: Path) -> Path:
    return shutil.copytree(VERSION_1, tmp_path / "store")


def content(path: Path) -> dict[str, bytes]:
    return {each.relative_to(path).as_posix(): each.read_bytes() for each in path.rglob("*") if each.is_file()}


def told(store: Store) -> list[object]:
    """All rows and records, as a reader gets them."""
    return [
        *(store.facts(name).to_pylist() for name in schema.FACTS),
        store.office.people().to_pylist(),
        store.office.decisions().to_pylist(),
        store.office.company(),
        store.assessment(),
        store.set_up_at,
        store.facts_sha256(),
    ]


def in_version_1(path: Path) -> tuple[object, ...]:
    """What the same store says of itself, read by hand."""
    with closing(sqlite3.connect(path / "office.sqlite")) as connection:
        people = connection.execute("SELECT person, name FROM people").fetchall()
        decisions = connection.execute("SELECT decision_id, why FROM decisions").fetchall()
        company = connection.execute("SELECT name, value FROM company").fetchall()
    return people, decisions, company, json.loads((path / "store.json").read_bytes())["created_at"]


def test_every_record_of_version_1_is_there_afterwards_and_the_store_is_whole(old: Path) -> None:
    people, decisions, company, created = in_version_1(old)
    before = content(old)
    store = stores.open(old)
    assert verify(store).damages == ()
    assert verify(store).remarks == ()
    assert [(row["person"], row["name"]) for row in store.office.people().to_pylist()] == people
    assert [(row["decision_id"], row["why"]) for row in store.office.decisions().to_pylist()] == decisions
    assert list(store.office.company().items()) == company
    assert store.set_up_at.isoformat() == created.replace("Z", "+00:00")
    after = content(old)
    same = [name for name in before if name.startswith(("inbox/", "compacted/", "files/")) or name.endswith(".parquet")]
    assert len(same) == 24
    assert all(after[name] == before[name] for name in same)
    assert not (old / migration.ASIDE).exists()
    assert json.loads(after["store.json"])["schema_version"] == marker.STORE_VERSION


def test_what_lay_in_the_log_of_changes_of_version_1_comes_along(old: Path) -> None:
    """As a process leaves it that was killed after its change was committed and before it was taken over."""
    writer = sqlite3.connect(old / "office.sqlite")
    writer.execute("PRAGMA journal_mode = WAL")
    writer.execute("PRAGMA wal_autocheckpoint = 0")
    writer.execute("INSERT INTO company VALUES ('contact', '555-0100')")
    writer.commit()
    left = shutil.copytree(old, old.with_name("left"))
    writer.close()
    assert (left / "office.sqlite-wal").stat().st_size
    assert stores.open(left).office.company()["contact"] == "555-0100"
    assert [path.name for path in left.glob("office*")] == ["office.sqlite"]
    assert verify(stores.open(left)).whole


def steps_of_a_migration(path: Path, patch: pytest.MonkeyPatch, cut_at: int) -> int:
    """Migrate; before the n-th change of the disk the power goes. How many changes there were."""
    done = 0

    def counted(real: Callable[..., object]) -> Callable[..., object]:
        def call(*arguments: object, **more: object) -> object:
            nonlocal done
            done += 1
            if done == cut_at:
                raise Cut
            return real(*arguments, **more)

        return call

    for owner, name in (
        (files, "move"),
        (files, "write_new"),
        (Path, "write_bytes"),
        (Path, "hardlink_to"),
        (shutil, "rmtree"),
    ):
        patch.setattr(owner, name, counted(getattr(owner, name)))
    stores.open(path)
    return done


def test_cut_short_anywhere_it_is_begun_again_or_finished(old: Path, tmp_path: Path) -> None:
    whole = told(stores.open(shutil.copytree(old, tmp_path / "whole")))
    with pytest.MonkeyPatch.context() as patch:
        steps = steps_of_a_migration(shutil.copytree(old, tmp_path / "counted"), patch, 0)
    assert steps > 12
    before = content(old)
    for cut_at in range(1, steps + 1):
        path = shutil.copytree(old, tmp_path / f"cut-{cut_at}")
        with pytest.MonkeyPatch.context() as patch, pytest.raises(Cut):
            steps_of_a_migration(path, patch, cut_at)
        left = content(path)
        if "migrating/READY" not in left and json.loads(left["store.json"])["schema_version"] == 1:
            assert {name: left[name] for name in before} == before  # nothing of it was touched
        store = stores.open(path)
        assert told(store) == whole
        assert cut_at % 4 or verify(store).damages == ()
        assert not (path / migration.ASIDE).exists()
        shutil.rmtree(path)


def test_an_assessment_of_version_2_keeps_its_results_and_its_ranks(tmp_path: Path) -> None:
    path = shutil.copytree(VERSION_2, tmp_path / "store")
    before = content(path)
    store = stores.open(path)
    assert verify(store).damages == ()
    found = store.assessment()
    assert found is not None
    assert [(row["house"], row["verdict"]) for row in found.wall_results.to_pylist()] == [
        ("DH-00", "holding"),
        ("DH-01", "holding"),
    ]
    assert {row["house"]: (row["rank"], row["why"]) for row in found.plan.to_pylist()} == {
        "DH-00": (2, "Later."),
        "DH-01": (1, "First."),
    }
    after = content(path)
    assert all(after[name] == before[name] for name in before if name.endswith(".parquet"))


def test_a_damaged_assessment_of_version_2_stays_damaged_and_stops_nothing(tmp_path: Path) -> None:
    path = shutil.copytree(VERSION_2, tmp_path / "store")
    next(path.glob("assessments/*/plan-*")).write_bytes(b"")
    store = stores.open(path)
    with pytest.raises(StoreError, match=r"assessment\.json.*Assess again"):
        store.assessment()
    assert store.facts("readings").num_rows == 8


def test_a_damaged_store_of_version_1_is_named_and_left_as_it_is(old: Path) -> None:
    for name, words in (("office.sqlite", "office records"), ("CURRENT.json", "damaged")):
        path = old / name
        whole = path.read_bytes()
        path.write_bytes(whole[: len(whole) // 2])
        with pytest.raises(StoreError, match=rf"{name}.*{words}.*Mend: Restore"):
            stores.open(old)
        assert json.loads((old / "store.json").read_bytes())["schema_version"] == 1
        path.write_bytes(whole)
    assert verify(stores.open(old)).whole


def test_an_older_store_that_can_only_be_read_says_what_to_do(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "is_read_only", lambda _: True)
    before = content(old)
    with pytest.raises(StoreError, match=r"older version, and read-only.*Mend: .*copy it"):
        stores.open(old)
    assert content(old) == before


def test_a_step_more_is_taken_after_the_others(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The hook for the version after this one: a step from each version to the next, taken in order."""
    taken = []

    def next_one(root: Path, new: Path) -> None:
        taken.append(marker.read(root).schema_version)
        (new / marker.FILE).write_bytes(marker.to_bytes(4, marker.read(root).created_at))

    with monkeypatch.context() as patch:
        patch.setattr(marker, "STORE_VERSION", 4)
        patch.setattr(migration, "STEPS", {**migration.STEPS, 3: next_one})
        migration.to_this_version(old)
    assert taken == [3]
    with pytest.raises(StoreError, match=r"does not know.*version 4.*version 3 or older.*Mend: Use the release"):
        stores.open(old)
