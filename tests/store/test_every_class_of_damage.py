"""`verify` finds damage of every class of byte and file, and says what is affected, what stands and what to do."""

import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import flips
import pyarrow.parquet as pq
import pytest
import small_store

from monitor import store as stores
from monitor.errors import StoreError
from monitor.results import Damage
from monitor.store import Store, generations
from monitor.store.verify import verify

Harm = Callable[[Path], None]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_store.full(tmp_path_factory.mktemp("damage") / "store").path


@pytest.fixture
def store(made: Path, tmp_path: Path) -> Store:
    return stores.open(shutil.copytree(made, tmp_path / "store"))


def flip(path: Path, place: int) -> None:
    data = bytearray(path.read_bytes())
    data[place] ^= 4
    path.write_bytes(data)


def flip_in(path: Path, words: bytes) -> None:
    flip(path, path.read_bytes().index(words) + 1)


def zeros(path: Path, start: int, length: int) -> None:
    data = bytearray(path.read_bytes())
    assert any(data[start : start + length])
    data[start : start + length] = bytes(length)
    path.write_bytes(data)


def page_of(path: Path) -> int:
    """Where the first page of data of a Parquet file begins."""
    return int(pq.ParquetFile(path).metadata.row_group(0).column(0).data_page_offset)


def footer_of(path: Path) -> int:
    """Where the footer of a Parquet file begins, its length standing before the last four bytes (format's README)."""
    data = path.read_bytes()
    return len(data) - 8 - int.from_bytes(data[-8:-4], "little")


def statistics_of(path: Path) -> int:
    """Where the footer says the least reading_id, as its statistics do."""
    least = pq.ParquetFile(path).metadata.row_group(0).column(0).statistics.min.encode()
    return path.read_bytes().index(least, footer_of(path))


IN_PARQUET: dict[str, Harm] = {
    "header": lambda path: flip(path, 1),
    "data page": lambda path: flip(path, page_of(path) + 40),
    "footer": lambda path: flip(path, footer_of(path) + 20),
    "statistics": lambda path: flip(path, statistics_of(path)),
    "length of the footer": lambda path: flip(path, -6),
    "hash of the rows": lambda path: flip_in(path, b"rows_sha256"),
    "who wrote it": lambda path: flip_in(path, b"parquet-cpp"),
    "zeros": lambda path: zeros(path, 400, 512),
    "cut": lambda path: path.write_bytes(path.read_bytes()[:-100]),
    "empty": lambda path: path.write_bytes(b""),
    "gone": Path.unlink,
}


def waiting(store: Store) -> Path:
    """A file of readings that no generation holds."""
    taken = set(generations.ledger(store.path, generations.pointer(store.path))["name"].to_pylist())
    [path] = [path for path in (store.path / "inbox" / "readings").iterdir() if path.stem not in taken]
    return path


def compacted(store: Store) -> Path:
    return store.path / "compacted" / generations.pointer(store.path).of("readings")[0].file


def assessed(store: Store) -> Path:
    return min((store.path / "assessments").glob("*/findings-*"))


def found(store: Store, place: str) -> list[Damage]:
    """What verify says of a place; there is something, and it is complete."""
    damages = [damage for damage in verify(store).damages if place in damage.place]
    assert damages
    assert all(damage.what and damage.affected and damage.stands and damage.mend for damage in damages)
    return damages


@pytest.mark.parametrize("where", [waiting, compacted])
@pytest.mark.parametrize("kind", IN_PARQUET)
def test_every_part_of_a_file_of_readings(store: Store, where: Callable[[Store], Path], kind: str) -> None:
    path = where(store)
    IN_PARQUET[kind](path)
    first = found(store, path.name)[0]
    whose = "DH-01-N (2025-09-01)" if where is waiting else "of every wall"
    assert whose in first.affected
    assert "files/" in first.mend


def test_every_part_of_an_assessment_is_found_and_can_be_made_again(store: Store) -> None:
    path = assessed(store)
    whole = path.read_bytes()
    for kind in IN_PARQUET.keys() - {"statistics", "gone", "data page"}:
        IN_PARQUET[kind](path)
        assert "Assess again" in found(store, path.name)[0].mend
        path.write_bytes(whole)
    shutil.rmtree(path.parent)
    assert "on record is missing" in found(store, f"assessments/{path.parent.name}")[0].what


def in_sqlite(store: Store, sql: str) -> None:
    """Change the database by hand, as some other program might."""
    with closing(sqlite3.connect(store.office.path)) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(sql)
        connection.commit()


