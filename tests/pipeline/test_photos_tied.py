"""Photos tied to the readings of a small store: by name, by what is said; held where two things could be meant."""

import shutil
import sqlite3
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from monitor import store as stores
from monitor.demo import photos as drawn
from monitor.errors import NotFoundError, StoreError
from monitor.pipeline import export, intake, photo_files, photo_listing, photos
from monitor.pipeline.photo_intake import Fate, Given, PhotoError, Shown, Taken, tie
from monitor.pipeline.photo_names import closeness
from monitor.pipeline.who import RulingError
from monitor.store import Store
from monitor.store import photos as kept
from monitor.store.verify import verify
from monitor.terms import PhotoAct

REGISTER = Path(__file__).parents[2] / "data" / "demo" / "register"
NOW = datetime(2024, 5, 1, 9, tzinfo=UTC)
RULE, SIDEWAYS, GARDEN = drawn.make().values()
VISIT = """house,wall,visit date,technician,method,instrument,set-up,stand-off,mark,value,unit,kind,photos
DH-01,N,2023-04-10,T1,string,BL-1,1,3 in,M1,2 15/16,in,gap,IMG_1.JPG; whole wall
DH-01,N,2023-04-10,T1,string,BL-1,1,3 in,M2,2 1/8,in,gap,"IMG_2.jpeg, whole wall"
DH-01,N,2023-04-10,T1,string,BL-1,2,3 in,M2,2 1/8,in,gap,img_2.jpeg
DH-01,N,2023-10-09,T1,string,BL-1,1,3 in,M1,2 15/16,in,gap,IMG_7.jpg
DH-01,N,2023-10-09,T1,string,BL-1,1,3 in,M3,2 1/8,in,gap,day two\\IMG_8.jpg
DH-02,E,2023-10-09,T2,string,BL-2,1,3 in,M3,2 1/8,in,gap,IMG_7.jpg
"""
FIRST, SECOND = date(2023, 4, 10), date(2023, 10, 9)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    store = stores.create(tmp_path_factory.mktemp("tied") / "store", company={"name": "a firm"}, created_at=NOW)
    for path in sorted(REGISTER.glob("[1-5]_*")):
        intake.take_register(store, path.name, path.read_bytes(), received_at=NOW, sender="O1")
    intake.take_readings(store, "visits.csv", VISIT.encode(), received_at=NOW, sender="T1", today=NOW.date())
    assert store.readings().num_rows == 6
    return store.path


@pytest.fixture
def store(whole: Path, tmp_path: Path) -> Store:
    return stores.open(shutil.copytree(whole, tmp_path / "store"))


def given(**files: bytes) -> list[Given]:
    """Files by name; two underscores stand for the dot, three for the stroke between folders."""
    return [
        Given(name.replace("___", "/").replace("__", "."), lambda data=data: data)  # type: ignore[misc]
        for name, data in files.items()
    ]


def tied(store: Store, shown: Shown = Shown(), minutes: int = 1, **files: bytes) -> Taken:  # noqa: B008
    return tie(store, given(**files), shown, who="o1", made_at=NOW + timedelta(minutes=minutes))


def readings_of(store: Store, row: object) -> list[tuple[str, str, int]]:
    by_id = {each["reading_id"]: each for each in store.readings().to_pylist()}
    assert isinstance(row, dict)
    found = [by_id[name] for name in row["reading_ids"].split()]
    return sorted((str(each["visit_date"]), each["mark"], each["setup"]) for each in found)


def test_case_folder_and_ending_of_a_name_may_differ(store: Store) -> None:
    found = tied(store, from_phone___img_2__JPG=RULE, Whole_Wall=SIDEWAYS)
    [one, other] = found.outcomes
    assert (one.fate, other.fate) == (Fate.TIED, Fate.HELD)
    assert readings_of(store, one.row) == [("2023-04-10", "M2", 1), ("2023-04-10", "M2", 2)]
    assert one.row
    assert (one.row["mark"], one.row["who"], one.row["file_name"]) == ("M2", "O1", "img_2.JPG")
    assert other.why == "No reading names it."
    assert (
        "Whole_Wall: held. No reading names it. Say what it shows with --house" in photo_listing.of_taken(found)[1][1]
    )
    lost = {(row["photo"], str(row["visit_date"]), row["house"]) for row in found.unfound}
    assert ("IMG_1.JPG", "2023-04-10", "DH-01") in lost
    assert ("whole wall", "2023-04-10", "DH-01") in lost
    assert not [row for row in found.unfound if "2" in row["photo"].split(".")[0]]


