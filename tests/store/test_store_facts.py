"""Laws of the facts: added once, in any order, as known on a moment, compacted or not."""

import hashlib
import subprocess
import sys
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from store_rows import START, at, reading, readings, row, table

from monitor import schema
from monitor import store as stores
from monitor.errors import StoreError
from monitor.store import Store, canonical, compaction, facts, generations


def fresh(path: Path) -> Store:
    return stores.create(path, company={}, created_at=START)


def test_what_is_added_comes_back_as_it_was(store: Store) -> None:
    rows = readings(1, 2, 3)
    assert store.add("readings", rows)
    back = store.facts("readings")
    assert back.schema.equals(schema.READINGS, check_metadata=True)
    assert sorted(back.to_pylist(), key=lambda r: r["reading_id"]) == rows.to_pylist()


def test_every_table_of_facts_can_be_added_to_and_read_back_before_and_after_compaction(store: Store) -> None:
    values = {"real": 1.25, "whole": 3, "date": date(2025, 2, 28), "flag": True, "text": "ü ½ \n,"}
    kinds = {pa.float64(): "real", pa.int32(): "whole", pa.date32(): "date", pa.bool_(): "flag", pa.string(): "text"}
    for name, columns in schema.FACTS.items():
        full = {field.name: values[kinds[field.type]] for field in columns if field.type in kinds}
        rows = table(name, full, {key: value for key, value in full.items() if key in ("house", "wall")})
        assert store.add(name, rows)
        assert store.facts(name).equals(canonical.ordered(rows))
    store.compact()
    for name in schema.FACTS:
        assert store.facts(name).num_rows == 2


def test_the_same_content_again_is_a_no_op_whenever_it_becomes_known_and_in_whatever_order(store: Store) -> None:
    assert store.add("readings", readings(1, 2, 3))
    before = store.facts("readings")
    assert not store.add("readings", readings(1, 2, 3))
    assert not store.add("readings", readings(3, 1, 2, known_at=at(9)))
    assert store.facts("readings").equals(before)
    assert store.compact()
    assert not store.add("readings", readings(2, 1, 3, known_at=at(10)))
    assert not stores.open(store.path).add("readings", readings(2, 1, 3))
    assert store.facts("readings").equals(before)


def test_what_the_register_said_first_can_be_said_again_after_something_else_was_said(store: Store) -> None:
    for day, length_mm in ((1, 9000.0), (2, 9100.0), (3, 9000.0)):
        wall = {"house": "DH-01", "wall": "N", "length_mm": length_mm, "known_at": at(day)}
        assert store.add("walls", table("walls", wall))
        assert store.current("walls")["length_mm"].to_pylist() == [length_mm]


def test_content_that_differs_in_any_one_cell_is_another_add(store: Store) -> None:
    store.add("readings", readings(1))
    others = [
        {"note": "x"},
        {"deflection_mm": None},
        {"deflection_mm": 0.0},
        {"value_raw": "1 3/16i", "unit": "n"},
        {"visit_date": date(2025, 1, 3)},
        {"setup": 0},
    ]
    assert all(store.add("readings", readings(1, **other)) for other in others)
    assert store.facts("readings").num_rows == 1 + len(others)


def test_minus_nought_and_nought_are_the_same_content() -> None:
    minus, plus = (table("readings", reading(1, deflection_mm=value)) for value in (-0.0, 0.0))
    assert canonical.digests("readings", minus) == canonical.digests("readings", plus)


def test_the_content_hash_does_not_see_chunks_or_slices() -> None:
    rows = readings(*range(20), note="n")
    chunked = pa.concat_tables([rows.slice(0, 7), rows.slice(7, 6), rows.slice(13)])
    sliced = pa.concat_tables([readings(99), rows]).combine_chunks().slice(1)
    assert canonical.digests("readings", chunked) == canonical.digests("readings", rows)
    assert canonical.digests("readings", sliced) == canonical.digests("readings", rows)


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(order=st.permutations(range(6)), cut=st.integers(0, 6), more=st.integers(1, 3))
def test_the_order_of_adds_and_compactions_between_them_change_nothing(
    tmp_path_factory: pytest.TempPathFactory, order: list[int], cut: int, more: int
) -> None:
    def adds(number: int) -> pa.Table:
        return readings(*range(number * 5, number * 5 + 5), known_at=at(number))

    plain, mixed = (fresh(tmp_path_factory.mktemp("s") / name) for name in ("plain", "mixed"))
    for number in range(6):
        plain.add("readings", adds(number))
    for place, number in enumerate(order):
        mixed.add("readings", adds(number))
        if place % more == 0 and place < cut:
            mixed.compact()
    assert mixed.facts("readings").equals(plain.facts("readings"))
    assert mixed.facts_sha256() == plain.facts_sha256()
    assert mixed.facts_sha256(at(3)) == plain.facts_sha256(at(3)) != plain.facts_sha256(at(4))


