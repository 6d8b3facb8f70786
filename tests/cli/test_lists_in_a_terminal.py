"""Lists as people see them in a narrow or a wide terminal, and as scripts read them."""

import csv
import hashlib
import io
import re
import shutil
from pathlib import Path

import pytest

from monitor import store as stores
from monitor.cli import exits, show
from monitor.demo.run import Done
from monitor.pipeline import listing

pytestmark = pytest.mark.xdist_group("demo")

DEMO = ("--store", "reports/demo/store")


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(show, "_width", lambda: 80)


def block_of(text: str, wall: str) -> list[str]:
    """The lines of one wall's block."""
    return next(block.splitlines() for block in text.split("\n\n") if block.startswith(f"{wall} |"))


def test_a_damaged_card_of_an_earlier_list_stops_only_that_list(call, own: Path, demo: Done) -> None:
    whole = call("flagged", "--csv", "--store", str(own))
    card = own / "assessments" / "2026-03-31" / "assessment.json"
    card.write_bytes(card.read_bytes().replace(b"2026", b"2O26", 1))
    done = call("flagged", "--csv", "--store", str(own))
    assert (done.code, done.out) == (exits.OK, whole.out), "what left the list since is told from the facts"
    assert call("wall", "DH-02-E", "--store", str(own)).code == exits.OK
    refused = call("flagged", "--month", "2026-03", "--store", str(own))
    assert refused.code == exits.STORE
    assert "2026-03-31/assessment.json: This assessment is damaged" in refused.err
    assert call("verify", "--store", str(own)).code != exits.OK


def test_a_narrow_terminal_gets_one_block_a_wall_within_its_width(call, demo: Done, narrow: None) -> None:
    done = call("flagged", *DEMO)
    assert max(len(line) for line in done.out.splitlines()) <= 80
    assert "─" not in done.out
    lines = block_of(done.out, "DH-12-S")
    assert lines[0].startswith("DH-12-S | Hard limits | same-day call | rate ")
    assert "Next: Call the house today" in lines[-1] or "  Next: Call the house today" in "\n".join(lines)


def test_a_wide_terminal_gets_a_table_with_the_decision_in_one_column(call, demo: Done) -> None:
    shown = call("flagged", *DEMO).out
    head = next(line for line in shown.splitlines() if "urgency" in line)
    assert "decided" in head
    assert "decision_step" not in head


def test_a_terminal_shows_a_rate_as_it_is_and_a_csv_file_so_that_no_spreadsheet_runs_it(call, demo: Done) -> None:
    rates = [row["rate, 9 times in 10 between"] for row in rows_of(call("flagged", "--csv", *DEMO).out)]
    assert any(rate.startswith("'-") for rate in rates)
    shown = call("flagged", *DEMO).out
    assert "'-" not in shown
    assert re.search(r"(?m) -\d\.\d+ to", shown)