@pytest.mark.parametrize(
    ("reference", "file", "close"),
    [
        ("IMG_1.JPG", "img_1.jpg", 2),
        ("IMG_1.JPG", "img_1.jpeg", 2),
        ("IMG_1", "img_1.png", 2),
        ("IMG_1.HEIC", "img_1.jpg", 1),
        ("C:\\cards\\DH-01\\IMG_1.JPG", "x/cards/dh-01/img_1.jpg", 2),
        ("dh-01/IMG_1.JPG", "x/DH-01/img_1.jpg", 3),
        ("IMG_1.JPG", "IMG_11.JPG", 0),
        ("v1.2", "v1.jpg", 0),
        ("../..", "a.jpg", 0),
        ("..", "..", 0),
        (".jpg", ".jpg", 0),
    ],
)
def test_how_close_two_names_are(reference: str, file: str, close: int) -> None:
    assert closeness(reference, file) == close


def test_a_photo_named_with_several_marks_is_tied_to_each_and_is_of_no_one_mark(store: Store) -> None:
    [found] = tie(store, [Given("whole wall.jpg", lambda: RULE)], Shown(), who="O1", made_at=NOW).outcomes
    assert readings_of(store, found.row) == [("2023-04-10", "M1", 1), ("2023-04-10", "M2", 1)]
    assert found.row
    assert found.row["mark"] == ""


def test_a_name_that_two_walls_use_is_held_until_somebody_says_which(store: Store) -> None:
    [held] = tied(store, IMG_7__jpg=RULE).outcomes
    assert held.fate is Fate.HELD
    assert "DH-01-N on 2023-10-09; DH-02-E on 2023-10-09" in held.why
    assert photos.standing(store) == []
    assert not (store.path / kept.FOLDER).exists()
    [said] = tied(store, Shown("dh-01", "n"), IMG_7__jpg=RULE).outcomes
    assert readings_of(store, said.row) == [("2023-10-09", "M1", 1)]


def test_two_files_that_a_reading_could_mean_are_held_unless_one_is_closer(store: Store) -> None:
    held = tied(store, a___IMG_1__jpg=RULE, b___img_1__jpg=GARDEN)
    assert [each.fate for each in held.outcomes] == [Fate.HELD] * 2
    assert "this file or b/img_1.jpg" in held.outcomes[0].why
    closer = tied(store, IMG_1__jpg=RULE, img_1__png=GARDEN)
    assert [each.fate for each in closer.outcomes] == [Fate.TIED, Fate.HELD]
    by_folder = tied(store, day_one___IMG_8__jpg=SIDEWAYS)
    assert by_folder.outcomes[0].fate is Fate.TIED


def test_the_same_picture_twice_is_one_photo_and_given_again_nothing_new(store: Store) -> None:
    twice = tied(store, IMG_1__jpg=RULE, copy_of___IMG_1__JPG=RULE)
    assert [each.fate for each in twice.outcomes] == [Fate.TIED] * 2
    assert twice.outcomes[1].why == "It is the same picture as IMG_1.jpg."
    again = tied(store, minutes=2, IMG_1__jpg=RULE)
    assert again.outcomes[0].fate is Fate.KNOWN
    assert len(store.office.rows("photos")) == 1
    [row] = photos.standing(store)
    bare = kept.read(store.path, row["sha256"], row["ending"])
    assert tied(store, minutes=3, another_name__jpg=bare).outcomes[0].fate is Fate.KNOWN


def test_what_somebody_says_stands_and_may_move_a_photo_which_then_is_not_released_there(store: Store) -> None:
    [first] = tied(store, Shown("DH-01", "N", FIRST, "m1"), garden__png=GARDEN).outcomes
    assert first.row
    assert readings_of(store, first.row) == [("2023-04-10", "M1", 1)]
    photos.rule(store, first.row["photo_id"], PhotoAct.RELEASE, who="O1", why="asked for", made_at=NOW + timedelta(1))
    tied(store, Shown("DH-02", "E", SECOND), minutes=3000, garden__png=GARDEN)
    [row] = photos.standing(store)
    assert (row["house"], row["wall"], row["visit_date"], row["mark"]) == ("DH-02", "E", SECOND, "")
    assert not row["released"]
    [then] = photos.standing(store, NOW + timedelta(1))
    assert (then["house"], then["released"]) == ("DH-01", True)


def test_a_photo_tied_elsewhere_is_not_moved_by_a_name_alone(store: Store) -> None:
    tied(store, Shown("DH-02", "E", SECOND), other__jpg=RULE)
    [held] = tied(store, minutes=2, IMG_1__jpg=RULE).outcomes
    assert held.fate is Fate.HELD
    assert "tied to DH-02-E, visit of 2023-10-09 already" in held.why


