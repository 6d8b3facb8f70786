"""verify --page and --number, reports --known-on: as people call them, with what they answer and their exit codes."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from monitor import store as stores
from monitor.cli import exits
from monitor.demo.run import Done
from monitor.pipeline import editions, publishing, runs
from monitor.pipeline.publishing import number_in
from monitor.report import names

pytestmark = pytest.mark.xdist_group("demo")


@pytest.fixture
def page(demo: Done, demo_home: Path) -> Path:
    return demo_home / "reports" / "demo" / "pages" / names.page_name("DH-02", "E", "history")


def test_a_page_that_stands_is_proved_from_its_file_and_its_number(call, own: Path, page: Path) -> None:
    done = call("verify", "--store", str(own), "--page", str(page))
    assert done.code == exits.OK
    assert done.out.startswith(f"This page is as we wrote it: {page.name}, page number ")
    assert done.out.splitlines()[1] == "No newer page has taken its place."
    done = call("verify", "--store", str(own), "--number", number_in(page.read_bytes()).upper())
    assert (done.code, done.out[:34]) == (exits.OK, "We wrote a page of this number: hi")


def test_an_altered_page_a_strange_one_and_a_wrong_number_have_exit_codes_of_their_own(
    call, own: Path, page: Path, tmp_path: Path
) -> None:
    altered = tmp_path / "altered.html"
    altered.write_bytes(page.read_bytes().replace(b"inch", b"Inch", 1))
    done = call("verify", "--store", str(own), "--page", str(altered))
    assert (done.code, done.out[:8]) == (exits.ALTERED, "ALTERED:")
    altered.write_text("<p>nothing of ours</p>")
    done = call("verify", "--store", str(own), "--page", str(altered))
    assert (done.code, done.out[:8]) == (exits.NOT_FOUND, "Unknown:")
    assert call("verify", "--store", str(own), "--number", "0000-0000-0000").code == exits.NOT_FOUND
    done = call("verify", "--store", str(own), "--number", "12")
    assert done.code == exits.NOT_FOUND
    assert "no page number" in done.err
    both = call("verify", "--store", str(own), "--number", "12", "--page", str(altered))
    assert both.code == 2


def test_a_superseded_page_names_the_page_that_took_its_place_and_why(
    call, own: Path, page: Path, tmp_path: Path, demo: Done
) -> None:
    store = stores.open(own)
    store.office.set_company({"name": "a new name", "contact": ""})
    later = demo.assessment.known_until + timedelta(days=3)
    publishing.publish(store, demo.assessment, tmp_path / "pages", published_at=later)
    done = call("verify", "--store", str(own), "--page", str(page))
    assert done.code == exits.SUPERSEDED
    number = number_in((tmp_path / "pages" / page.name).read_bytes())
    assert f"SUPERSEDED on 2026-05-03 by page number {number}" in done.out
    assert done.out.splitlines()[-1] == "  What the company says of itself changed."


def test_pages_as_known_on_a_day_equal_those_published_and_nothing_goes_onto_the_ledger(
    call, own: Path, page: Path, tmp_path: Path
) -> None:
    before = stores.open(own).office.rows("pages")
    done = call("reports", "--store", str(own), "--to", str(tmp_path / "again"), "--known-on", "2026-04-30")
    assert done.code == exits.OK
    assert (tmp_path / "again" / page.name).read_bytes() == page.read_bytes()
    assert f"{len(before)} of {len(before)} equal those published, byte for byte." in done.out
    assert stores.open(own).office.rows("pages") == before


def test_a_page_that_cannot_be_rebuilt_to_its_bytes_is_named(
    call, own: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = publishing._all_pages

    def changed(*given: object) -> Iterator[tuple[str, bytes]]:
        for name, data in real(*given):  # type: ignore[arg-type]
            yield name, data + b"\n" if name == names.INDEX else data

    monkeypatch.setattr(publishing, "_all_pages", changed)
    done = call("reports", "--store", str(own), "--to", str(tmp_path / "again"), "--known-on", "2026-04-30")
    assert done.code == exits.ALTERED
    assert "These differ: index.html." in done.out


def test_nothing_was_known_before_the_first_assessment(call, own: Path, tmp_path: Path) -> None:
    done = call("reports", "--store", str(own), "--to", str(tmp_path / "again"), "--known-on", "2024-01-31")
    assert done.code == exits.NOT_FOUND
    assert "wallbow assess --on DAY --known-on DATE" in done.err
    assert not (tmp_path / "again").exists()


def test_the_demos_runs_and_edition_are_on_record(demo: Done) -> None:
    found = list(runs.on_record(demo.store).values())
    assert [run.judged_on.isoformat() for run in found] == ["2026-03-31", "2026-04-30"]
    (edition,) = editions.on_record(demo.store)
    assert edition.run == found[1]
    assert list(edition.earlier) == [found[0]]