def test_a_long_list_is_written_some_rows_at_a_time(call, demo: Done, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = call("flagged", "--csv", *DEMO).out
    walls = [row[2] for row in listing.monthly(demo.store, demo.assessment).rows]
    assert [row["wall"] for row in rows_of(whole)] == walls
    written: list[str] = []
    monkeypatch.setattr(show, "_AT_ONCE", 2)
    monkeypatch.setattr(show.typer, "echo", lambda text, err=False, **_: err or written.append(text))
    call("flagged", "--csv", *DEMO)
    assert "".join(written) == whole
    assert max(len(rows_of(f"{whole.splitlines()[0]}\n{text}")) for text in written) == 2


def test_a_decision_stands_in_every_form_of_the_list_at_once(call, own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    words = ("--who", "O1", "--owner", "E1", "--why", "slides at the base", "--due", "2999-05-15", "--store", str(own))
    assert call("decide", "DH-02-E", "call engineer", *words).code == exits.OK
    (row,) = [row for row in rows_of(call("flagged", "--csv", "--store", str(own)).out) if row["wall"] == "DH-02-E"]
    found = [row[f"decision_{part}"] for part in ("step", "owner", "due", "why")]
    assert found == ["call engineer", "E1", "2999-05-15", "slides at the base"]
    monkeypatch.setattr(show, "_width", lambda: 80)
    lines = block_of(call("flagged", "--store", str(own)).out, "DH-02-E")
    assert lines[-1] == "  Decided: call engineer, by E1, due 2999-05-15: slides at the base"


def test_held_readings_are_one_block_a_set_up_with_every_id_and_one_row_a_reading_for_scripts(call, demo: Done) -> None:
    rows = rows_of(call("flagged", "--held", "--csv", *DEMO).out)
    shown = call("flagged", "--held", *DEMO).out
    blocks = shown.split("\n\n")[1:]
    blocks = [block for block in blocks if block.strip()]
    assert len(rows) > 2 * len(blocks) > 0
    assert sum(shown.count(row["id"][:8]) == 1 for row in rows) == len(rows)
    assert len({row["id"][:8] for row in rows}) == len(rows)
    files = {row["wall"]: row["file"] for row in rows}
    kept = {row["reading_id"]: row["source_name"] for row in demo.store.readings().to_pylist()}
    assert all(row["file"] == kept[row["id"]] != "" for row in rows)
    laser = next(block for block in blocks if block.startswith("DH-10-N"))
    assert laser.splitlines()[0] == f"DH-10-N | 2024-04-15 | laser, set-up 1 | 5 readings of {files['DH-10-N']}"
    assert laser.count("look like inches") == 1


def test_readings_of_one_set_up_held_for_different_reasons_say_how_many_more_there_are(demo: Done) -> None:
    held = listing.held(demo.store, demo.assessment)
    reasons = {}
    for row in held.rows:
        reasons.setdefault((row[1], row[3]), set()).add(row[-1])
    several = {place for place, found in reasons.items() if len(found) > 1}
    told = {tuple(block[0].split(" | ")[:2]) for block in held.blocks if "more, put alike)" in block[1]}
    assert told == several


def test_a_distance_is_no_deflection(call, demo: Done) -> None:
    plumb = [line for line in call("wall", "DH-02-E", *DEMO).out.splitlines() if " plumb " in line]
    string = [line for line in call("wall", "DH-06-E", *DEMO).out.splitlines() if " string " in line]
    value = re.compile(r" (-?\d+\.\d) +(used|held)")
    assert plumb
    assert not any(value.search(line) for line in plumb)
    assert len(string) > 10
    assert all(value.search(line) for line in string)


def test_the_demo_prints_in_short_what_was_flagged_and_held(
    call, demo: Done, demo_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from monitor.demo import run as demo_run

    monkeypatch.setattr(demo_run, "run", lambda *_, **__: demo)
    done = call("demo", "--to", str(tmp_path / "again"))
    assert done.code == exits.OK
    assert done.out.startswith("Flagged walls, and walls to look at again (")
    assert "DH-12-S: hard limits" in done.out
    assert "DH-02-E: look again" in done.out
    assert "Held readings (" in done.out
    assert len(done.out.splitlines()) < 60
    assert len(done.err.splitlines()) == 5
    first = done.err.splitlines()[0]
    assert "files taken in, 1 of them sent a second time." in first
    assert "already in" not in first
    used = sum(each.intake.used for each in demo.taken if each.intake.holds == "readings" and each.added)
    assert f"{used} used" in first


def test_the_export_says_of_every_empty_table_why_it_may_be_empty(call, demo: Done, own: Path, tmp_path: Path) -> None:
    to = tmp_path / "export"
    assert call("export", "--to", str(to), "--store", str(own)).code == exits.OK
    told = (to / "README.txt").read_text()
    empty = {path.stem for path in to.glob("*.csv") if len(path.read_text().splitlines()) == 1}
    assert "suspects" in empty
    assert {line.split(".csv")[0] for line in told.splitlines() if ".csv has no rows: " in line} == empty
    receipts = rows_of((to / "receipts.csv").read_text())
    for row in receipts:
        counts = [int(row[name]) for name in ("used", "held", "rejected", "could_not_read")]
        assert int(row["received"]) == sum(counts)


def test_an_export_as_known_before_any_assessment_says_that_there_are_no_results(
    call, own: Path, tmp_path: Path
) -> None:
    to = tmp_path / "export"
    call("export", "--to", str(to), "--store", str(own), "--known-on", "2024-01-01")
    assert not (to / "wall_results.csv").exists()
    assert "No assessment had been made by then" in (to / "README.txt").read_text()


def test_the_export_has_the_ledger_of_what_was_published_and_nothing_of_who_may_sign_in(
    call, demo: Done, tmp_path: Path
) -> None:
    to = tmp_path / "export"
    assert call("export", "--to", str(to), *DEMO).code == exits.OK
    kept = {name: rows_of((to / f"{name}.csv").read_text()) for name in ("runs", "settings_kept", "editions", "pages")}
    published = {row["page"]: row["sha256"] for row in kept["pages"]}
    for name, sha256 in published.items():
        assert hashlib.sha256((demo.index.parent / name).read_bytes()).hexdigest() == sha256
    assert set(published) >= {path.name for path in demo.index.parent.glob("*.html")}
    assert {row["edition_id"] for row in kept["pages"]} == {row["edition_id"] for row in kept["editions"]}
    assert {row["run_id"] for row in kept["editions"]} <= {row["run_id"] for row in kept["runs"]}
    assert {row["settings_sha256"] for row in kept["runs"]} == {row["settings_sha256"] for row in kept["settings_kept"]}
    assert [row["wall"] for row in rows_of((to / "news.csv").read_text())] == ["S"]
    explained = {(row["table"], row["column"]) for row in rows_of((to / "dictionary.csv").read_text())}
    assert {(name, column) for name, rows in kept.items() for column in rows[0]} <= explained
    assert not [name for name in ("accounts", "sessions_ended", "audit") if (to / f"{name}.csv").exists()]


def test_receipts_count_what_the_readings_table_holds_and_what_came_twice(demo: Done) -> None:
    receipts = [row for row in demo.store.facts("receipts").to_pylist() if row["holds"] == "readings"]
    once = {row["source_sha256"]: row["received"] for row in receipts}
    assert len(once) < len(receipts), "the demo sends one file twice"
    ids = set(demo.store.facts("readings")["reading_id"].to_pylist())
    assert sum(once.values()) == len(ids)


def test_a_store_opened_again_shows_the_same_list(demo: Done, tmp_path: Path) -> None:
    copy = shutil.copytree(demo.store.path, tmp_path / "store")
    assert listing.monthly(stores.open(copy), demo.assessment) == listing.monthly(demo.store, demo.assessment)