@pytest.mark.parametrize(
    ("shown", "error", "said"),
    [
        (Shown("DH-01", "Q"), NotFoundError, "no such wall"),
        (Shown("DH-01"), PhotoError, "both --house and --wall"),
        (Shown(mark="M1"), PhotoError, "both --house and --wall"),
        (Shown("DH-01", "N", FIRST, "Q9"), NotFoundError, "no such mark"),
        (Shown("DH-01", "N", date(2023, 4, 11)), PhotoError, "Nobody was at DH-01-N on that day"),
    ],
)
def test_a_wall_mark_or_visit_that_is_not_known_is_refused_before_anything_is_kept(
    store: Store, shown: Shown, error: type[Exception], said: str
) -> None:
    with pytest.raises(error, match=said):
        tied(store, shown, IMG_1__jpg=RULE)
    assert store.office.rows("photos") == []


def test_a_stranger_ties_nothing(store: Store) -> None:
    with pytest.raises(RulingError, match="Nobody with this person id"):
        tie(store, given(IMG_1__jpg=RULE), Shown(), who="Zed", made_at=NOW)
    with pytest.raises(PhotoError, match="Who ties"):
        tie(store, given(IMG_1__jpg=RULE), Shown(), who=" ", made_at=NOW)


def test_what_is_no_picture_is_refused_by_name_and_the_others_are_tied(store: Store, tmp_path: Path) -> None:
    gone = tmp_path / "gone.jpg"
    files = [
        *given(IMG_1__jpg=b"<html><img src=x onerror=alert(1)></html>", empty__jpg=b"", IMG_2__jpg=RULE[:900]),
        Given("IMG_7.jpg", gone.read_bytes),
        Given("huge.jpg", lambda: RULE, bytes=10**9),
        *given(whole_wall__jpg=GARDEN),
        Given("../../IMG_8.jpg", lambda: SIDEWAYS),
    ]
    found = tie(store, files, Shown(), who="O1", made_at=NOW)
    said = [(each.file, str(each.fate), each.why) for each in found.outcomes]
    assert said[:5] == [
        ("IMG_1.jpg", "refused", "It is a web page; nothing of it was kept."),
        ("empty.jpg", "refused", "It is an empty file; nothing of it was kept."),
        ("IMG_2.jpg", "refused", "It is cut short or damaged; nothing of it was kept."),
        (
            "IMG_7.jpg",
            "refused",
            "It is a file that cannot be read (No such file or directory); nothing of it was kept.",
        ),
        ("huge.jpg", "refused", "It is a file of 1000 MB, more than the 50 MB taken; nothing of it was kept."),
    ]
    assert [each.fate for each in found.outcomes[5:]] == [Fate.HELD, Fate.TIED]
    there = [path.relative_to(store.path).as_posix() for path in (store.path / "photos").rglob("*.*")]
    sha = photos.standing(store)[0]["sha256"]
    assert there == [f"photos/{sha[:2]}/{sha}.jpg"]
    summary, lines = photo_listing.of_taken(found)
    assert summary == "7 files: 1 tied, 1 held, 5 refused."
    assert "IMG_1.jpg: refused. It is a web page; nothing of it was kept." in lines


def test_nothing_that_a_camera_wrote_is_kept_anywhere_in_the_store(store: Store) -> None:
    tied(store, IMG_1__jpg=RULE, IMG_2__jpg=SIDEWAYS)
    assert drawn.PLACE in RULE
    for path in store.path.rglob("*"):
        if path.is_file():
            assert drawn.PLACE not in path.read_bytes(), path


def test_a_photo_is_released_and_withheld_by_somebody_for_a_reason_and_every_act_stays_on_record(store: Store) -> None:
    [found] = tied(store, IMG_1__jpg=RULE).outcomes
    assert found.row
    name, later = found.row["photo_id"], NOW + timedelta(hours=1)
    assert not photos.standing(store)[0]["released"]
    with pytest.raises(RulingError, match="withheld as it is"):
        photos.rule(store, name, PhotoAct.WITHHOLD, who="O1", why="no", made_at=later)
    photos.rule(store, name[:4].upper(), PhotoAct.RELEASE, who="o1", why=" asked for ", made_at=later)
    with pytest.raises(RulingError, match="may see this photo already"):
        photos.rule(store, name, PhotoAct.RELEASE, who="O1", why="again", made_at=later)
    photos.rule(store, name, PhotoAct.WITHHOLD, who="O1", why="toys in it", made_at=later + timedelta(hours=1))
    known = [photos.standing(store, NOW + timedelta(hours=hours))[0]["released"] for hours in (0.5, 1, 1.9, 2)]
    assert known == [False, True, True, False]
    assert [row["why"] for row in store.office.rows("photo_rulings")] == ["asked for", "toys in it"]
    for wrong in ("", "ab", "zzzz"):
        with pytest.raises(NotFoundError, match="No photo has that id"):
            photos.rule(store, wrong, PhotoAct.RELEASE, who="O1", why="x", made_at=later)
    with pytest.raises(RulingError, match="Who decided and why"):
        photos.rule(store, name, PhotoAct.RELEASE, who="O1", why=" ", made_at=later)


