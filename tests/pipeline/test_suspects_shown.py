"""Likely misreads from the store to the pages: set aside, shown as held, released by a person, never applied."""

import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from monitor.demo.run import Done
from monitor.pipeline import assessing, listing, publishing, review
from monitor.pipeline.as_judged import as_judged
from monitor.pipeline.who import RulingError
from monitor.report import pages
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import Act, State

pytestmark = pytest.mark.xdist_group("demo")

WALL = ("DH-08", "W")
LATER = datetime(2027, 1, 5, tzinfo=UTC)


@pytest.fixture
def misread(demo: Done, demo_home: Path, tmp_path: Path) -> tuple[Store, str, Assessment]:
    """A copy of the demo's store in which the office mistyped a correction by an inch, and its assessment."""
    store = Store(shutil.copytree(demo_home / "reports" / "demo" / "store", tmp_path / "store"))
    rows = [row for row in store.readings(walls=[WALL]).to_pylist() if row["state"] == State.USED]
    day = sorted({row["visit_date"] for row in rows})[-2]
    row = next(row for row in rows if row["visit_date"] == day and row["mark"] == "M4")
    review.rule(
        store,
        row["reading_id"],
        Act.CORRECT,
        who="O1",
        why="typed again",
        value=f"{row['value_mm'] + 25.4:.4f}",
        unit="mm",
        made_at=LATER,
    )
    return store, row["reading_id"], assessed(store, demo.assessment.judged_on, 6)


def assessed(store: Store, day: date, hour: int) -> Assessment:
    return assessing.assess(store, judged_on=day, known_on=LATER.replace(hour=hour))


def test_a_suspect_is_kept_in_the_store_and_named_in_its_assessment(misread: tuple[Store, str, Assessment]) -> None:
    store, reading, assessment = misread
    (suspect,) = assessment.suspects.to_pylist()
    assert (suspect["reading_id"], suspect["house"], suspect["mark"]) == (reading, *WALL[:1], "M4")
    stored = store.assessment(assessment.judged_on)
    assert stored is not None
    assert stored.suspects.equals(assessment.suspects)
    states = {row["reading_id"]: row["state"] for row in store.readings(walls=[WALL]).to_pylist()}
    assert states[reading] == State.USED


def test_lists_and_pages_show_a_suspect_as_held_with_its_reason(misread: tuple[Store, str, Assessment]) -> None:
    store, reading, assessment = misread
    reason = assessment.suspects["reason"].to_pylist()[0]
    assert (reading, reason) in {(row[0], row[-1]) for row in listing.held(store, assessment).rows}
    book = publishing.book_of(store, assessment)
    (held,) = book.view(*WALL).held
    assert (held["reading_id"], held["reason_code"], held["reason"]) == (reading, "misread", reason)
    page = pages.wall_page(book, *WALL).decode()
    assert ", 1 held," in page
    assert reason.split(";")[0] in page.replace("&#39;", "'")


def test_only_the_suspects_of_the_assessment_change_their_state(misread: tuple[Store, str, Assessment]) -> None:
    store, reading, assessment = misread
    before = store.readings(known_on=assessment.known_until)
    after = as_judged(before, assessment)
    assert after.schema.equals(before.schema)
    changed = [
        (a["reading_id"], b["state"]) for a, b in zip(before.to_pylist(), after.to_pylist(), strict=True) if a != b
    ]
    assert changed == [(reading, State.HELD)]


def test_a_person_may_release_a_suspect_and_it_is_used_from_then_on(misread: tuple[Store, str, Assessment]) -> None:
    store, reading, assessment = misread
    review.rule(store, reading, Act.RELEASE, who="O1", why="read twice", made_at=LATER.replace(hour=7))
    again = assessed(store, assessment.judged_on, 8)
    assert again.suspects.num_rows == 0
    with pytest.raises(RulingError, match="Only a held reading can be released"):
        review.rule(store, reading, Act.RELEASE, who="O1", why="once more", made_at=LATER.replace(hour=9))
