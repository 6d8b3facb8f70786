"""The demo's files: the committed ones are those that the scenario writes, and every fault is in them."""

import csv
import io
import zipfile
from datetime import date, datetime
from pathlib import Path

import openpyxl
import pytest

from monitor.demo import files, truth
from monitor.demo.faults import date_of
from monitor.demo.scenario import PLANTS, STORIES
from monitor.demo.tables import workbook_bytes
from monitor.demo.walls import end_spots, geometry_of
from monitor.lengths import parse

FOLDER = Path(__file__).parents[2] / "data" / "demo"


@pytest.fixture(scope="module")
def made() -> dict[str, bytes]:
    return files.make()


@pytest.fixture(scope="module")
def rows(made: dict[str, bytes]) -> list[dict[str, str]]:
    """All rows of the files of visits, header names in small letters, with the file's name."""
    found = []
    for name in sorted(made):
        if name.startswith("visits/"):
            found += [row | {"file": name} for row in read(name, made[name])]
    return found


def read(name: str, content: bytes) -> list[dict[str, str]]:
    if name.endswith(".xlsx"):
        header, *body = openpyxl.load_workbook(io.BytesIO(content)).active.iter_rows(values_only=True)
        return [dict(zip(header, map(plain, line), strict=True)) for line in body]
    text = content.decode("utf-8-sig")
    lines = text.splitlines()[1:] if text.startswith("visit sheet") else text.splitlines()
    table = csv.DictReader(lines, delimiter=";" if ";" in lines[0] else ",")
    return [{key.lower(): value for key, value in row.items()} for row in table]


def plain(cell: object) -> str:
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    return "" if cell is None else str(cell)


def of(rows: list[dict[str, str]], wall: str, month: float, *marks: str) -> list[dict[str, str]]:
    house, name = wall.rsplit("-", 1)
    visit = (house, name, date_of(wall, month))
    found = [row for row in rows if (row["house"], row["wall"], row["visit date"]) == visit]
    return [row for row in found if not marks or row["mark"] in marks]


def mm(row: dict[str, str]) -> float:
    return parse(row["value"], row["unit"]).mm


def test_the_committed_files_are_those_that_the_scenario_writes(made: dict[str, bytes]) -> None:
    there = {str(path.relative_to(FOLDER)): path.read_bytes() for path in FOLDER.rglob("*") if path.is_file()}
    assert sorted(there) == sorted(made)
    assert [name for name in made if made[name] != there[name]] == []


def test_write_makes_the_files_below_a_folder(tmp_path: Path, made: dict[str, bytes]) -> None:
    assert {str(path.relative_to(tmp_path)): path.read_bytes() for path in files.write(tmp_path)} == made


def test_a_workbook_has_the_same_bytes_whenever_it_is_made() -> None:
    sheets = {"a": [{"x": 1, "day": date(2024, 1, 2), "t": "1 3/16"}]}
    first = workbook_bytes(sheets)
    assert first == workbook_bytes(sheets)
    book = openpyxl.load_workbook(io.BytesIO(first))
    stamps = [str(stamp) for stamp in (book.properties.created, book.properties.modified)]
    assert stamps == ["2023-04-03 00:00:00"] * 2
    with zipfile.ZipFile(io.BytesIO(first)) as packed:
        assert {entry.date_time for entry in packed.infolist()} == {(2023, 4, 3, 0, 0, 0)}
    assert book["a"]["C2"].value == "1 3/16"


def test_every_file_was_sent_after_its_visit_and_one_twice(made: dict[str, bytes]) -> None:
    sent = read("sent.csv", made["sent.csv"])
    names = [row["file"] for row in sent]
    assert set(names) == {name for name in made if "/" in name and not name.startswith("photos/")}
    twice = [name for name in names if names.count(name) > 1]
    assert twice == ["visits/2024-10-14_T1.csv"] * 2
    assert [row["sent at"] for row in sent] == sorted(row["sent at"] for row in sent)
    for row in sent:
        if row["kind"] == "readings":
            assert row["sent at"][:10] >= row["file"].removeprefix("visits/")[:10]


def test_marks_and_events_are_known_before_the_first_file_that_needs_them(
    made: dict[str, bytes], rows: list[dict[str, str]]
) -> None:
    at = {row["file"]: row["sent at"] for row in reversed(read("sent.csv", made["sent.csv"]))}
    for mark, wall in (("M3b", ("DH-08", "W")), ("E1", ("DH-07", "N")), ("E5", ("DH-07", "S"))):
        used = min(at[row["file"]] for row in rows if (row["house"], row["wall"], row["mark"]) == (*wall, mark))
        told = [
            at[name]
            for name in made
            if name.startswith("register/6_marks_")
            and any((row["house"], row["wall"], row["mark"]) == (*wall, mark) for row in read(name, made[name]))
        ]
        assert min(told) < used


