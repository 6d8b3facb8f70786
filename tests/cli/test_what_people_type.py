"""What the commands answer to wrong people, days, houses and folders, and where mend sheets go."""

import re
import shutil
from datetime import date
from pathlib import Path

import pytest

from monitor.cli import exits, mend_sheets
from monitor.demo.run import Done
from monitor.pipeline import listing

pytestmark = pytest.mark.xdist_group("demo")

DEMO = ("--store", "reports/demo/store")
VISIT = "house,wall,visit date,technician,method,instrument,set-up,mark,value,unit,kind\n"


def visit_row(mark: str, value: str) -> str:
    return f"DH-06,E,2026-05-12,T1,string,BL-3,1,{mark},{value},in,gap\n"


FIVE = {"M1": "3", "M2": "2 1/2", "M3": "2 3/16", "M4": "2 1/2", "M5": "3"}


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> None:
    """A day after the demo's last list, whatever this machine's clock says."""
    from monitor.cli import options

    monkeypatch.setattr(options, "today", lambda: date(2026, 5, 13))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("assess", "--on", "30.04.2026"), "'30.04.2026' is no date. Write it like 2026-04-30."),
        (("assess", "--on", "2026-02-30"), "'2026-02-30' is no date. Write it like 2026-04-30."),
        (("assess", "--known-on", "noon"), "'noon' is no date. Write it like 2026-04-30."),
        (("flagged", "--month", "april"), "'april' is no month. Write it like 2026-04."),
    ],
)
def test_a_day_or_month_written_wrongly_is_answered_in_plain_words(words: tuple[str, ...], said: str, call) -> None:
    done = call(*words, *DEMO)
    assert done.code == 2
    assert said in " ".join(done.err.split())


def test_no_help_shows_a_programmers_type(call) -> None:
    from monitor.cli import commands

    names = [command.name or command.callback.__name__ for command in commands().registered_commands]
    assert len(names) > 15
    for name in names:
        shown = call(name, "--help").out
        assert not re.search(r"<\w+|%Y|list\[", shown), shown


def test_a_house_without_its_wall_is_answered_with_its_own_walls(call, demo: Done) -> None:
    done = call("wall", "dh-11", *DEMO)
    assert done.code == exits.NOT_FOUND
    assert done.err == (
        "This is a house; a wall of it is asked for. Found: dh-11. Expected: DH-11-N, DH-11-S."
        " Mend: Write house and wall.\n"
    )


@pytest.mark.parametrize(("option", "near"), [("--who", "O1."), ("--owner", "T")])
def test_a_person_who_is_not_registered_cannot_decide_nor_be_given_the_work(
    option: str, near: str, call, own: Path
) -> None:
    words = {"--who": "O1", "--owner": "O1", option: "T9"}
    done = call(
        "decide",
        "DH-02-E",
        "call engineer",
        "--store",
        str(own),
        "--why",
        "slides",
        *(w for p in words.items() for w in p),
    )
    assert done.code == exits.NOT_POSSIBLE
    assert done.err.startswith(f"Nobody with this person id is registered. Found: T9. Expected: {near}")


@pytest.mark.parametrize("option", ["--who", "--owner"])
def test_a_homeowner_can_neither_decide_nor_be_given_the_work(option: str, call, own: Path) -> None:
    given = [word for pair in ({"--who": "O1", "--owner": "O1"} | {option: "P01"}).items() for word in pair]
    done = call("decide", "DH-02-E", "no action", "--store", str(own), "--why", "x", *given)
    assert done.code == exits.NOT_POSSIBLE
    assert "may do this. Found: P01, registered as owner. Expected: " in done.err
    assert re.search(r"Expected:.*\bO1\b", done.err)
    assert not re.search(r"Expected:.*\bP\d", done.err)


def test_a_homeowner_cannot_rule_on_a_reading(call, own: Path, demo: Done) -> None:
    reading = listing.held(demo.store, demo.assessment).rows[0][0]
    done = call("release", reading, "--who", "P01", "--why", "x", "--store", str(own))
    assert done.code == exits.NOT_POSSIBLE
    assert done.err == (
        "Only people in the role office may do this. Found: P01, registered as owner. Expected: O1."
        " Mend: Give the id of one of them, or register one first.\n"
    )


def test_a_decision_due_in_the_past_is_refused_and_one_for_today_is_taken(call, own: Path, later: None) -> None:
    words = ("decide", "DH-02-E", "call engineer", "--store", str(own), "--who", "o1", "--why", "slides", "--due")
    refused = call(*words, "2026-05-12")
    assert refused.code == exits.NOT_POSSIBLE
    assert "2026-05-13 or later" in refused.err
    taken = call(*words, "2026-05-13")
    assert (taken.code, taken.err) == (exits.OK, "Recorded for DH-02-E: call engineer, by O1, due 2026-05-13.\n")


