"""What is found of a few walls without the rest is what a reading of everything finds."""

import random
from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pytest
from msgspec import structs
from store_rows import START, at, reading, readings, ruling, table

from monitor import store as stores
from monitor.errors import StoreError
from monitor.store import Store, compaction, finding, generations, inbox, parquet, witness
from monitor.store.kept_rows import KeptRows
from monitor.store.tiers import is_of
from monitor.store.verify import verify

HOUSES, WALLS = ("DH-01", "DH-02", "dh-02", "Ölhaus", "ÖLHAUS"), ("N", "E")


@pytest.fixture(autouse=True)
def small_buckets(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compaction, "ROWS_PER_BUCKET", 8)
    monkeypatch.setattr(parquet, "_ROWS_TOGETHER", 3)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return stores.create(tmp_path / "store", company={}, created_at=START)


def mended(seed: int) -> list[pa.Table]:
    """Adds of readings that mend each other within walls and across them, in chains, sent and judged at any time."""
    draw = random.Random(seed)
    rows = []
    for number in range(40):
        mends = f"{draw.randrange(number):016x}" if number and draw.random() < 0.5 else ""
        place = {"house": draw.choice(HOUSES), "wall": draw.choice(WALLS)}
        state = draw.choice(("used", "used", "held", "rejected"))
        rows.append(reading(number, **place, mends=mends, state=state, known_at=at(draw.randrange(50))))
        if draw.random() < 0.2:  # judged again later
            rows.append(rows[-1] | {"state": "used", "known_at": at(60)})
    draw.shuffle(rows)
    return [table("readings", *rows[start : start + 9]) for start in range(0, len(rows), 9)]


@pytest.mark.parametrize("seed", range(6))
def test_readings_of_a_wall_are_those_of_all_readings_whoever_mends_them(store: Store, seed: int) -> None:
    for number, rows in enumerate(mended(seed)):
        store.add("readings", rows)
        if number in (1, 3):
            store.compact()
    store.add("rulings", table("rulings", ruling(1, 3, "reject"), ruling(2, 5, "release")))
    assert generations.pointer(store.path).buckets > 2
    every = store.readings()
    walls = [(house, wall) for house in HOUSES for wall in WALLS]
    for some in (*([wall] for wall in walls), walls[::2]):
        assert store.readings(walls=some).equals(every.filter(is_of(every, some))), some


def test_walls_of_houses_are_found_whatever_their_case(store: Store) -> None:
    for number, house in enumerate(HOUSES):
        store.add("walls", table("walls", {"house": house, "wall": "N"}))
        store.add("readings", readings(number, house=house, wall="E"))
        if number == 2:
            store.compact()
    store.add("houses", table("houses", {"house": "DH-09"}))
    for house in HOUSES:
        alike = [each for each in HOUSES if each.casefold() == house.casefold()]
        walls, houses = store.walls_of([house.swapcase()])
        assert walls == sorted((each, wall) for each in alike for wall in WALLS)
        assert houses == sorted(alike)
    assert store.walls_of(["dh-09"]) == ([("DH-09", "")], ["DH-09"])
    store.add("readings", readings(9, house="DH-09", wall="", state="rejected"))
    assert store.walls_of(["dh-09"]) == ([("DH-09", "")], ["DH-09"])
    assert store.walls_of(["DH-0"]) == ([], [])


def test_rows_among_texts_are_those_of_the_whole_table(store: Store) -> None:
    store.add("readings", readings(*range(30)))
    store.compact()
    store.add("readings", readings(*range(30, 40)))
    every = store.facts("readings")
    wanted = ["DH-00", "DH-03", "DH-99"]
    found = store.facts("readings", among=("house", wanted))
    assert found.equals(every.filter(pa.compute.is_in(every["house"], value_set=pa.array(wanted))))
    assert 0 < found.num_rows < every.num_rows


def test_what_was_asked_before_is_answered_from_the_files_that_there_are_now(store: Store) -> None:
    wall = {"house": "DH-01", "wall": "N"}

    def number() -> int:
        return store.facts("readings", walls=[("DH-01", "N")]).num_rows

    assert (number(), number()) == (0, 0)
    other = stores.open(store.path)
    for count in range(1, 6):  # from elsewhere, and now and then compacted there
        other.add("readings", table("readings", reading(count, **wall)))
        assert (number(), number()) == (count, count)
        if count % 2:
            other.compact()
            assert (number(), number()) == (count, count)
    assert store.facts("readings", walls=[]).num_rows == store.facts("readings", among=("house", [])).num_rows == 0
    for columns in (("wall", "house"), ("house", "wall"), ("house", "wall", "mark")):
        assert store.tiers.rows("readings", [("DH-01", "N")], columns=columns).column_names == [*columns]
    assert number() == 5