def test_a_fraction_was_misread_by_ten_sixteenths(rows: list[dict[str, str]]) -> None:
    [row] = of(rows, "DH-06-E", 18, "M3")
    assert row["value"].endswith("13/16")
    others = [mm(r) for month in (0, 6, 12, 24) for r in of(rows, "DH-06-E", month, "M3")]
    assert mm(row) - sum(others) / len(others) == pytest.approx(15.9, abs=3)


def test_a_spreadsheet_made_a_date_of_a_fraction(rows: list[dict[str, str]]) -> None:
    assert [row["value"] for row in rows if row["value"] == "16-Mar"] == ["16-Mar"]
    [row] = of(rows, "DH-04-W", 12, "M5")
    assert row["value"] == "16-Mar"


def test_inches_stand_under_millimetres(rows: list[dict[str, str]]) -> None:
    for row in of(rows, "DH-10-N", 12):
        assert row["unit"] == "mm"
        assert 2 < float(row["value"]) < 6


def test_a_visit_was_copied_from_the_one_before(rows: list[dict[str, str]]) -> None:
    before, copy = (of(rows, "DH-13-N", month) for month in (3, 6))
    assert len(copy) == 10
    assert [(r["set-up"], r["mark"], mm(r)) for r in before] == [(r["set-up"], r["mark"], mm(r)) for r in copy]


def test_columns_were_read_from_right_to_left(rows: list[dict[str, str]]) -> None:
    usual = profile(rows, "DH-13-W", 12)
    reversed_columns = profile(rows, "DH-13-W", 18)
    apart = sum(abs(a - b) for a, b in zip(usual, reversed_columns, strict=True))
    mirrored = sum(abs(a - b) for a, b in zip(usual, reversed_columns[::-1], strict=True))
    assert mirrored < apart


def profile(rows: list[dict[str, str]], wall: str, month: float) -> list[float]:
    return [mm(row) for row in of(rows, wall, month) if row["method"] == "string"]


def test_two_walls_were_exchanged(rows: list[dict[str, str]]) -> None:
    north, south = (profile(rows, wall, 18)[2] for wall in ("DH-11-N", "DH-11-S"))
    north_after, south_after = (profile(rows, wall, 24)[2] for wall in ("DH-11-N", "DH-11-S"))
    assert south - north > 15
    assert north_after - south_after > 15


def test_gaps_were_called_deflections(rows: list[dict[str, str]]) -> None:
    assert {row["kind"] for row in of(rows, "DH-11-S", 12)} == {"deflection"}
    assert {row["kind"] for row in of(rows, "DH-11-S", 6)} == {"gap"}
    assert profile(rows, "DH-11-S", 12)[2] == pytest.approx(profile(rows, "DH-11-S", 6)[2], abs=5)


def test_an_unknown_mark_and_a_future_date_were_typed(rows: list[dict[str, str]]) -> None:
    assert [(r["house"], r["wall"], r["visit date"]) for r in rows if r["mark"] == "M33"] == [
        ("DH-11", "N", date_of("DH-11-N", 6))
    ]
    future = [(r["house"], r["wall"], r["mark"]) for r in rows if r["visit date"] > "2026-12-31"]
    assert future == [("DH-07", "S", "M4")]


def test_deflections_were_rightly_written_where_gaps_are_usual(rows: list[dict[str, str]]) -> None:
    written = of(rows, "DH-12-S", 6)
    assert {row["kind"] for row in written} == {"deflection"}
    gaps = profile(rows, "DH-12-S", 0)
    assert [76.2 - mm(row) for row in written] == pytest.approx(gaps, abs=5)


def test_every_ruling_names_one_reading_after_it_was_sent(made: dict[str, bytes], rows: list[dict[str, str]]) -> None:
    names = ("house", "wall", "visit date", "part", "set-up", "mark")
    rulings = read("rulings.csv", made["rulings.csv"])
    assert len({tuple(ruling[name] for name in names) for ruling in rulings}) == len(rulings) == 17
    for ruling in rulings:
        meant = [row for row in rows if all(row[name] == ruling[name] for name in names)]
        assert len(meant) == 1
        assert ruling["who"] == "O1"
        assert ruling["why"]
        assert ruling["ruled at"] > meant[0]["visit date"]


def test_the_correction_names_one_reading_and_takes_an_eighth_off(
    made: dict[str, bytes], rows: list[dict[str, str]]
) -> None:
    [ruling] = [row for row in read("rulings.csv", made["rulings.csv"]) if row["act"] == "correct"]
    [row] = [r for r in of(rows, "DH-05-N", 30, ruling["mark"]) if r["set-up"] == ruling["set-up"]]
    assert row["visit date"] == ruling["visit date"]
    assert mm(row) - parse(ruling["value"], ruling["unit"]).mm == pytest.approx(25.4 / 8)


