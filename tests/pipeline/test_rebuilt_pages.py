"""Pages of two of the demo's walls published, a reading corrected, published again: the old rebuilt, and proved."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from monitor import __version__, schema
from monitor import store as stores
from monitor.config import Rules, Settings
from monitor.demo.run import COMPANY, JUDGED_ON, Done
from monitor.errors import NotFoundError
from monitor.pipeline import assessing, page_proof, publishing, rebuilding, review
from monitor.pipeline.assessing import of_walls
from monitor.pipeline.page_proof import Standing
from monitor.pipeline.rebuilding import Rebuilt
from monitor.report import names
from monitor.store import Store
from monitor.store.office import Office
from monitor.terms import Act, State

pytestmark = pytest.mark.xdist_group("demo")

MARCH, APRIL = JUDGED_ON
KNOWN = {day: datetime.combine(day, time.max, tzinfo=UTC) for day in JUDGED_ON}
WALL, OTHER = ("DH-06", "E"), ("DH-01", "N")
HOMEOWNER = names.page_name(*WALL, "homeowner")
HISTORY = names.page_name(*WALL, "history")


@dataclass(frozen=True)
class Twice:
    """Pages of before a correction, of after it, and those of before rebuilt after it; day of the corrected visit."""

    store: Store
    first: Path
    second: Path
    again: Path
    rebuilt: Rebuilt
    day: date


@pytest.fixture(scope="module")
def twice(demo: Done, tmp_path_factory: pytest.TempPathFactory) -> Twice:
    home = tmp_path_factory.mktemp("twice")
    store = _of_two_walls(demo.store, home / "store")
    for day in JUDGED_ON:
        assessment = assessing.assess(store, judged_on=day, known_on=KNOWN[day])
    publishing.publish(store, assessment, home / "first", published_at=KNOWN[APRIL])
    used = [row for row in store.readings(walls=[WALL]).to_pylist() if row["state"] == State.USED]
    row = used[len(used) // 2]
    value = f"{row['value_mm'] + 1.2:.1f}"
    later = KNOWN[APRIL] + timedelta(days=5)
    review.rule(store, row["reading_id"], Act.CORRECT, who="O1", why="photo of the rule", value=value, unit="mm",
                made_at=later)  # fmt: skip
    for day in JUDGED_ON:  # the stored assessments of both months are replaced
        assessment = assessing.assess(store, judged_on=day, known_on=later + timedelta(hours=1))
    publishing.publish(store, assessment, home / "second", published_at=later + timedelta(hours=2))
    # what is no fact and is not kept as one: it must not reach the pages of before
    store.office.set_company({"name": "another name", "contact": "555-0199"})
    store.save_settings(Settings(rules=Rules(jump_mm=9.0)))
    rebuilt = rebuilding.rebuild(store, home / "again", known_on=KNOWN[APRIL])
    return Twice(store, home / "first", home / "second", home / "again", rebuilt, row["visit_date"])


def _of_two_walls(whole: Store, path: Path) -> Store:
    """A store with what the demo's knows of two walls."""
    store = stores.create(path, company=COMPANY, created_at=datetime(2023, 4, 1, tzinfo=UTC))
    for name in schema.FACTS:
        rows = whole.facts(name)
        store.add(name, of_walls(rows, (WALL, OTHER)) if "wall" in rows.column_names else rows)
    return store


def test_pages_rebuilt_as_known_before_a_correction_are_byte_for_byte_the_first(twice: Twice) -> None:
    published = {path.name: path.read_bytes() for path in twice.first.iterdir()}
    rebuilt = {path.name: path.read_bytes() for path in twice.again.iterdir()}
    assert published.keys() == rebuilt.keys()
    assert [name for name in published if published[name] != rebuilt[name]] == []
    assert (twice.rebuilt.equal, twice.rebuilt.differing) == (len(published) - 1, [])  # all but the plotting library
    assert (twice.second / HOMEOWNER).read_bytes() != published[HOMEOWNER]


def test_the_page_after_the_correction_says_so_and_whose_place_it_takes(twice: Twice) -> None:
    old = publishing.number_in((twice.first / HOMEOWNER).read_bytes())
    text = (twice.second / HOMEOWNER).read_text(encoding="utf-8")
    assert "we corrected a reading" in text
    assert old in text
    assert old not in (twice.first / HISTORY).read_text(encoding="utf-8")