def test_facts_as_known_on_a_moment_leave_out_what_came_later(store: Store) -> None:
    for day in range(4):
        store.add("readings", readings(day, known_at=at(day)))
    shas = {store.facts_sha256(at(day)) for day in range(4)}
    for _ in range(2):
        assert [store.facts("readings", known_on=at(day)).num_rows for day in (-1, 0, 0.5, 3)] == [0, 1, 1, 4]
        assert {store.facts_sha256(at(day)) for day in range(4)} == shas
        store.compact()
    elsewhere = at(1).astimezone(timezone(timedelta(hours=9)))
    assert store.facts("readings", known_on=elsewhere).num_rows == 2
    assert len(shas) == 4
    assert store.facts_sha256() == store.facts_sha256(at(3))


def test_the_hash_is_that_of_the_lines_of_the_ledger_as_texts_in_their_order(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Written out plainly: it stands on records, and never changes."""
    monkeypatch.setattr("monitor.store.facts._LINES", 3)
    for day in range(9):
        known = [at(day), at(day + 0.5) + timedelta(microseconds=day % 2)]
        rows = [readings(*range(20 * day, 20 * day + 2 + 9 * (day % 3)), known_at=moment) for moment in known]
        store.add("readings", pa.concat_tables([rows[0], rows[1].slice(0, 1)]))
    lines = sorted(tuple(map(str, row.values())) for row in store.tiers.ledger().to_pylist())
    assert len(lines) == 18
    told = "".join("|".join(line) + "\n" for line in lines)
    assert store.facts_sha256() == hashlib.sha256(told.encode()).hexdigest()


def test_a_moment_without_a_time_zone_is_refused(store: Store) -> None:
    with pytest.raises(StoreError, match="time zone"):
        store.facts("readings", known_on=datetime(2026, 1, 1))  # noqa: DTZ001
    with pytest.raises(StoreError, match="time zone"):
        store.facts_sha256(datetime(2026, 1, 1))  # noqa: DTZ001


def test_later_adds_do_not_change_the_hash_of_what_was_known_before(store: Store) -> None:
    store.add("readings", readings(1, known_at=at(1)))
    before = store.facts_sha256(at(2))
    store.add("walls", table("walls", {"house": "DH-01", "wall": "N", "known_at": at(5)}))
    assert store.facts_sha256(at(2)) == before != store.facts_sha256()


def test_the_hash_sees_when_a_fact_became_known(tmp_path: Path) -> None:
    one, two = fresh(tmp_path / "one"), fresh(tmp_path / "two")
    one.add("readings", readings(1, known_at=at(1)))
    two.add("readings", readings(1, known_at=at(2)))
    assert one.facts_sha256() != two.facts_sha256()


def test_current_is_the_row_of_each_key_that_was_known_latest(store: Store) -> None:
    def wall(unit: str, day: float, name: str = "N") -> pa.Table:
        return table("walls", {"house": "DH-01", "wall": name, "unit": unit, "known_at": at(day)})

    store.add("walls", wall("mm", 5))
    store.add("walls", wall("in", 1))
    store.add("walls", wall("in", 2, "E"))
    assert [(r["wall"], r["unit"]) for r in store.current("walls").to_pylist()] == [("E", "in"), ("N", "mm")]
    assert [(r["wall"], r["unit"]) for r in store.current("walls", at(4)).to_pylist()] == [("E", "in"), ("N", "in")]
    assert store.current("walls", at(0)).num_rows == 0


def test_facts_of_some_walls_are_those_rows_of_all_facts(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compaction, "ROWS_PER_BUCKET", 20)
    store.add("readings", readings(*range(100)))
    store.compact()
    store.add("readings", readings(*range(100, 130)))
    assert generations.pointer(store.path).buckets == 8
    wanted = {("DH-01", "N"), ("DH-02", "S"), ("DH-99", "N")}
    every = store.facts("readings").to_pylist()
    assert store.facts("readings", walls=wanted).to_pylist() == [
        each for each in every if (each["house"], each["wall"]) in wanted
    ]
    assert store.facts("readings", walls=[]).num_rows == 0
    assert store.facts("houses", walls=wanted).num_rows == 0  # a table without walls is read whole


def test_a_wall_never_straddles_buckets_however_the_store_grows(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compaction, "ROWS_PER_BUCKET", 30)
    counts = []
    for first in range(0, 200, 50):
        store.add("readings", readings(*range(first, first + 50), known_at=at(first)))
        store.add(
            "marks", table("marks", *({"house": f"DH-{n % 7:02}", "wall": "N", "mark": f"{n}"} for n in (1, first)))
        )
        store.compact()
        pointer = generations.pointer(store.path)
        counts.append(pointer.buckets)
        for name in ("readings", "marks"):
            for part in pointer.of(name):
                rows = generations.read_part(store.path, part)
                assert set(generations.bucket_numbers(rows, pointer.buckets).tolist()) == {part.bucket}
        assert store.facts("readings").num_rows == first + 50
    assert counts == [2, 4, 8, 8]


def test_buckets_hold_every_registered_wall_once(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compaction, "ROWS_PER_BUCKET", 5)
    assert store.buckets() == []
    walls = [(f"DH-{house:02}", wall) for house in range(10) for wall in "NE"]
    store.add("walls", table("walls", *({"house": house, "wall": wall} for house, wall in walls)))
    assert store.buckets() == [sorted(walls)]
    store.add("readings", readings(*range(40)))
    store.compact()
    groups = store.buckets()
    assert len(groups) > 1
    assert sorted(wall for group in groups for wall in group) == sorted(walls)


def test_the_bucket_of_a_wall_is_the_same_for_ever() -> None:
    # the SHA-256 of "DH-01\x1fN" begins with f75b6a17 (found with sha256sum of coreutils)
    assert generations.bucket_of(("DH-01", "N"), 2**32) == 0xF75B6A17
    numbers = generations.bucket_numbers(table("walls", {"house": "DH-01", "wall": "N"}), 64)
    assert numbers.tolist() == [0x17]  # 0xf75b6a17 mod 64


def test_a_full_inbox_is_compacted_by_itself(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(facts, "INBOX_LIMIT", 10)
    monkeypatch.setattr(facts, "_LOOK_EVERY", 2)
    for number in range(30):
        assert store.add("readings", readings(number))
    assert generations.pointer(store.path).generation >= 2
    assert store.tiers.waiting() <= 11
    assert store.facts("readings").num_rows == 30


def test_files_no_longer_needed_go_after_the_grace_and_not_before(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def compacted() -> set[str]:
        return {path.name for path in (store.path / "compacted").iterdir()}

    def waiting() -> int:
        return len(list((store.path / "inbox" / "readings").iterdir()))

    for number in range(3):
        store.add("readings", readings(number))
        store.compact()
    kept = compacted()
    # files of readings, places, what was taken and the ledger, for each of three generations; of strays, none yet, one
    assert len(kept) == 13
    assert waiting() == 3
    monkeypatch.setattr(compaction, "GRACE_SECONDS", -1.0)
    store.add("readings", readings(4))
    store.compact()
    assert len(compacted()) == 9  # this generation, and the one before, which a reader may be reading now
    assert compacted() >= generations.pointer(store.path).files
    assert waiting() == 2  # those that a generation of before the grace held are gone
    assert store.facts("readings").num_rows == 4
    assert not store.add("readings", readings(0))


def test_a_reader_that_holds_an_old_pointer_reads_again_when_its_files_are_gone(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compaction, "GRACE_SECONDS", -1.0)
    store.add("readings", readings(1))
    store.compact()
    old = generations.pointer(store.path)
    for number in (2, 3):
        store.add("readings", readings(number))
        store.compact()
    assert not (store.path / "compacted" / old.of("readings")[0].file).exists()
    answers = [old]
    real = generations.pointer
    monkeypatch.setattr(generations, "pointer", lambda root: answers.pop() if answers else real(root))
    assert store.facts("readings").num_rows == 3
    assert answers == []


def test_rows_that_break_the_contract_are_refused_with_the_column(store: Store) -> None:
    good = readings(1)
    blank = row("readings") | {"note": None}
    for bad, words in (
        (good.drop_columns(["note"]), "without note"),
        (good.append_column("more", good["note"]), "unknown more"),
        (good.select(good.column_names[::-1]), "another order"),
        (good.set_column(2, "wall", pa.array([1])), "wall is int64, not string"),
        (pa.Table.from_pylist([blank], schema=schema.READINGS), "column note"),
        (readings(1, deflection_mm=float("nan")), "column deflection_mm"),
        (readings(1, known_at=None), "column known_at"),
    ):
        with pytest.raises(StoreError, match=words):
            store.add("readings", bad)
    for name in ("people", "wall_results", "nothing"):
        with pytest.raises(StoreError, match="no such table"):
            store.add(name, good)
    assert store.facts("readings").num_rows == 0


def test_an_add_of_no_rows_adds_nothing(store: Store) -> None:
    assert not store.add("readings", schema.empty("readings"))
    assert store.tiers.waiting() == 0


def test_a_received_file_is_kept_as_it_came_under_its_hash(store: Store) -> None:
    # SHA-256 of "abc": FIPS 180-2, appendix B.1
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert store.keep_file(b"abc", "visit.csv") == expected
    assert store.keep_file(b"abc", "other name.csv") == expected
    assert [path.read_bytes() for path in (store.path / "files").iterdir()] == [b"abc"]


def test_adding_and_reading_do_not_import_pandas(store: Store) -> None:
    store.add("readings", readings(1))
    code = (
        "import sys\n"
        "from datetime import UTC, datetime\n"
        "from monitor import store\n"
        f"s = store.open({str(store.path)!r})\n"
        "rows = s.facts('readings')\n"
        "assert rows.num_rows == 1\n"
        f"t = store.create({str(store.path.with_name('second'))!r}, company={{}},"
        " created_at=datetime(2026, 1, 1, tzinfo=UTC))\n"
        "assert t.add('readings', rows)\n"
        "slow = {'pandas', 'scipy', 'statsmodels', 'plotly', 'openpyxl'} & set(sys.modules)\n"
        "assert not slow, slow\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