def test_a_lost_mark_is_said_to_be_lost_and_its_heir_read(rows: list[dict[str, str]]) -> None:
    lost, heir = of(rows, "DH-08-W", 12, "M3", "M3b")
    assert (lost["mark"], lost["value"], lost["could not read"]) == ("M3", "", "mark lost")
    assert (heir["mark"], heir["value"] != "") == ("M3b", True)
    assert of(rows, "DH-08-W", 18, "M3") == []


def test_a_finished_wall_is_read_through_its_hatch_only(rows: list[dict[str, str]]) -> None:
    for month in (30, 36):
        for row in of(rows, "DH-13-N", month):
            assert (row["value"] == "") == (row["mark"] != "M3") == (row["could not read"] == "covered")


def test_the_third_technician_reads_the_meter_two_millimetres_further_in(rows: list[dict[str, str]]) -> None:
    differences = []
    for wall, month in (("DH-10-S", 12), ("DH-10-S", 24), ("DH-02-E", 18)):
        meter = [row for row in of(rows, wall, month) if row["method"] == "meter"]
        ours, theirs = ([row for row in meter if row["technician"] == who] for who in ("T2", "T3"))
        differences += [mm(a) - mm(b) for a, b in zip(ours, theirs, strict=True)]
    assert sum(differences) / len(differences) == pytest.approx(2.0, abs=1.5)


def test_straps_have_a_visit_before_and_after_on_their_day_and_one_a_month_later(rows: list[dict[str, str]]) -> None:
    for story in STORIES:
        if story.straps_month is not None:
            parts = {row["part"] for row in of(rows, story.name, story.straps_month)}
            assert parts == {"before", "after"}
            assert of(rows, story.name, story.straps_month + 1)


def test_what_two_readings_seem_to_show_is_as_told(rows: list[dict[str, str]]) -> None:
    """DH-04-W, written as deflection: about +12 mm/yr in its first half year; DH-12-E about 8 (gap falls)."""
    first, spring = (profile(rows, "DH-04-W", month)[2] for month in (0, 6))
    assert (spring - first) * 2 == pytest.approx(12, abs=4)
    september, march = (profile(rows, "DH-12-E", month)[2] for month in (0, 6))
    assert (september - march) * 2 == pytest.approx(8, abs=4)


def test_the_laser_reads_the_middle_of_one_wall_four_millimetres_less_against_its_ends() -> None:
    story = next(story for story in STORIES if story.name == "DH-07-N")
    geometry = geometry_of(story)
    for spot in end_spots(story):
        assert story.bow_mm * float(geometry.along(spot.x_mm)) + spot.proud_mm == pytest.approx(4.0)


def test_the_truth_says_what_the_story_says(made: dict[str, bytes]) -> None:
    told = {(r["house"], r["wall"], r["mark"], int(r["period"])): r for r in read("t.csv", made["truth_marks.csv"])}
    corner = told["DH-13", "W", "M3", 0]
    assert float(corner["rate [mm/yr]"]) == pytest.approx(3.0)
    assert float(corner["as seen by string [mm/yr]"]) == pytest.approx(2.0)
    slide = told["DH-02", "E", "T3", 1]
    assert float(slide["rate [mm/yr]"]) == pytest.approx(0.0)
    base = told["DH-02", "E", "B3", 1]
    seen = "as seen by plumb [mm/yr]"
    assert float(slide[seen]) - float(base[seen]) == pytest.approx(-3.0)
    tip = told["DH-03", "S", "M3", 1]
    assert float(tip["as seen by string [mm/yr]"]) == pytest.approx(2.0)
    components = {(r["house"], r["wall"], int(r["period"])): r for r in read("t.csv", made["truth.csv"])}
    assert float(components["DH-03", "S", 1]["rate of bow [mm/yr]"]) == pytest.approx(0.0, abs=0.2)


def test_every_wall_has_a_right_answer_and_every_plant_stands_in_the_readme(made: dict[str, bytes]) -> None:
    readme = made["README.md"].decode()
    for story in STORIES:
        assert f"| {story.name} | {story.told} | {story.answer} |" in readme
    for plant in PLANTS:
        assert f"| {plant.what} | {plant.where} | {plant.answer} |" in readme
    assert {(row["house"], row["wall"]) for row in truth.walls()} == {(s.house, s.wall) for s in STORIES}
    assert len(STORIES) == 19


def test_people_are_plainly_invented(made: dict[str, bytes]) -> None:
    for person in read("people.csv", made["register/2_people.csv"]):
        assert person["email"].endswith("@example.invalid")
        assert person["phone"].startswith("555-0")
        assert person["name"].endswith(" Example")