def test_the_old_page_is_proved_as_written_and_superseded_by_which_and_why(twice: Twice) -> None:
    proof = page_proof.of_file(twice.store, (twice.first / HOMEOWNER).read_bytes())
    assert (proof.standing, proof.is_superseded) == (Standing.AS_WRITTEN, True)
    assert proof.by is not None
    assert proof.by["report_number"] == publishing.number_in((twice.second / HOMEOWNER).read_bytes())
    assert len(proof.because) == 1
    assert re.fullmatch(
        rf"The reading of {twice.day} at mark \w+ was corrected to [\d.]+ mm on 2026-05-05: photo of the rule",
        proof.because[0],
    )


def test_a_page_of_another_wall_is_superseded_without_a_reason_of_its_own(twice: Twice) -> None:
    page = names.page_name(*OTHER, "history")
    proof = page_proof.of_file(twice.store, (twice.first / page).read_bytes())
    assert proof.is_superseded
    assert proof.because == (
        "Nothing about it changed; more is known of other walls, and with that every page gets a new number.",
    )


def test_a_list_names_the_wall_whose_reading_was_corrected(twice: Twice) -> None:
    proof = page_proof.of_file(twice.store, (twice.first / names.MONTHLY_CSV).read_bytes())
    assert [reason[:28] for reason in proof.because] == ["The reading of DH-06-E of 20"]


def test_one_sign_changed_makes_a_page_altered_and_a_strange_file_is_unknown(twice: Twice) -> None:
    data = (twice.second / HISTORY).read_bytes()
    proof = page_proof.of_file(twice.store, data.replace(b"inward", b"Inward", 1))
    assert (proof.standing, proof.is_superseded) == (Standing.ALTERED, False)
    assert page_proof.of_file(twice.store, data).standing is Standing.AS_WRITTEN
    assert page_proof.of_file(twice.store, b"<p>No number</p>").standing is Standing.UNKNOWN
    strange = data.replace(publishing.number_in(data).encode(), b"0000-0000-0000")
    assert page_proof.of_file(twice.store, strange) == page_proof.PageProof(Standing.UNKNOWN, "0000-0000-0000")


def test_a_number_is_found_however_it_is_written(twice: Twice) -> None:
    number = publishing.number_in((twice.second / HISTORY).read_bytes())
    for written in (number, number.upper(), number.replace("-", ""), f" {number.replace('-', ' ')} "):
        proof = page_proof.of_number(twice.store, written)
        assert (proof.standing, proof.number, proof.is_superseded) == (Standing.ON_RECORD, number, False)
    assert page_proof.of_number(twice.store, "0000-0000-0000").standing is Standing.UNKNOWN
    for written in ("fc2a", "fc2a-d9c1-9cbx", "fc2a-d9c1-9cb77"):
        with pytest.raises(NotFoundError, match="no page number"):
            page_proof.of_number(twice.store, written)


def test_every_page_of_the_demo_bears_number_day_knowledge_settings_facts_and_version(
    demo: Done, demo_home: Path
) -> None:
    judged = demo.assessment
    wanted = (judged.settings_sha256[:12], judged.facts_sha256[:12], __version__, "2026")
    pages = sorted((demo_home / "reports" / "demo" / "pages").glob("*.html"))
    assert len(pages) > 60
    for path in pages:
        number = publishing.number_in(path.read_bytes())
        foot = path.read_text(encoding="utf-8").partition("<footer>")[2]
        assert number, path.name
        assert [word for word in (number, *wanted) if word not in foot] == [], path.name
    assert {row["page"] for row in demo.store.office.rows("pages")} >= {path.name for path in pages}


def test_an_assessment_that_was_never_published_can_be_seen_as_known_then(twice: Twice) -> None:
    march = rebuilding.known_by(twice.store, KNOWN[APRIL], "2026-03")
    assert (march.days, list(march.earlier)) == ((MARCH, KNOWN[MARCH]), [])
    with pytest.raises(NotFoundError, match="2026-02"):
        rebuilding.known_by(twice.store, KNOWN[APRIL], "2026-02")


def test_publishing_the_same_again_changes_neither_pages_nor_ledger(twice: Twice, tmp_path: Path) -> None:
    office: Office = twice.store.office
    before = office.rows("pages")
    now = office.company()
    office.set_company(COMPANY)
    try:
        found = assessing.newest(twice.store)
        publishing.publish(twice.store, found, tmp_path, published_at=found.known_until + timedelta(days=30))
    finally:
        office.set_company(now)
    assert office.rows("pages") == before
    assert (tmp_path / HISTORY).read_bytes() == (twice.second / HISTORY).read_bytes()