def test_where_nobody_is_registered_any_person_is_taken_with_a_note(call, tmp_path: Path, later: None) -> None:
    store = str(tmp_path / "store")
    call("setup", "--store", store)
    walls = tmp_path / "walls.csv"
    walls.write_text("house,wall,length_mm,clear_height_mm\nDH-01,N,9000,2400\n")
    houses = tmp_path / "houses.csv"
    houses.write_text("house\nDH-01\n")
    call("register", str(houses), str(walls), "--store", store)
    done = call("decide", "DH-01-N", "no action", "--store", store, "--who", "anybody", "--why", "new")
    assert done.code == exits.OK
    assert done.err.startswith("Nobody is registered, so the person is kept as written")
    assert "by anybody" in done.err


@pytest.mark.parametrize("wrong", ["a file", "/proc/x"])
def test_an_export_to_where_nothing_can_be_written_says_so(wrong: str, call, demo: Done, tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("mine")
    done = call("export", *DEMO, "--to", str(tmp_path / wrong))
    assert done.code == exits.NOT_POSSIBLE
    assert done.err.startswith("The export could not be written. Found: ")
    assert (tmp_path / "a file").read_text() == "mine"


def test_files_sent_to_the_wrong_command_name_the_right_one_and_the_others_are_taken(
    call, own: Path, tmp_path: Path
) -> None:
    visit, houses = tmp_path / "my-visit.csv", tmp_path / "houses.csv"
    visit.write_text(VISIT + visit_row("M3", "2 3/16"))
    houses.write_text("house,nickname\nDH-77,blue door\n")
    done = call("register", str(visit), str(houses), "--store", str(own))
    assert done.code == exits.NOT_TAKEN
    assert "`wallbow ingest`" in done.err
    assert "houses.csv: 1 rows of houses received: 1 used." in done.out
    assert "`wallbow register`" in call("ingest", str(houses), "--store", str(own)).err


@pytest.mark.parametrize("command", ["ingest", "register"])
def test_headings_alone_are_no_file(command: str, call, own: Path, tmp_path: Path) -> None:
    sent = tmp_path / "empty.csv"
    sent.write_text(VISIT if command == "ingest" else "house,nickname\n")
    done = call(command, str(sent), "--store", str(own))
    assert done.code == exits.NOT_TAKEN
    assert "headings and no row below them" in done.err
    assert done.out == ""


def test_a_mended_visit_from_first_file_to_the_original_sent_again(
    call, own: Path, tmp_path: Path, later: None
) -> None:
    sent = tmp_path / "visit.csv"
    values = FIVE | {"M3": "1 3/15"}
    sent.write_text(VISIT + "".join(visit_row(*pair) for pair in values.items()))
    mend = tmp_path / "mend"
    words = ("--store", str(own), "--mend-to", str(mend))
    first = call("ingest", str(sent), *words)
    assert first.code == exits.ROWS_TO_MEND
    assert first.out == "visit.csv: 5 readings received: 4 used, 1 rejected.\n"
    (sheet,) = mend.iterdir()
    assert sheet.name == "visit.readings.mend.csv"
    assert ",2026-05-12," in sheet.read_text(encoding="utf-8-sig")
    # mended as it was first offered, the row is held by what its set-up says, and the sheet's name does not grow
    text = sheet.read_text(encoding="utf-8-sig")
    sheet.write_text(text.replace(",1 3/15,", ",1 3/16,"))
    held = call("ingest", str(sheet), *words)
    assert (
        held.out
        == "visit.readings.mend.csv: 1 readings received: 0 used, 1 held (kept, not used until somebody decides).\n"
    )
    assert {path.name for path in mend.iterdir()} == {"visit.readings.mend.csv", "visit.readings.mend-2.csv"}
    right = mend / "visit.readings.mend-2.csv"
    right.write_text(right.read_text(encoding="utf-8-sig").replace(",1 3/16,", ",2 3/16,"))
    assert call("ingest", str(right), *words).code == exits.OK
    again = call("ingest", str(sent), *words)
    assert (again.code, again.err) == (exits.OK, "")
    assert "already in" in again.out
    whole = tmp_path / "whole.csv"
    whole.write_text(VISIT + "".join(visit_row(*pair) for pair in FIVE.items()) + visit_row("M9", "2 3/16"))
    done = call("ingest", str(whole), *words)
    assert done.out == "whole.csv: 6 readings received: 0 used, 1 rejected, 5 already in.\n"
    about_the_row, of_the_wall = done.err.splitlines()[:2], done.err.splitlines()[2:]
    assert "M9" in about_the_row[0], done.err
    assert [line.split(":")[0].strip() for line in of_the_wall] == ["DH-06-E", "decision this month"], done.err


def test_mend_sheets_go_to_a_folder_of_their_own_where_none_is_named(
    call, own: Path, tmp_path: Path, demo_home: Path, later: None
) -> None:
    sent = tmp_path / "visit.csv"
    sent.write_text(VISIT + visit_row("M9", "2 3/16"))
    call("ingest", str(sent), "--store", str(own))
    sheet = demo_home / "mend" / "visit.readings.mend.csv"
    assert sheet.exists()
    shutil.rmtree(sheet.parent)


def test_a_mend_sheet_is_never_written_over_another_nor_twice(tmp_path: Path) -> None:
    first = mend_sheets.keep(tmp_path, "visit.csv", "readings", b"one")
    assert mend_sheets.keep(tmp_path, "visit.csv", "readings", b"one") == first
    second = mend_sheets.keep(tmp_path, first.name, "readings", b"two")
    third = mend_sheets.keep(tmp_path, second.name, "readings", b"three")
    assert [path.name for path in (first, second, third)] == [
        "visit.readings.mend.csv", "visit.readings.mend-2.csv", "visit.readings.mend-3.csv"
    ]  # fmt: skip
    assert first.read_bytes() == b"one"


def test_a_reading_that_came_after_the_assessment_is_listed_as_not_yet_assessed(
    call, own: Path, tmp_path: Path, later: None
) -> None:
    sent = tmp_path / "visit.csv"
    sent.write_text(VISIT + "".join(visit_row(*pair) for pair in FIVE.items()))
    assert call("ingest", str(sent), "--store", str(own)).code == exits.OK
    shown = call("wall", "DH-06-E", "--store", str(own))
    new = [line for line in shown.out.splitlines() if "2026-05-12" in line]
    assert "Assessed again for" in shown.out
    assert "not yet assessed" not in shown.out
    shutil.rmtree(own / "assessments" / "again")
    shown = call("wall", "DH-06-E", "--store", str(own))
    new = [line for line in shown.out.splitlines() if "2026-05-12" in line]
    assert len(new) == 5
    assert all("not yet assessed" in line for line in new)
    assert "5 of the readings came or changed after the assessment" in shown.out
    reading = new[0].split()[0]
    words = ("--store", str(own), "--who", "O1", "--why", "slip of the pen")
    ruled = call("correct", reading, "2 3/4", "--unit", "in", *words)
    assert ruled.code == exits.OK
    assert "\nDH-06-E: " in ruled.err, "what the wall is judged to be with that is said at once"
    assert "Assessed again for" in call("wall", "DH-06-E", "--store", str(own)).out
    again = call("ingest", str(sent), "--store", str(own))
    assert again.code == exits.OK
    shown = call("wall", "DH-06-E", "--store", str(own))
    rows = re.findall(r"(?m)^ *[0-9a-f]{16} +2026-05-12 ", shown.out)
    assert len(rows) == 5, "rows that are in already do not crowd the list"


def test_a_wall_can_be_looked_at_before_any_assessment(call, tmp_path: Path, demo_home: Path, later: None) -> None:
    store = str(tmp_path / "store")
    call("setup", "--store", store)
    register = sorted(str(path) for path in demo_home.glob("data/demo/register/*"))
    call("register", *register, "--store", store, "--mend-to", str(tmp_path / "mend"))
    sent = tmp_path / "visit.csv"
    sent.write_text(VISIT + visit_row("M3", "2 3/16"))
    call("ingest", str(sent), "--store", store, "--mend-to", str(tmp_path / "mend"))
    done = call("wall", "DH-06-E", "--store", store)
    assert done.code == exits.OK
    assert done.out.startswith("DH-06-E: not yet assessed.\n")
    assert "2 3/16 in" in done.out


def test_verify_ends_its_sentences(call, own: Path) -> None:
    victim = next(path for path in sorted((own / "inbox" / "readings").iterdir()) if path.suffix == ".parquet")
    victim.write_bytes(victim.read_bytes()[:-20])
    line = call("verify", "--store", str(own)).out.splitlines()[0]
    assert re.search(r"Affected: .*[^.]\. Mend: ", line), line


@pytest.mark.parametrize(
    ("typed", "meant"), [("asses", "assess"), ("flag", "flagged"), ("walls", "wall"), ("upload", "")]
)
def test_a_command_is_suggested_only_where_the_word_may_be_a_slip_for_it(typed: str, meant: str, call) -> None:
    done = call(typed)
    assert done.code == 2
    told = " ".join(done.err.replace("│", " ").split())
    assert f"No such command '{typed}'" in told
    assert re.findall(r"Did you mean '(\w+)'", told) == [meant][: len(meant)]


def test_verify_names_nothing_of_which_rows_of_no_house_would_be(call, own: Path) -> None:
    victim = next(path for path in sorted((own / "inbox" / "receipts").iterdir()) if path.suffix == ".parquet")
    victim.write_bytes(victim.read_bytes()[:-20])
    found = [line for line in call("verify", "--store", str(own)).out.splitlines() if victim.name in line]
    assert found
    assert all("Affected: the rows of one add to receipts. Still stands" in line for line in found), found