@pytest.mark.parametrize("table", ["photos", "photo_rulings"])
def test_rows_of_photos_are_only_ever_added_to(store: Store, table: str) -> None:
    [found] = tied(store, IMG_1__jpg=RULE).outcomes
    assert found.row
    photos.rule(store, found.row["photo_id"], PhotoAct.RELEASE, who="O1", why="x", made_at=NOW)
    with sqlite3.connect(store.office.path) as connection:
        for act in (f"DELETE FROM {table}", f"UPDATE {table} SET who = 'Zed'"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
                connection.execute(act)


def test_verify_names_a_photo_that_was_changed_lost_or_put_there_and_giving_it_again_mends_it(store: Store) -> None:
    tied(store, IMG_1__jpg=RULE, IMG_2__jpg=SIDEWAYS)
    assert verify(store).whole
    one, other = [kept.path_of(store.path, row["sha256"], row["ending"]) for row in photos.standing(store)]
    one.write_bytes(one.read_bytes()[:-1])
    other.unlink()
    (store.path / "photos" / "mine.jpg").write_bytes(b"x")
    damages = {damage.place: damage for damage in verify(store).damages}
    places = [path.relative_to(store.path).as_posix() for path in (one, other)]
    assert set(damages) == {*places, "photos/mine.jpg"}
    assert damages[places[0]].affected.startswith("the photo IMG_1.jpg of DH-01-N, ")
    assert damages[places[1]].what == "This file is missing."
    with pytest.raises(StoreError, match="not those that were kept"):
        photos.files(store, photos.standing(store))
    (store.path / "photos" / "mine.jpg").unlink()
    assert [each.fate for each in tied(store, minutes=9, IMG_1__jpg=RULE, IMG_2__jpg=SIDEWAYS).outcomes] == [
        Fate.KNOWN
    ] * 2
    assert verify(store).whole


def test_beside_the_pages_stand_all_photos_apart_from_the_released_and_a_withheld_one_goes(
    store: Store, tmp_path: Path
) -> None:
    [one, _] = tied(store, IMG_1__jpg=RULE, IMG_2__jpg=SIDEWAYS).outcomes
    assert one.row
    to = tmp_path / "pages"

    def there(known_on: datetime | None = None) -> list[str]:
        photo_files.write(store, photos.standing(store, known_on), to)
        return sorted(path.relative_to(to).parent.as_posix() for path in to.rglob("*.jpg"))

    assert there() == ["photos", "photos"]
    photos.rule(store, one.row["photo_id"], PhotoAct.RELEASE, who="O1", why="x", made_at=NOW + timedelta(hours=1))
    assert there() == ["photos", "photos", "released-photos"]
    (to / "released-photos" / "of the company.jpg").write_bytes(b"not ours to take away")
    photos.rule(store, one.row["photo_id"], PhotoAct.WITHHOLD, who="O1", why="x", made_at=NOW + timedelta(hours=2))
    assert there() == ["photos", "photos", "released-photos"]
    assert [path.name for path in (to / "released-photos").iterdir()] == ["of the company.jpg"]
    assert len(there(NOW + timedelta(hours=1))) == 4


def test_the_export_lists_photos_and_rulings_as_known_then(store: Store, tmp_path: Path) -> None:
    [one] = tied(store, IMG_1__jpg=RULE).outcomes
    assert one.row
    photos.rule(store, one.row["photo_id"], PhotoAct.RELEASE, who="O1", why="x", made_at=NOW + timedelta(hours=1))
    export.export(store, tmp_path / "now", known_on=NOW + timedelta(hours=2))
    export.export(store, tmp_path / "then", known_on=NOW + timedelta(minutes=30))
    counts = {
        (when, name): len((tmp_path / when / f"{name}.csv").read_text().splitlines()) - 1
        for when in ("now", "then")
        for name in ("photos", "photo_rulings")
    }
    assert list(counts.values()) == [1, 1, 1, 0]
    assert "photo_rulings.csv has no rows: no photo was released" in (tmp_path / "then" / "README.txt").read_text()
    assert "photos,sha256,string" in (tmp_path / "now" / "dictionary.csv").read_text().replace('"', "")


def test_an_office_of_before_photos_gets_its_tables_when_the_first_comes(store: Store) -> None:
    with sqlite3.connect(store.office.path) as connection:
        connection.executescript("DROP TABLE photos; DROP TABLE photo_rulings;")
    assert photos.standing(store) == []
    assert verify(store).whole
    assert tied(store, IMG_1__jpg=RULE).outcomes[0].fate is Fate.TIED