IN_SQLITE: dict[str, tuple[Harm, str]] = {
    "header": (lambda path: flip(path, 17), "damaged"),
    "version": (lambda path: flip(path, 63), "another version"),
    "kind of a page": (lambda path: flip(path, 4096), ""),
    "a value": (lambda path: flip_in(path, b"tried"), "not as it was written"),
    "a page on the ledger": (lambda path: flip_in(path, b"monthly"), "not as it was written"),
    "zeros": (lambda path: zeros(path, 4096 * (path.stat().st_size // 4096 - 1), 4096), ""),
    "cut": (lambda path: path.write_bytes(path.read_bytes()[:-4096]), ""),
    "empty": (lambda path: path.write_bytes(b""), "damaged"),
    "gone": (Path.unlink, "missing"),
}


@pytest.mark.parametrize("kind", IN_SQLITE)
def test_every_part_of_the_office_records(store: Store, kind: str) -> None:
    harm, words = IN_SQLITE[kind]
    harm(store.office.path)
    assert any(words in damage.what for damage in found(store, "office.sqlite"))


@pytest.mark.parametrize(
    ("sql", "words"),
    [
        ("DELETE FROM pages WHERE page = 'index.html'", "rows were written to pages"),
        ("UPDATE pages SET sha256 = page", "not as it was written"),
        ("UPDATE editions SET company = '{}'", "not as it was written"),
        ("INSERT INTO pages SELECT 'x' || report_number, page, sha256, edition_id, house, wall, supersedes, known_at, "
         "seal FROM pages", "not as it was written"),
        ("UPDATE tally SET number = number - 1 WHERE name = 'turns'", "older than it was"),
        ("DROP TABLE decisions", "the table decisions is not there"),
    ],
)  # fmt: skip
def test_records_changed_by_hand(store: Store, sql: str, words: str) -> None:
    in_sqlite(store, sql)
    assert any(words in damage.what for damage in found(store, "office.sqlite"))


def test_an_older_copy_of_the_office_records_in_place_of_the_newer(store: Store) -> None:
    older = store.office.path.read_bytes()
    store.office.set_company({"name": "another firm"})
    store.office.path.write_bytes(older)
    assert "older than it was" in found(store, "office.sqlite")[0].what


def test_a_log_of_another_program_beside_the_office_records_is_never_taken_in(store: Store) -> None:
    (store.path / "office.sqlite-wal").write_bytes(b"\x37\x7f\x06\x82" + bytes(100))
    found(store, "office.sqlite")
    with pytest.raises(StoreError, match=r"office\.sqlite-wal.*did not make.*Mend"):
        store.office.company()


OTHERS = {
    "received file": "files/*",
    "photo": "photos/*/*",
    "card of an upload": "uploads/*/card.json",
    "file of an upload": "uploads/*/" + "?" * 64,
    "card of an assessment": "assessments/*/assessment.json",
    "pointer": "CURRENT.json",
    "settings": "settings.json",
    "marker": "store.json",
    "witness": "witness.log",
}


@pytest.mark.parametrize("kind", OTHERS)
def test_every_other_file_flipped_zeroed_cut_or_gone(store: Store, kind: str) -> None:
    path = min(store.path.glob(OTHERS[kind]))
    whole, place = path.read_bytes(), path.relative_to(store.path).as_posix()
    for harm in (lambda: flip(path, len(whole) // 2), lambda: zeros(path, 3, len(whole) // 2), path.unlink):
        harm()
        if path.exists() or kind != "card of an upload":  # without one an upload was broken off
            found(store, place)
        path.write_bytes(whole)
    path.write_bytes(whole[: len(whole) // 2])
    proof = verify(store)
    assert [each for each in (*(damage.place for damage in proof.damages), *proof.remarks) if place in each]
    path.write_bytes(whole)
    assert verify(store).whole


def test_every_file_but_doubles_is_missed_when_it_is_gone(store: Store) -> None:
    taken = generations.ledger(store.path, generations.pointer(store.path))["name"].to_pylist()
    for path in flips.files_of(store):
        if path.stem in taken or path.parent.parent.name == "uploads":  # an upload without its card was broken off
            continue
        kept = path.rename(path.with_name("kept.lock"))
        assert verify(store).damages, path
        kept.rename(path)


def test_a_witness_that_lost_its_lines_is_found(store: Store) -> None:
    path = store.path / "witness.log"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[5:]))
    assert "lines of it are missing" in found(store, "witness.log")[0].what


def test_two_files_swapped(store: Store) -> None:
    for first, second in (
        sorted((store.path / "files").iterdir())[:2],
        sorted((store.path / "compacted").glob("*.parquet"))[:2],
        (waiting(store), compacted(store)),
        (store.path / "settings.json", store.path / "store.json"),
    ):
        one, other = first.read_bytes(), second.read_bytes()
        first.write_bytes(other)
        second.write_bytes(one)
        for path in (first, second):
            found(store, path.name)
        first.write_bytes(one)
        second.write_bytes(other)


def test_an_assessment_under_another_day(store: Store) -> None:
    [folder] = (store.path / "assessments").glob("2*")
    folder.rename(folder.with_name("2026-04-01"))
    assert "another day" in found(store, "assessments/2026-04-01")[0].what
    found(store, "assessments/2026-05-01")


@pytest.mark.parametrize(
    "name",
    ["notes.txt", "compacted/more.parquet", "assessments/2026-05-01/x.csv", "backup/store.json", "office.sqlite-shm"],
)
def test_files_that_do_not_belong_there(store: Store, name: str) -> None:
    path = store.path / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(b"x")
    assert "not a file of the store" in found(store, name)[0].what


def test_rows_that_nobody_acknowledged_are_remarked_on_and_sent_again_are_acknowledged(store: Store) -> None:
    """As after a process that was killed between its deed and its line."""
    path = store.path / "witness.log"
    lines = path.read_bytes().splitlines(keepends=True)
    last = next(line for line in reversed(lines) if waiting(store).stem.encode() in line)
    path.write_bytes(b"".join(line for line in lines if line != last))
    proof = verify(store)
    assert proof.whole
    assert any(waiting(store).name in remark and "cut off" in remark for remark in proof.remarks)
    assert not store.add("readings", pq.read_table(waiting(store)).replace_schema_metadata())
    assert verify(store).remarks == ()


def test_bits_flipped_anywhere_are_found_or_change_nothing(store: Store) -> None:
    """A sample of what `benchmarks/flips.py` does to every byte."""
    chance = random.Random(20261126)
    for name in ("CURRENT.json", "office.sqlite", "witness.log", waiting(store).name):
        [file] = flips.files_of(store, name)
        came = [verdict for _, verdict in flips.flipped(store, file, file.stat().st_size // 6, chance)]
        assert flips.UNSEEN not in came
        assert flips.FOUND in came or name == "office.sqlite"
