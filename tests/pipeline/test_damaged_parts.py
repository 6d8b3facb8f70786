"""What is damaged is named on the list and kept back; what is not is listed and written as ever."""

import shutil
import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
import small_store
from small_store import START, TODAY

from monitor import store as stores
from monitor.cli import commands, exits
from monitor.errors import StoreError
from monitor.pipeline import assessing, intake, photo_intake, photos, publishing, review
from monitor.pipeline.publishing import book_of_list
from monitor.report import pages
from monitor.report.names import KINDS, page_name
from monitor.store import Store, generations
from monitor.terms import Step

WALL_E = small_store.REGISTER["walls.csv"].replace("DH-01,N", "DH-01,E")
MARKS_E = small_store.REGISTER["marks.csv"].replace("DH-01,N", "DH-01,E")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two walls: the readings of N compacted, the last of E waiting, with a photo and a decision about each."""
    store = small_store.made(tmp_path_factory.mktemp("damaged") / "store")
    for name, text in (("walls e.csv", WALL_E), ("marks e.csv", MARKS_E)):
        intake.take_register(store, name, text.encode(), received_at=START, sender="O1")
    store.compact()
    for number in range(3):
        data = small_store.visit(date(2024, 2, 10 + number)).replace(b"DH-01,N", b"DH-01,E")
        intake.take_visit(store, f"e{number}.csv", data, received_at=START, sender="T1", today=TODAY)
    when = {"due": None, "made_at": START, "today": TODAY}
    for wall in "NE":
        review.decide(store, f"DH-01-{wall}", Step.VISIT_SOONER, who="O1", why=f"about {wall}", owner="O1", **when)
    shown = photo_intake.Shown("DH-01", "N", date(2024, 1, 10))
    given = [photo_intake.Given("IMG_1.png", lambda: small_store.picture(1))]
    photo_intake.tie(store, given, shown, who="O1", made_at=START)
    assessing.assess(store, judged_on=TODAY, known_on=START)
    return store.path


@pytest.fixture
def store(made: Path, tmp_path: Path) -> Store:
    return stores.open(shutil.copytree(made, tmp_path / "store"))


def damage_readings_of_e(store: Store) -> Path:
    taken = generations.ledger(store.path, generations.pointer(store.path))["name"].to_pylist()
    path = min(path for path in (store.path / "inbox" / "readings").iterdir() if path.stem not in taken)
    path.write_bytes(path.read_bytes()[:-50])
    return path


def test_other_walls_are_listed_and_written_and_the_damaged_part_is_named(store: Store, tmp_path: Path) -> None:
    path = damage_readings_of_e(store)
    with pytest.raises(StoreError, match=path.name):
        store.readings()
    sparing = store.sparing()
    listed = pages.monthly_list(book_of_list(sparing, assessing.newest(sparing))).decode()
    assert "parts of the store are damaged" in listed
    assert f"readings of DH-01-E. {path.relative_to(store.path)}: This file" in listed
    assert str(store.path) not in listed
    assert "Mend: Restore this file from a backup" in listed
    published = publishing.publish(sparing, assessing.newest(sparing), tmp_path / "pages", published_at=START)
    assert "not on its ledger" in published.unrecorded
    assert store.office.rows("pages") == []
    names = {file.name for file in published.files}
    assert page_name("DH-01", "N", "wall") in names
    assert not [kind for kind in KINDS if page_name("DH-01", "E", kind) in names]
    assert "parts of the store are damaged" in (tmp_path / "pages" / "index.html").read_text()


def test_commands_show_what_stands_and_say_what_does_not(store: Store, capsys: pytest.CaptureFixture[str]) -> None:
    path = damage_readings_of_e(store)

    def typed(*words: str) -> int:
        return int(commands()([*words, "--store", str(store.path)], standalone_mode=False) or 0)

    assert typed("flagged", "--csv") == exits.DAMAGED
    shown = capsys.readouterr()
    assert "DH-01-N" in shown.out
    assert path.name in shown.err
    assert typed("wall", "DH-01-N") == exits.OK  # nothing of it is damaged
    assert "DH-01-N" in capsys.readouterr().out
    with pytest.raises(StoreError, match=path.name):
        typed("wall", "DH-01-E")
    with pytest.raises(StoreError, match=path.name):  # what needs every reading does not go past it
        typed("assess")


def test_a_damaged_decision_is_named_and_not_shown(store: Store) -> None:
    with closing(sqlite3.connect(store.office.path)) as connection:
        connection.execute("DROP TRIGGER decisions_no_update")
        connection.execute("UPDATE decisions SET why = 'nothing to see' WHERE why = 'about E'")
        connection.commit()
    with pytest.raises(
        StoreError, match=r"office\.sqlite, table decisions: A row of decisions is not as it was written"
    ):
        store.office.decisions()
    sparing = store.sparing()
    listed = pages.monthly_list(book_of_list(sparing, assessing.newest(sparing))).decode()
    assert "a decision of DH-01-E" in listed
    assert "nothing to see" not in listed


def test_a_damaged_photo_keeps_no_page_back(store: Store, tmp_path: Path) -> None:
    [row] = photos.standing(store)
    path = next((store.path / "photos").rglob("*.png"))
    path.write_bytes(b"other")
    sparing = store.sparing()
    published = publishing.publish(sparing, assessing.newest(sparing), tmp_path / "pages", published_at=START)
    assert page_name("DH-01", "N", "wall") in {file.name for file in published.files}
    assert "the photo IMG_1.png of DH-01-N" in (tmp_path / "pages" / "index.html").read_text()
    assert not list((tmp_path / "pages").rglob(f"{row['photo_id']}*"))


def test_a_damaged_assessment_of_an_earlier_list_is_made_again_from_the_facts(store: Store) -> None:
    later = assessing.assess(store, judged_on=date(2026, 6, 30), known_on=START)
    whole = pages.monthly_list(book_of_list(store, later))
    table = min((store.path / "assessments" / TODAY.isoformat()).glob("wall_results*"))
    table.write_bytes(b"other")
    assert pages.monthly_list(book_of_list(stores.open(store.path), later)) == whole


def test_a_file_that_a_compaction_takes_away_under_a_reader_is_read_again_where_its_rows_are_now(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole, real, taken = store.facts("readings"), generations.read_part, []

    def read(root: Path, part: generations.PartFile, *rest: object) -> object:
        if part.table == "readings" and not taken:
            taken.append(part.file)
            assert stores.open(root).compact()
            (root / generations.FOLDER / part.file).unlink()  # as the next compaction does
        return real(root, part, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(generations, "read_part", read)
    sparing = stores.open(store.path).sparing()
    assert sparing.facts("readings").equals(whole)
    assert taken
    assert sparing.unread == []
