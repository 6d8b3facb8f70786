"""The pack of a wall: whole, documented, the same in every process, and without a person's name."""

import csv
import io
import os
import re
import subprocess
import sys
import zipfile
from hashlib import sha256
from pathlib import Path

import pytest

from monitor.demo.photos import PLACE
from monitor.demo.run import Done
from monitor.errors import NotFoundError, ReportError
from monitor.pipeline import modelling, pack
from monitor.pipeline.photos import NO_FILE
from monitor.pipeline.publishing import book_of
from monitor.report import names

pytestmark = pytest.mark.xdist_group("demo")

WALL = ("DH-01", "N")


@pytest.fixture(scope="module")
def made(demo: Done, tmp_path_factory: pytest.TempPathFactory) -> Path:
    to = tmp_path_factory.mktemp("pack") / "new folder" / "DH-01-N.zip"
    pack.pack(demo.store, demo.assessment, "DH-01-N", to)
    return to


@pytest.fixture(scope="module")
def files(made: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(made) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def rows(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode())))


def test_the_dictionary_tells_of_every_column_of_every_table_and_of_no_other(files: dict[str, bytes]) -> None:
    told: dict[str, list[str]] = {}
    for row in rows(files["dictionary.csv"]):
        told.setdefault(row["table"], []).append(row["column"])
        assert row["meaning"], row
    tables = {name.removesuffix(".csv") for name in files if name.endswith(".csv")} - {"dictionary"}
    assert set(told) == tables
    for name in tables:
        header = next(csv.reader(io.StringIO(files[f"{name}.csv"].decode())))
        assert header == told[name], name
    readme = files["README.txt"].decode()
    assert all(f"{name}.csv " in readme for name in tables)


def test_the_dictionary_lists_the_words_of_a_closed_set_and_names_nothing_of_the_program(
    files: dict[str, bytes],
) -> None:
    told = {(row["table"], row["column"]): row for row in rows(files["dictionary.csv"])}
    assert told["readings", "method"]["words"] == "string; plumb; laser; meter"
    assert told["wall_results", "verdict"]["words"].split("; ") == ["moving", "look again", "holding", "too early"]
    assert told["readings", "seen"]["meaning"] == "what was seen, words of those listed separated by '; '"
    assert told["readings", "value_mm"]["words"] == ""
    assert [row for row in told.values() if "terms." in row["meaning"]] == []
    for row in rows(files["readings.csv"]):
        assert row["method"] in told["readings", "method"]["words"].split("; ")


def test_the_sums_are_those_of_the_files_and_the_names_are_sorted(files: dict[str, bytes]) -> None:
    assert list(files) == sorted(files)
    said = dict(reversed(line.split("  ")) for line in files["sha256.txt"].decode().splitlines())
    assert said == {name: sha256(data).hexdigest() for name, data in files.items() if name != "sha256.txt"}


def test_the_settings_are_the_text_whose_hash_the_assessment_bears(files: dict[str, bytes], demo: Done) -> None:
    assert sha256(files["settings.json"]).hexdigest() == demo.assessment.settings_sha256
    assert demo.assessment.settings_sha256 in files["README.txt"].decode()


def test_every_row_received_is_there_and_every_visit_adds_up(files: dict[str, bytes], demo: Done) -> None:
    house, wall = WALL
    want = demo.store.facts("readings", walls=[WALL]).to_pylist()
    want = [row for row in want if (row["house"], row["wall"]) == (house, wall)]
    found = rows(files["readings.csv"])
    assert sorted(row["reading_id"] for row in found) == sorted(row["reading_id"] for row in want)
    assert {row["value_raw"] for row in found} >= {row["value_raw"] for row in want if row["value_raw"].isdigit()}
    judged = rows(files["readings_judged.csv"])
    visits = rows(files["visits.csv"])
    assert sum(int(row["received"]) for row in visits) == len(judged)
    for row in visits:
        assert int(row["received"]) == sum(int(row[name]) for name in ("used", "held", "rejected", "could_not_read"))
    counts = [row for row in judged if row["state"] == "used"]
    assert {row["reading_id"] for row in rows(files["residuals.csv"])} <= {row["reading_id"] for row in counts}


def test_a_reading_taken_for_a_misread_is_held_in_the_pack_with_its_reason(demo: Done) -> None:
    """What the assessment set aside stands as held among the judged readings, as used among those received."""
    aside = demo.assessment.suspects.to_pylist()
    held = [row for row in demo.store.readings().to_pylist() if row["state"] == "held" and row["wall"]]
    key = (aside or held)[0]["house"], (aside or held)[0]["wall"]
    found = pack.files(demo.store, demo.assessment, key)
    states = {row["reading_id"]: row for row in rows(found["readings_judged.csv"])}
    for row in [row for row in (*aside, *held) if (row["house"], row["wall"]) == key]:
        assert states[row["reading_id"]]["state"] == "held"
        assert states[row["reading_id"]]["reason"]
    page = found[names.page_name(*key, "engineer")].decode()
    assert all(row["reading_id"] in page for row in held if (row["house"], row["wall"]) == key)


def test_no_person_is_named_in_any_file(files: dict[str, bytes], demo: Done) -> None:
    people = demo.store.office.people().to_pylist()
    private = {row[name] for row in people for name in ("name", "phone", "email") if row[name]}
    assert len(private) > 3
    for name, data in files.items():
        text = data.decode()
        assert [word for word in private if word in text] == [], name
    assert not {"sender"} & set(rows(files["receipts.csv"])[0])
    assert not {"nickname", "note"} & set(rows(files["houses.csv"])[0])
    assert "people.csv" not in files
    assert "decisions.csv" not in files


