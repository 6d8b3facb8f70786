"""Which published pages take the place of which: by day judged for and by what was known, never by the clock alone."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from monitor import store as stores
from monitor.pipeline import editions, page_proof
from monitor.pipeline.editions import Edition
from monitor.pipeline.page_proof import Standing
from monitor.pipeline.runs import Run
from monitor.store import Store
from monitor.store.files import sha256

MARCH, APRIL = date(2026, 3, 31), date(2026, 4, 30)
FIRST, LATER = datetime(2026, 5, 1, 12, tzinfo=UTC), datetime(2026, 5, 6, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def edition(day: date, known: datetime, published: datetime | None = None, company: str = "the demo firm") -> Edition:
    run = Run(day, known, "5" * 64, f"{known:%d}" * 32, "", "0.1")
    return Edition(run, (), {"name": company}, "0.1", published or known + HOUR)


def page(number: int) -> dict[str, str]:
    """A page whose bytes are its number, of no one wall."""
    said = f"0000-0000-{number:04d}"
    return {"report_number": said, "page": "index.html", "house": "", "wall": "", "sha256": sha256(said.encode()),
            "supersedes": ""}  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return stores.create(tmp_path / "store", company={"name": "the demo firm"}, created_at=FIRST)


def publish(store: Store, *made: Edition) -> None:
    for number, each in enumerate(made, start=1):
        editions.record(store, each, [page(number)])


def number_before(store: Store, made: Edition) -> str:
    found = editions.supersedes(store, made)
    return str(found["index.html"]["report_number"][-1]) if found else ""


def standing(store: Store, number: int) -> str:
    """The number of the page that stands in place of one; '' where it stands itself."""
    proof = page_proof.of_file(store, f"0000-0000-{number:04d}".encode())
    assert proof.standing is Standing.AS_WRITTEN
    return str(proof.by["report_number"][-1]) if proof.by else ""


def test_a_page_takes_the_place_of_the_newest_one_of_what_was_known_before(store: Store) -> None:
    march, april, again = edition(MARCH, FIRST), edition(APRIL, FIRST + HOUR), edition(APRIL, LATER)
    publish(store, march, april, again)
    assert [number_before(store, each) for each in (march, april, again)] == ["", "1", "2"]
    assert [standing(store, number) for number in (1, 2, 3)] == ["3", "3", ""]


def test_an_earlier_month_judged_again_later_takes_no_place_of_a_later_month(store: Store) -> None:
    march, april, march_again = edition(MARCH, FIRST), edition(APRIL, FIRST + HOUR), edition(MARCH, LATER)
    publish(store, march, april, march_again)
    assert number_before(store, march_again) == "1"
    assert standing(store, 2) == ""
    assert standing(store, 1) == "2", "of two that took its place the one judged for the later day stands"


def test_what_was_published_afterwards_is_not_said_to_have_been_there_before(store: Store) -> None:
    april = edition(APRIL, LATER, LATER + HOUR)
    late_march = edition(MARCH, FIRST, LATER + 2 * HOUR)
    publish(store, april)
    assert number_before(store, april) == ""
    publish(store, april, late_march)
    assert number_before(store, april) == "", "rebuilt it must say what it said"
    assert standing(store, 2) == "1"


def test_the_same_knowledge_published_again_under_another_name_takes_the_place_but_does_not_say_so(
    store: Store,
) -> None:
    first, renamed = edition(APRIL, FIRST), edition(APRIL, FIRST, LATER, "another name")
    publish(store, first, renamed)
    assert number_before(store, renamed) == ""
    assert [standing(store, number) for number in (1, 2)] == ["2", ""]


def test_an_edition_comes_back_as_it_was_put_on_record(store: Store) -> None:
    march = edition(MARCH, FIRST)
    april = Edition(edition(APRIL, LATER).run, (march.run,), {"name": "Ü", "contact": "555"}, "0.1", LATER + HOUR)
    publish(store, april)
    assert editions.on_record(store) == [april]
    assert editions.on_record(store)[0].edition_id == april.edition_id
