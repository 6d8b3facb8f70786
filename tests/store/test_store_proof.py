"""Verify finds every damage, names it, and stops at none; readers name the file and the mend."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from results_saved import saved
from store_rows import START, at, reading, row, ruling, table

from monitor import schema
from monitor import store as stores
from monitor.errors import StoreError
from monitor.results import Assessment, Proof
from monitor.store import Store, generations, inbox, witness
from monitor.store.sealed import seal_text
from monitor.store.verify import verify

VISIT = b"house,wall\nDH-01,N\n"


def fill(store: Store, first: int = 0, *, day: int = 0) -> None:
    """One wall with two marks and a visit of four readings, as the line would take them in."""
    file_sha256 = store.keep_file(VISIT + str(first).encode(), "visit.csv")
    source = {"source_sha256": f"s{first}", "source_name": f"visit {first}.csv", "known_at": at(day)}
    wall = {"house": f"DH-{first:02}", "wall": "N"}
    store.add("walls", table("walls", wall))
    store.add("marks", table("marks", *(wall | {"mark": mark} for mark in ("M1", "M2"))))
    states = ("used", "held", "rejected", "could-not-read")
    rows = [
        reading(first + place, mark="M1" if state == "used" else "M9", state=state, **wall, **source)
        for place, state in enumerate(states)
    ]
    store.add("readings", table("readings", *rows))
    counts = {"received": 4, "used": 1, "held": 1, "rejected": 1, "could_not_read": 1}
    store.add("receipts", table("receipts", counts | source | {"file_sha256": file_sha256, "holds": "readings"}))


def assessed(store: Store, day: date = date(2026, 4, 1)) -> Assessment:
    results = table("wall_results", {"house": "DH-00", "wall": "N", "verdict": "holding"})
    assessment = Assessment(day, at(90), "a" * 64, store.facts_sha256(), wall_results=results)
    return saved(store, assessment)


@pytest.fixture
def full(store: Store) -> Store:
    """A store with everything in it, some of it compacted."""
    fill(store, 0)
    store.add("rulings", table("rulings", ruling(1, 1, "release")))
    store.compact()
    fill(store, 10, day=3)
    store.office.put_people([row("people", person="P1")])
    store.office.decide(row("decisions", decision_id="d1", house="DH-00", wall="N", known_at=START))
    assessed(store)
    return store


def the_damage(proof: Proof, place: str, words: str) -> None:
    """Exactly this is among what was found, with what is affected and a mend."""
    found = [each for each in proof.damages if place in each.place and words in each.what]
    assert found, proof.damages
    assert all(each.affected and each.mend for each in proof.damages)


def compacted(store: Store, name: str = "readings") -> Path:
    return store.path / "compacted" / generations.pointer(store.path).of(name)[0].file


def waiting(store: Store, name: str = "readings") -> Path:
    taken = generations.ledger(store.path, generations.pointer(store.path))["name"].to_pylist()
    names = [each for each in inbox.names(store.path, name) if each not in taken]
    return inbox.path_of(store.path, name, names[0])


def test_a_whole_store_is_proven_whole_with_every_row_counted(full: Store) -> None:
    proof = verify(full)
    assert proof.damages == ()
    # facts 2 * (1 wall + 2 marks + 4 readings + 1 receipt) + 1 ruling, 2 office records, 1 result
    assert proof.rows == 16 + 1 + 2 + 1
    # marker, settings, witness, office; pointer, ledger, 5 compacted and 3 beside them; 4 waiting; 2 received; an
    # assessment's card, its only table with rows and its walls
    assert proof.files == 4 + 10 + 4 + 2 + 1 + 2
    assert proof.remarks == ()
    full.compact()
    assert verify(full).whole


def test_a_new_store_is_whole(store: Store) -> None:
    assert verify(store).whole


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-20])


def empty(path: Path) -> None:
    path.write_bytes(b"")


def garble(path: Path) -> None:
    path.write_bytes(b"PAR1 this is no such file PAR1")


@pytest.mark.parametrize("harm", [cut, empty, garble, Path.unlink])
@pytest.mark.parametrize("where", [compacted, waiting])
def test_a_harmed_file_of_readings_is_named_by_verify_and_never_read_over(
    full: Store, where: Callable[[Store], Path], harm: Callable[[Path], None]
) -> None:
    path = where(full)
    harm(path)
    if where is waiting and harm is Path.unlink:  # gone without a trace but the receipt
        the_damage(verify(full), "receipts, visit 10.csv", "4 rows were received, but 0 are kept")
        return
    the_damage(verify(full), path.relative_to(full.path).as_posix(), "")
    with pytest.raises(StoreError, match=r"\.parquet.*Mend: "):
        full.facts("readings")
    with pytest.raises(StoreError):
        full.readings(walls=[("DH-00", "N"), ("DH-10", "N")])


@pytest.mark.parametrize("where", [compacted, waiting])
def test_no_flipped_bit_changes_rows_unseen(full: Store, where: Callable[[Store], Path]) -> None:
    path = where(full)
    whole, before = path.read_bytes(), full.facts("readings")
    silent = 0
    for place in range(0, len(whole), 41):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ (1 << place % 8)]) + whole[place + 1 :])
        try:
            after = stores.open(full.path).facts("readings")
        except StoreError:
            continue
        silent += 1
        assert after.equals(before), place
    assert silent < len(whole) / 41  # flips in the notes of a file (who wrote it) may change nothing


def test_a_flipped_bit_of_a_compacted_file_is_always_found(full: Store) -> None:
    path = compacted(full)
    whole = path.read_bytes()
    for place in range(0, len(whole), max(1, len(whole) // 25)):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 16]) + whole[place + 1 :])
        the_damage(verify(full), path.name, "bytes are not those")


def test_a_damaged_bucket_names_its_walls(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.store.compaction.ROWS_PER_BUCKET", 4)
    for first in (0, 10, 20):
        fill(store, first)
    store.compact()
    at = generations.pointer(store.path)
    part = at.of("readings")[0]
    cut(store.path / "compacted" / part.file)
    [affected] = [damage.affected for damage in verify(store).damages if part.file in damage.place]
    walls = [wall for wall in ("DH-00-N", "DH-10-N", "DH-20-N") if wall in affected]
    assert walls
    assert all(generations.bucket_of((wall[:5], "N"), at.buckets) == part.bucket for wall in walls)
    assert f"bucket {part.bucket} of {at.buckets}" in affected


def test_the_adds_that_were_told_of_are_those_of_whole_lines_alone(full: Store) -> None:
    path = full.path / witness.FILE
    every = witness.adds(full.path)
    assert every == set(witness.read(full.path).adds)
    assert len(every) == 9
    lines = path.read_bytes().splitlines(keepends=True)
    at = next(number for number, line in enumerate(lines) if b'"walls"' in line)
    lines[at] = lines[at].replace(b'"walls"', b'"wills"')
    path.write_bytes(b"".join(lines)[:-1])  # one line is another, the last is cut off
    told = witness.read(full.path)
    assert (told.broken, told.is_cut) == ([at + 1], True)
    assert witness.adds(full.path) == set(told.adds) < every


def test_a_damaged_add_does_not_stop_the_others_from_being_compacted(full: Store) -> None:
    path = waiting(full)
    cut(path)
    assert full.compact()
    assert path.exists()
    assert full.facts("walls").num_rows == 2
    the_damage(verify(full), path.name, "damaged")


def test_a_compaction_never_goes_over_a_damaged_generation(full: Store) -> None:
    before = (full.path / "CURRENT.json").read_bytes()
    path = compacted(full)
    for harm in (cut, Path.unlink):
        harm(path)
        with pytest.raises(StoreError, match=path.name):
            full.compact()
        assert (full.path / "CURRENT.json").read_bytes() == before


def test_an_add_goes_in_though_a_damaged_file_stops_the_compaction(
    full: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitor.store.facts.INBOX_LIMIT", 0)
    cut(compacted(full, "marks"))
    assert stores.open(full.path).add("marks", table("marks", {"house": "DH-00", "wall": "N", "mark": "M3"}))


def resealed(text: str) -> str:
    return seal_text(text[: text.index(',\n "seal"')].encode() + b"\n}").decode()


def test_a_pointer_that_is_missing_damaged_or_of_another_version_stops_every_reader(full: Store) -> None:
    path = full.path / "CURRENT.json"
    whole = path.read_text()
    for text, words in (
        (None, "missing"),
        ("", "damaged"),
        (whole[:-30], "damaged"),
        (whole.replace('"generation": 1', '"generation": 2'), "damaged"),
        (resealed(whole.replace('"schema_version": 1', '"schema_version": 99')), "version 99"),
    ):
        path.unlink(missing_ok=True)
        if text is not None:
            path.write_text(text)
        with pytest.raises(StoreError, match=rf"CURRENT\.json.*{words}.*Mend"):
            full.facts("readings")
        the_damage(verify(full), "CURRENT.json", words)


def test_a_pointer_that_lists_a_missing_file_is_damage_and_no_row_is_left_out_unseen(full: Store) -> None:
    path = compacted(full, "walls")
    path.unlink()
    with pytest.raises(StoreError, match=rf"{path.name}.*missing.*Mend"):
        full.facts("walls")
    the_damage(verify(full), path.name, "missing")


def test_strange_files_in_the_inbox_are_not_read_and_are_named(full: Store) -> None:
    before = full.facts("readings")
    (full.path / "inbox" / "readings" / "visit.xlsx").write_bytes(b"PK")
    (full.path / "inbox" / "photos").mkdir()
    assert full.facts("readings").equals(before)
    proof = verify(full)
    the_damage(proof, "inbox/readings/visit.xlsx", "not a file of the store")
    the_damage(proof, "inbox/photos", "not a file of the store")
    assert len(proof.damages) == 2


def test_a_foreign_file_under_the_name_of_an_add_is_refused(full: Store) -> None:
    path = inbox.path_of(full.path, "readings", "0" * 64)
    pq.write_table(pa.table({"a": [1]}), path)
    with pytest.raises(StoreError, match="version none"):
        full.facts("readings")
    the_damage(verify(full), path.name, "version")


def test_rows_under_the_name_of_others_are_found(full: Store) -> None:
    path = waiting(full)
    path.rename(path.with_name("1" * 64 + ".parquet"))
    the_damage(verify(full), "1" * 64, "name is not the hash of its rows")


def test_a_changed_known_at_is_found_though_the_name_does_not_hold_it(full: Store) -> None:
    path = waiting(full)
    file = pq.ParquetFile(path)
    rows, metadata = file.read(), file.schema_arrow.metadata
    later = pa.array([at(50)] * rows.num_rows, pa.timestamp("us", tz="UTC"))
    changed = rows.set_column(rows.column_names.index("known_at"), "known_at", later)
    pq.write_table(changed.replace_schema_metadata(metadata), path)
    the_damage(verify(full), path.name, "other than those that were written")


def test_a_file_of_an_unknown_version_is_refused(full: Store) -> None:
    path = waiting(full)
    file = pq.ParquetFile(path)
    metadata = file.schema_arrow.metadata | {b"schema_version": b"2"}
    pq.write_table(file.read().replace_schema_metadata(metadata), path)
    with pytest.raises(StoreError, match=r"version 2.*Expected: version 1.*Mend"):
        full.facts("readings")


def test_lost_and_double_rows_and_keys_astray_are_found(store: Store) -> None:
    fill(store)
    source = {"source_sha256": "s0", "source_name": "visit 0.csv", "house": "DH-00", "wall": "N"}
    store.add("readings", table("readings", reading(9, mark="M7", **source)))
    store.add("readings", table("readings", reading(8, state="held", source_sha256="s8", source_name="b.csv")))
    store.add("readings", table("readings", *[reading(7, state="held", source_sha256="s8", source_name="b.csv")] * 2))
    store.add("rulings", table("rulings", ruling(1, 77, "reject")))
    store.add("marks", table("marks", {"house": "DH-55", "wall": "N", "mark": "M1"}))
    receipt = {"source_sha256": "s9", "source_name": "c.csv", "holds": "walls", "received": 3, "used": 1, "held": 1}
    store.add("receipts", table("receipts", receipt | {"file_sha256": "f" * 64}))
    proof = verify(store)
    the_damage(proof, "receipts, visit 0.csv", "4 rows were received, but 5 are kept")
    the_damage(proof, "readings, b.csv", "2 rows have no receipt")
    the_damage(proof, "receipts, c.csv", "3 rows were received, but 2 have a state")
    the_damage(proof, "readings", "1 rows stand twice")
    the_damage(proof, "readings", "1 of the marks that readings speak of are not there: DH-00-N-M7")
    the_damage(proof, "marks", "DH-55-N")
    the_damage(proof, "rulings", f"{77:016x}")
    the_damage(proof, "files/" + "f" * 64, "missing")
    assert len(proof.damages) == 8


def test_received_files_must_be_what_their_name_says(full: Store) -> None:
    path = min((full.path / "files").iterdir())
    path.write_bytes(b"other")
    the_damage(verify(full), path.name, "not the hash of its bytes")


def test_a_damaged_office_database_is_found_and_the_rest_still_looked_at(full: Store) -> None:
    data = bytearray(full.office.path.read_bytes())
    data[4096:4112] = b"\xff" * 16  # the head of its second page
    full.office.path.write_bytes(bytes(data))
    cut(compacted(full))
    proof = verify(full)
    the_damage(proof, "office.sqlite", "")
    the_damage(proof, "compacted/readings", "")


def test_damaged_settings_and_card_are_found(full: Store) -> None:
    (full.path / "settings.json").write_text('{"rules": {"alpha": 7}}')
    (full.path / "store.json").write_text('{"schema_version": 5, "created_at": "2026-01-01T00:00:00Z"}')
    proof = verify(full)
    the_damage(proof, "settings.json", "cannot be used")
    the_damage(proof, "store.json", "version 5")
    with pytest.raises(StoreError, match=r"settings\.json, rules\.alpha.*less than 1.*Mend"):
        full.settings()


def test_assessments_come_back_newest_first_and_are_replaced_whole(store: Store) -> None:
    assert store.assessment() is None
    assert store.assessments() == []
    first, second = assessed(store, date(2026, 3, 1)), assessed(store, date(2026, 4, 1))
    assert store.assessments() == [date(2026, 3, 1), date(2026, 4, 1)]
    assert store.assessment() == second
    assert store.assessment(date(2026, 3, 1)) == first
    assert store.assessment(date(2026, 2, 1)) is None
    other = replace(second, wall_results=schema.empty("wall_results"), settings_sha256="b" * 64)
    saved(store, other)
    assert store.assessment() == other
    assert [path.name for path in (store.path / "assessments" / "2026-04-01").iterdir()] == ["assessment.json"]


def test_a_damaged_assessment_says_to_assess_again(full: Store) -> None:
    path = min((full.path / "assessments" / "2026-04-01").glob("wall_results*"))
    cut(path)
    the_damage(verify(full), path.name, "not the hash")
    with pytest.raises(StoreError, match="wall_results"):
        full.assessment()
    path.unlink()
    with pytest.raises(StoreError, match="Assess again"):
        full.assessment()
    card = path.with_name("assessment.json")
    card.write_text("{}")
    with pytest.raises(StoreError, match=r"assessment\.json.*Assess again"):
        full.assessment()
    the_damage(verify(full), "assessments/2026-04-01", "damaged")