def test_an_add_that_was_compacted_and_swept_away_is_known_to_be_in(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compaction, "GRACE_SECONDS", -1.0)
    for number in range(12):
        store.add("readings", readings(number))
        store.compact()
    assert len(inbox.names(store.path, "readings")) < 4
    for number in range(12):
        assert not stores.open(store.path).add("readings", readings(number))
    assert store.facts("readings").num_rows == 12


def derived(store: Store) -> Iterator[Path]:
    for part in generations.pointer(store.path).derived:
        yield store.path / generations.FOLDER / part.file


def test_what_rows_are_found_by_is_proven_and_read_past_where_it_is_damaged(store: Store) -> None:
    for number, rows in enumerate(mended(3)):
        store.add("readings", rows)
        if number == 3:
            store.compact()
    every = store.readings()
    names = sorted(path.name.partition("-")[0] for path in derived(store))
    assert names == ["places", "strays", "taken"]
    for path in derived(store):
        data = path.read_bytes()
        path.write_bytes(data[: len(data) // 2])
        assert str(path.relative_to(store.path)) in [damage.place for damage in verify(store).damages]
        again = stores.open(store.path)
        assert again.walls_of(["dh-01"])[0] == [("DH-01", "E"), ("DH-01", "N")]
        assert again.readings(walls=[("DH-01", "N")]).equals(every.filter(is_of(every, [("DH-01", "N")])))
        path.write_bytes(data)
    for path in derived(store):
        path.unlink()
    store.compact()
    assert store.readings(walls=[("DH-02", "N")]).equals(every.filter(is_of(every, [("DH-02", "N")])))
    assert all(path.exists() for path in derived(store))


def test_places_that_are_not_those_of_the_rows_are_named(store: Store) -> None:
    store.add("readings", readings(1, 2, 3))
    store.compact()
    at = generations.pointer(store.path)
    fewer = finding.places([readings(1, 2)])
    data = parquet.to_bytes("places", fewer, compaction.canonical.digests("places", fewer)[1])
    name = f"places-0000-{generations.files.sha256(data)[:16]}.parquet"
    (store.path / generations.FOLDER / name).write_bytes(data)
    part = generations.PartFile(
        table="places", bucket=0, file=name, sha256=generations.files.sha256(data), rows=fewer.num_rows
    )
    others = tuple(each for each in at.derived if each.table != "places")
    generations.point(store.path, structs.replace(at, derived=(*others, part)))
    assert any("not what the compacted rows make it" in damage.what for damage in verify(store).damages)


def test_kept_pieces_are_bounded_and_never_those_of_another_file(tmp_path: Path) -> None:
    kept = KeptRows(most_bytes=1000)
    path = tmp_path / "piece"
    path.write_bytes(b"one")
    made = []

    def rows(number: int) -> pa.Table:
        made.append(number)
        return pa.table({"a": pa.array([number] * 100, pa.int32())})

    assert kept.of(path, "a", lambda: rows(1))["a"][0].as_py() == 1
    assert kept.of(path, "a", lambda: rows(2))["a"][0].as_py() == 1
    assert kept.of(path, "b", lambda: rows(3))["a"][0].as_py() == 3
    assert kept.of(path, "c", lambda: rows(4))["a"][0].as_py() == 4  # and the first has to go
    assert kept.of(path, "a", lambda: rows(5))["a"][0].as_py() == 5
    path.write_bytes(b"another")
    assert kept.of(path, "a", lambda: rows(6))["a"][0].as_py() == 6
    assert made == [1, 3, 4, 5, 6]


def test_which_adds_the_ledger_has_is_found_without_reading_all_of_it(store: Store) -> None:
    """Adds of many moments, so that the ledger is of many packs; some asked for are in none of them."""
    for number in range(0, 60, 6):
        rows = [reading(number + one, known_at=at(number + one)) for one in range(6)]
        store.add("readings", table("readings", *rows))
    store.compact()
    ledger = generations.pointer(store.path).ledger
    assert ledger is not None
    there = sorted(set(generations.read_part(store.path, ledger)["name"].to_pylist()))
    assert len(there) == 10
    absent = [name[::-1] for name in there]
    found = generations.taken_among(store.path, ledger, "readings", [*there[::2], *absent])
    assert found == set(there[::2])
    assert generations.taken_among(store.path, ledger, "readings", absent) == set()
    (store.path / "compacted" / ledger.file).write_bytes(b"no Parquet")
    with pytest.raises(StoreError, match="damaged"):
        generations.taken_among(store.path, ledger, "readings", there)


def opened(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """The files that are read whole from now on."""
    found: list[Path] = []
    before = parquet._read

    def read(path: Path, *rest: object) -> object:
        found.append(path)
        return before(path, *rest)

    monkeypatch.setattr(parquet, "_read", read)
    return found


WALL = ("DH-07", "N")


def waiting_adds(store: Store) -> None:
    """Twelve adds of readings of as many houses, two of the register, and one that speaks of no house."""
    for number in range(12):
        store.add("readings", readings(number, house=f"DH-{number:02}", wall="N"))
    store.add("walls", table("walls", {"house": "DH-07", "wall": "N"}, {"house": "DH-07", "wall": "E"}))
    store.add("houses", table("houses", {"house": "DH-08"}))
    store.add("instruments", table("instruments", {"instrument": "S1"}))


def test_of_adds_that_wait_those_of_other_walls_are_not_opened(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    waiting_adds(store)
    names = opened(monkeypatch)
    again = stores.open(store.path)
    assert again.walls_of(["dh-07"])[0] == [("DH-07", "E"), WALL]
    assert again.walls_of(["dh-08"]) == ([("DH-08", ""), ("DH-08", "N")], ["DH-08"])
    assert names == []
    assert again.readings(walls=[WALL]).num_rows == again.current("walls", walls=[WALL]).num_rows == 1
    assert again.facts("readings", among=("house", ["DH-03"])).num_rows == 1
    assert len(names) == 3
    assert again.facts("readings").num_rows == 12
    assert len(set(names)) == 13


@pytest.mark.parametrize("damage", ["untold", "broken", "gone"])
def test_an_add_that_the_witness_says_nothing_of_is_opened(
    store: Store, monkeypatch: pytest.MonkeyPatch, damage: str
) -> None:
    waiting_adds(store)
    told = store.path / witness.FILE
    if damage == "gone":
        told.unlink()
    else:
        lines = told.read_bytes().splitlines(keepends=True)
        told.write_bytes(b"".join(lines if damage == "broken" else []).replace(b'"DH-07"', b'"DH-77"'))
    names = opened(monkeypatch)
    again = stores.open(store.path)
    assert again.walls_of(["dh-07"])[0] == [("DH-07", "E"), WALL]
    assert again.walls_of(["dh-77"])[0] == []
    assert again.readings(walls=[WALL]).num_rows == 1
    assert len(set(names)) == (2 if damage == "broken" else 14)


def test_a_damaged_add_stands_in_the_way_of_its_own_walls_alone(store: Store) -> None:
    waiting_adds(store)
    (seven,) = [
        name for name in inbox.names(store.path, "readings")
        if parquet.read(inbox.path_of(store.path, "readings", name), "readings")["house"][0].as_py() == "DH-07"
    ]  # fmt: skip
    inbox.path_of(store.path, "readings", seven).write_bytes(b"no Parquet")
    again = stores.open(store.path)
    assert again.readings(walls=[("DH-03", "N")]).num_rows == 1
    with pytest.raises(StoreError, match="damaged"):
        again.readings(walls=[WALL])
    with pytest.raises(StoreError, match="damaged"):
        again.readings()


def test_an_add_of_too_many_rows_to_tell_of_is_opened(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inbox, "ABOUT_LIMIT", 2)
    store.add("readings", readings(1, 2, 3, house="DH-02", wall="N"))
    assert stores.open(store.path).walls_of(["dh-02"])[0] == [("DH-02", "N")]
    assert stores.open(store.path).readings(walls=[("DH-02", "N")]).num_rows == 3


def test_of_some_walls_those_with_a_text_are_those_of_all_that_have_it(store: Store) -> None:
    for rows in mended(seed=2):
        store.add("readings", rows)
    store.compact()
    store.add("readings", table("readings", reading(90, house="DH-01", wall="E", state="held")))
    every = store.walls_with("readings", "state", ["held"])
    assert len(every) > 3
    walls = [(house, wall) for house in HOUSES for wall in WALLS]
    for some in (walls, *([wall] for wall in walls), []):
        assert store.walls_with("readings", "state", ["held"], some) == every & set(some), some


def test_the_newest_moment_is_found_before_lines_of_any_length(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(witness, "_TAIL", 64)  # no line is as short
    store.add("readings", readings(1))
    store.add("readings", readings(*range(2, 40), known_at=at(1)))
    assert store.newest_known() == at(1)
    store.office.set_company({"name": "the demo firm"})
    assert store.newest_known() == at(1)
    told = store.path / witness.FILE
    later = at(1000).isoformat().encode()
    told.write_bytes(told.read_bytes().replace(at(1).isoformat().encode(), later))
    assert later in told.read_bytes()
    assert store.newest_known() == START  # a line that is not as it was written tells no time
