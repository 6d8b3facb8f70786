"""Bad news on pages: nothing of it can be read before the call or the day it goes out; the office reads it at once."""

import shutil
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pytest

from monitor import schema
from monitor import store as stores
from monitor.demo.run import Done
from monitor.pipeline import assessing, editions, news_listing, review
from monitor.pipeline.publishing import book_of_edition
from monitor.report import monthly_files, names, pages
from monitor.report.context import Book, News
from monitor.store import Store
from monitor.terms import Step

pytestmark = pytest.mark.xdist_group("demo")

DAY = date(2026, 4, 30)
WALL = ("DH-12", "S")
WAITS = "We are checking the readings of this wall."


def at(hour: int, day: date = DAY) -> datetime:
    return datetime(day.year, day.month, day.day, hour, tzinfo=UTC)


@pytest.fixture(scope="module")
def store(demo: Done, demo_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Store:
    """The demo's, assessed at noon of the last day: one wall has jumped since the list before."""
    to = tmp_path_factory.mktemp("news") / "store"
    opened = stores.open(shutil.copytree(demo_home / "reports" / "demo" / "store", to))
    assessing.assess(opened, judged_on=DAY, known_on=at(12))
    return opened


def book(store: Store, hour: int) -> Book:
    assessment = store.assessment(DAY)
    assert assessment is not None
    edition = editions.of(store, assessment, at(hour))
    editions.record(store, edition, [])
    assert edition in editions.on_record(store), "with its news, to be written again to equal bytes"
    return book_of_edition(store, edition)


@pytest.fixture(scope="module")
def waiting(store: Store) -> Book:
    return book(store, 13)


def outside(content: Book) -> list[str]:
    return [
        make(content, *WALL, code).decode()
        for make in (pages.homeowner_page, pages.history_page)
        for code in ("en", "es")
    ]


def test_news_of_the_day_waits_and_only_of_the_wall_that_has_it(waiting: Book) -> None:
    assert waiting.news == {WALL: News(at(12), DAY, waits=True)}
    assert WAITS in pages.homeowner_page(waiting, *WALL, "en").decode()
    assert WAITS not in pages.homeowner_page(waiting, "DH-12", "E", "en").decode()


def test_while_it_waits_pages_for_outside_are_the_same_bytes_whatever_the_wall_did(waiting: Book) -> None:
    tables = {name: getattr(waiting.assessment, name) for name in schema.RESULTS}
    others = {name: table.filter(pc.invert(is_wall(table))) for name, table in tables.items()}
    unknown = replace(waiting, assessment=replace(waiting.assessment, **others))
    assert outside(unknown) == outside(waiting)
    told = replace(waiting, news={})
    assert all(one != other for one, other in zip(outside(told), outside(waiting), strict=True))


def is_wall(table: pa.Table) -> pa.BooleanArray:
    return pc.and_(pc.equal(table["house"], WALL[0]), pc.equal(table["wall"], WALL[1]))


def test_pages_with_news_are_written_again_from_the_record_to_equal_bytes(store: Store, waiting: Book) -> None:
    recorded = [edition for edition in editions.on_record(store) if edition.news == waiting.news]
    again = book_of_edition(store, recorded[-1])
    assert outside(again) == outside(waiting)
    assert pages.monthly_list(again) == pages.monthly_list(waiting)


def test_the_box_stands_right_after_the_sentence_and_no_chart(waiting: Book) -> None:
    said = pages.homeowner_page(waiting, *WALL, "en").decode()
    assert said.index("Stay out and call") < said.index("Last visit")
    assert 'role="img"' not in said.split("<h2>", 1)[0]


def test_the_office_reads_the_state_at_once_and_that_nobody_was_told(waiting: Book) -> None:
    said = pages.monthly_list(waiting).decode()
    assert "homeowner not told yet: phone first; the page goes out by itself at the end of 2026-04-30" in said
    assert b"homeowner not told yet" in monthly_files.monthly_csv(waiting)
    assert WAITS not in pages.wall_page(waiting, *WALL).decode()


def test_whom_to_phone_is_listed_with_the_day_on_which_the_page_goes_out_by_itself(store: Store) -> None:
    assessment = assessing.newest(store)
    waits, out = (news_listing.listed(store, assessment, moment) for moment in (at(13), at(8, date(2026, 5, 1))))
    assert waits.title == "To be phoned first: 1 wall (list of 2026-04-30)"
    assert [row[:6] for row in waits.rows] == [("DH-12-S", "waits", "2026-04-30", "2026-04-30", "", "")]
    assert waits.closing.startswith("After the call: wallbow decide WALL 'called homeowner'")
    assert ([row[:2] for row in out.rows], out.closing) == ([("DH-12-S", "out")], "")


def test_pages_that_were_written_while_it_waited_are_told_to_be_written_again(store: Store) -> None:
    assessment, later = assessing.newest(store), at(8, date(2026, 5, 1))
    name = names.page_name(*WALL, "homeowner")
    for moment, said in ((at(13), "to be written again now, by wallbow reports: DH-12-S."), (later, "")):
        edition = editions.of(store, assessment, moment)
        page = {"report_number": str(moment), "page": name, "sha256": "0", "supersedes": ""}
        editions.record(
            store, edition, [{**page, "house": WALL[0], "wall": WALL[1]}], at(9 + bool(not said), date(2026, 5, 2))
        )
        told = news_listing.after_writing(edition.news)
        assert ("DH-12-S (until the end of 2026-04-30). Pages in a folder do not" in told) == bool(said)
        closing = news_listing.listed(store, assessment, later).closing
        assert said in closing if said else closing == ""


def test_without_a_call_it_goes_out_at_the_end_of_the_day(store: Store) -> None:
    assessment = store.assessment(DAY)
    assert assessment is not None
    edition = editions.of(store, assessment, datetime(2026, 5, 1, 8, tzinfo=UTC))
    assert edition.news[WALL] == News(at(12), DAY, waits=False)


def test_a_call_on_record_lets_the_page_out_and_the_list_says_who_told(store: Store, waiting: Book) -> None:
    review.decide(
        store, "DH-12-S", Step.CALLED_HOMEOWNER, who="O1", why="told of the step, and to stay out",
        owner="", due=None, made_at=at(14), today=DAY,
    )  # fmt: skip
    told = book(store, 15)
    assert told.news[WALL] == News(at(12), DAY, waits=False, told_on=DAY, told_by="O1")
    assert WAITS not in pages.homeowner_page(told, *WALL, "en").decode()
    assert "homeowner told on 2026-04-30 by O1" in pages.monthly_list(told).decode()
    (row,) = news_listing.listed(store, assessing.newest(store), at(15)).rows
    assert row[:6] == ("DH-12-S", "told", "2026-04-30", "2026-04-30", "2026-04-30", "O1")
    assert told.report_number("homeowner", *WALL) != waiting.report_number("homeowner", *WALL)