def test_the_page_is_the_published_one(files: dict[str, bytes], demo: Done) -> None:
    name = names.page_name(*WALL, "engineer")
    assert files[name] == (demo.index.parent / name).read_bytes()


def test_another_process_writes_the_same_bytes(made: Path, demo: Done, tmp_path: Path) -> None:
    again = tmp_path / "again.zip"
    command = [sys.executable, "-m", "monitor", "pack", "dh-01-n", "--store", str(demo.store.path), "--to", str(again)]
    subprocess.run(command, check=True, capture_output=True, env={**os.environ, "PYTHONHASHSEED": "77"})
    assert again.read_bytes() == made.read_bytes()


def test_every_fit_told_is_the_fit_of_the_assessment(demo: Done) -> None:
    """Rates, errors and scale by dense least squares from the facts, beside what the assessment kept, all walls."""
    content = book_of(demo.store, demo.assessment)
    told = modelling.told(content, names.wall_keys(content))
    kept = {
        (row["house"], row["wall"], row["period"], row["mark"]): row for row in demo.assessment.mark_results.to_pylist()
    }
    compared = 0
    for row in told["agreement"].to_pylist():
        if row["what"] in ("bow", "tip", "slide"):
            continue
        mark = kept[row["house"], row["wall"], row["period"], row["what"]]
        assert row["gls_mm_per_year"] == pytest.approx(mark["rate_mm_per_year"], rel=1e-6, abs=1e-8)
        assert row["gls_se"] == pytest.approx(mark["rate_se"], rel=1e-6)
        compared += 1
    assert compared == sum(row["measured"] for row in kept.values()) > 80
    scales = {(row["house"], row["wall"], row["period"]): row for row in demo.assessment.wall_results.to_pylist()}
    for row in told["fits"].to_pylist():
        assert row["scale"] == pytest.approx(scales[row["house"], row["wall"], row["period"]]["scale"], rel=1e-8)


def test_a_wall_nobody_registered_has_no_pack(demo: Done, tmp_path: Path) -> None:
    with pytest.raises(NotFoundError, match="no such wall"):
        pack.pack(demo.store, demo.assessment, "DH-99-N", tmp_path / "none.zip")
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_written_is_said(demo: Done, tmp_path: Path) -> None:
    with pytest.raises(ReportError, match="could not be written"):
        pack.pack(demo.store, demo.assessment, "DH-04-W", tmp_path)


def test_the_photos_of_a_wall_are_in_its_pack_as_kept_with_an_index_by_reading(demo: Done) -> None:
    found = pack.files(demo.store, demo.assessment, ("DH-02", "E"))
    index = rows(found["photo_index.csv"])
    said = [(row["photo"], row["mark"], row["packed_as"] != "", row["released"]) for row in index]
    assert said == [
        ("IMG_0412.JPG", "B3", True, "true"),
        ("photos\\img_0413", "M3", True, "false"),
        ("IMG_0414.jpg", "M3", False, "false"),
        ("IMG_0413.JPEG", "T3", True, "false"),
        ("from the garden.png", "", True, "false"),
    ]
    assert index[2]["note"] == NO_FILE
    known = {row["reading_id"]: row for row in rows(found["readings.csv"])}
    assert all(row["photo"] in known[row["reading_id"]]["photos"] for row in index[:4])
    there = {row["packed_as"]: row["sha256"] for row in index if row["packed_as"]}
    assert there == {name: sha256(data).hexdigest() for name, data in found.items() if name.startswith("photos/")}
    page = found[names.page_name("DH-02", "E", "engineer")].decode()
    assert all(f'src="{name}"' in page for name in there)
    assert all(PLACE not in data for data in found.values())


def test_only_the_released_photo_is_named_on_pages_that_go_out_and_stands_beside_them(demo: Done) -> None:
    folder = demo.index.parent
    for kind in ("homeowner", "homeowner.es", "history", "history.es"):
        page = (folder / names.page_name("DH-02", "E", kind)).read_text(encoding="utf-8")
        [address] = set(re.findall(r'<img src="([^"]+)"', page))
        assert address.startswith("released-photos/")
        assert PLACE not in (folder / address).read_bytes()
    others = [path for path in folder.glob("h[oi][ms]*_*.html") if "DH-02_E" not in path.name]
    assert len(others) == 4 * (len(list(folder.glob("wall_*.html"))) - 1)
    assert [path.name for path in others if "<img" in path.read_text(encoding="utf-8")] == []
    assert len(list((folder / "released-photos").iterdir())) == 1
    assert len(list((folder / "photos").iterdir())) == 3


def test_a_pack_takes_the_place_of_a_pack_and_of_no_other_file(demo: Done, tmp_path: Path) -> None:
    to = tmp_path / "ours.zip"
    to.write_text("mine")
    with pytest.raises(ReportError, match="no pack"):
        pack.pack(demo.store, demo.assessment, "DH-04-W", to)
    assert to.read_text() == "mine"
    to.unlink()
    pack.pack(demo.store, demo.assessment, "DH-04-W", to)
    pack.pack(demo.store, demo.assessment, "DH-04-W", to)
    assert pack.is_pack(to)
