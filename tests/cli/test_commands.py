"""The doors to people: every command's help and example, exit codes, and what the wrong things answer."""

import csv
import io
import re
import shlex
import shutil
from pathlib import Path

import pytest
import typer

from monitor.cli import commands, exits
from monitor.demo.run import Done
from monitor.pipeline import listing, photos
from monitor.terms import State

pytestmark = pytest.mark.xdist_group("demo")

COMMANDS = sorted(typer.main.get_command(commands()).commands)  # type: ignore[attr-defined]


def held_id(demo: Done, wall: str = "DH-10-N") -> str:
    return next(row[0] for row in listing.held(demo.store, demo.assessment).rows if row[1] == wall)


def example_of(text: str) -> list[str]:
    found = re.search(r"Example: wallbow (.*)$", " ".join(text.split()))
    assert found, text
    return shlex.split(re.sub(r" \(ID from:.*\)$", "", found.group(1)))


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_of_every_command_ends_with_an_example_that_works_on_the_demo(
    name: str, call, demo: Done, demo_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitor.web.serving.listen", lambda *_: [])  # that port may be in use here
    monkeypatch.setattr("uvicorn.Server.run", lambda *_: None)  # else `serve` serves until it is stopped
    shown = call(name, "--help")
    assert shown.code == exits.OK
    words = example_of(shown.out)
    assert words[0] == name
    released = name == "withhold-photo"
    photo = next(row["photo_id"] for row in photos.standing(demo.store) if row["released"] is released)
    some_id = photo if "photo" in name else held_id(demo)
    words = [some_id if word == "ID" else word for word in words]
    store = shutil.copytree(demo_home / "reports" / "demo" / "store", tmp_path / "store")
    words = [str(store) if word == "reports/demo/store" else word for word in words]
    words = [str(tmp_path / "try-store") if word == "try-store" else word for word in words]
    if name == "acknowledge":
        words = [
            call("alerts", "--csv", "--store", words[3]).out.split("\n")[1][:16] if word == some_id else word
            for word in words
        ]
    words = [str(path) for word in words for path in (sorted(demo_home.glob(word)) if "*" in word else [word])]
    if name == "demo":
        assert words == ["demo"], "what the fixture typed"
        return
    if name in ("register", "ingest"):
        call("setup", "--store", str(tmp_path / "try-store"))
    if name == "ingest":
        register = [str(path) for path in sorted(demo_home.glob("data/demo/register/*"))]
        call("register", "--store", str(tmp_path / "try-store"), "--mend-to", str(tmp_path), *register)
        words += ["--mend-to", str(tmp_path)]
    allowed = (exits.OK, exits.ROWS_TO_MEND) if name in ("ingest", "photos") else (exits.OK,)
    done = call(*words)
    assert done.code in allowed, done.err


def test_the_help_lists_every_exit_code_with_its_meaning(call) -> None:
    shown = " ".join(call("--help").out.split())
    for code, meaning in exits.MEANING.items():
        assert f"{code} {meaning}" in shown


def test_data_goes_to_stdout_and_messages_to_stderr(call, demo: Done, demo_home: Path) -> None:
    done = call("flagged", "--store", "reports/demo/store", "--csv")
    rows = list(csv.DictReader(io.StringIO(done.out)))
    assert done.code == exits.OK
    assert {row["wall"] for row in rows} >= {"DH-12-S", "DH-09-E"}
    assert done.err.startswith("Walls: ")


def test_the_plan_lists_hard_limits_then_overdue_walls_then_those_due_by_the_end_of_the_quarter(
    call, demo: Done
) -> None:
    done = call("plan", "--store", "reports/demo/store", "--quarter", "2026Q3", "--csv")
    first, *rows = csv.DictReader(io.StringIO(done.out))
    assert (first["wall"], first["visit on"], first[""]) == ("DH-12-S", "2026-04-30", "same-day call")
    late = [row["wall"] for row in rows if "overdue" in row[""]]
    assert "DH-09-E" in late
    assert [row["wall"] for row in rows][: len(late)] == late
    others = {row["wall"]: row["visit on"] for row in rows[len(late) :]}
    assert others
    assert all("2026-07-01" <= day <= "2026-09-30" for day in others.values())
    assert done.err == f"{1 + len(rows)} walls to visit, {len(late)} of them overdue.\n"
    assert call("plan", "--store", "reports/demo/store", "--quarter", "2026Q3", "--csv").out == done.out


def test_a_quarter_written_wrongly_says_how_to_write_it(call, demo: Done) -> None:
    done = call("plan", "--store", "reports/demo/store", "--quarter", "summer")
    assert done.code == exits.NOT_FOUND
    assert "2026Q3" in done.err


def test_an_unknown_wall_names_the_nearest_ones(call, demo: Done) -> None:
    done = call("wall", "DH-02-W", "--store", "reports/demo/store")
    assert done.code == exits.NOT_FOUND
    assert "DH-02-E" in done.err
    assert done.out == ""


def test_a_folder_that_is_no_store_says_so(call, tmp_path: Path) -> None:
    done = call("assess", "--store", str(tmp_path))
    assert done.code == exits.STORE
    assert "not a store" in done.err


def test_an_option_written_wrongly_is_wrong_usage(call) -> None:
    assert call("assess", "--on", "30.04.2026").code == 2


def test_a_month_without_an_assessment_says_what_to_run(call, demo: Done) -> None:
    done = call("flagged", "--store", "reports/demo/store", "--month", "2019-01")
    assert done.code == exits.NOT_FOUND
    assert "wallbow assess" in done.err


def test_a_file_that_is_no_readings_file_is_not_taken_and_the_others_are(call, own: Path, tmp_path: Path) -> None:
    wrong = tmp_path / "shopping.csv"
    wrong.write_text("item,price\nbucket,4\n")
    right = tmp_path / "again.csv"
    shutil.copy("data/demo/visits/2023-04-10_T1.csv", right)
    done = call("ingest", str(wrong), str(right), "--store", str(own))
    assert done.code == exits.NOT_TAKEN
    assert "shopping.csv" in done.err
    assert "already in" in done.out


def test_release_needs_who_and_why_that_say_something(call, own: Path, demo: Done) -> None:
    done = call("release", held_id(demo), "--store", str(own), "--who", "O1", "--why", " ")
    assert done.code == exits.NOT_POSSIBLE
    assert "who" in done.err.lower()


def test_a_released_reading_is_used_at_the_next_assessment_and_withdrawing_takes_it_back(
    call, own: Path, demo: Done
) -> None:
    from monitor import store as stores
    from monitor.pipeline.review import find_reading

    reading = next(
        row["reading_id"]
        for row in demo.store.readings().to_pylist()
        if row["state"] == State.HELD and row["deflection_mm"] is not None
    )
    words = ("--store", str(own), "--who", "O1", "--why", "read again, the same")
    assert call("release", reading[:8], *words).code == exits.OK
    assert find_reading(stores.open(own), reading)["state"] == State.USED
    assert call("withdraw", reading, *words).code == exits.OK
    assert find_reading(stores.open(own), reading)["state"] == State.HELD


def test_a_correction_that_is_no_length_changes_nothing(call, own: Path, demo: Done) -> None:
    done = call("correct", held_id(demo), "1 3/15", "--unit", "in", "--store", str(own), "--who", "O1", "--why", "slip")
    assert done.code == exits.NOT_TAKEN
    assert "1 3/16" in done.err


def test_a_preview_writes_nothing(call, own: Path, tmp_path: Path) -> None:
    before = sorted(path.name for path in own.rglob("*"))
    sheet = tmp_path / "visit.csv"
    text = Path("data/demo/visits/2023-04-10_T1.csv").read_text().replace("2023-04-10", "2026-05-10")
    sheet.write_text(text)
    done = call("ingest", "--preview", str(sheet), "--store", str(own))
    assert "would be received" in done.out
    assert sorted(path.name for path in own.rglob("*")) == before


def test_damage_is_named_and_has_its_exit_code(call, own: Path) -> None:
    assert call("verify", "--store", str(own)).code == exits.OK
    victim = next(path for path in sorted((own / "inbox" / "readings").iterdir()) if path.suffix == ".parquet")
    victim.write_bytes(victim.read_bytes()[:-20])
    done = call("verify", "--store", str(own))
    assert done.code == exits.DAMAGED
    assert victim.name in done.out


def test_the_demo_leaves_a_folder_alone_that_it_did_not_make(call, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    done = call("demo", "--to", str(tmp_path))
    assert done.code == exits.STORE
    assert (tmp_path / "mine.txt").read_text() == "mine"


def test_the_readme_names_every_command_and_judges_the_demos_month_by_its_last_day() -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text()
    table = "\n".join(line for line in text.splitlines() if line.startswith("| ") and "`" in line)
    assert set(COMMANDS) == {word for word in re.findall(r"`([a-z-]+)`", table) if not word.startswith("--")}
    assert "wallbow assess --store our-store --on 2026-04-30\n" in text
