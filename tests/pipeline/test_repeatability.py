"""The company's own repeatability: estimated, kept, used from then on, shown beside the defaults."""

import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from monitor import store as stores
from monitor.config import Variances
from monitor.demo.run import JUDGED_ON, Done
from monitor.documents import of_json
from monitor.pipeline import editions, listing, repeatability
from monitor.pipeline.assessing import settings_on
from monitor.pipeline.publishing import book_of_edition
from monitor.report import pages
from monitor.store import Store
from monitor.terms import Method

pytestmark = pytest.mark.xdist_group("demo")

AFTER = datetime(2026, 5, 1, tzinfo=UTC)


@pytest.fixture
def empty(tmp_path: Path) -> Store:
    return stores.create(tmp_path / "store", company={"name": "", "contact": ""}, created_at=AFTER)


def test_the_demo_is_judged_by_its_own_variances_from_the_day_they_were_known(demo: Done) -> None:
    first, row = demo.store.facts("variances").sort_by("known_at").to_pylist()
    assert (first["estimated_on"], row["estimated_on"]) == JUDGED_ON
    assert 15 <= row["walls"] <= 19
    before = settings_on(demo.store, JUDGED_ON[0], datetime(2026, 3, 31, tzinfo=UTC)).variances
    since = settings_on(demo.store, JUDGED_ON[1], AFTER).variances
    assert before == Variances()
    assert since == of_json(Variances, row["values"])
    assert since.methods[Method.STRING].reading_mm < 0.7 < before.methods[Method.STRING].reading_mm


def test_the_same_facts_give_the_same_estimate_and_the_newest_known_holds(demo: Done, tmp_path: Path) -> None:
    own = stores.open(shutil.copytree(demo.store.path, tmp_path / "store"))
    known_on = datetime(2026, 3, 31, 23, 59, 59, 999999, tzinfo=UTC)
    assert repeatability.estimate(own, judged_on=JUDGED_ON[0], known_on=known_on, made_at=AFTER)
    first, _, again = own.facts("variances").sort_by("known_at").to_pylist()
    assert again == first | {"known_at": AFTER}
    assert repeatability.estimate(own, judged_on=JUDGED_ON[1], known_on=AFTER, made_at=AFTER.replace(hour=1))
    newest = own.facts("variances").sort_by("known_at").to_pylist()[-1]
    assert newest["readings"] > first["readings"]
    assert settings_on(own, JUDGED_ON[1]).variances == of_json(Variances, newest["values"])
    assert settings_on(own, JUDGED_ON[1], known_on).variances == of_json(Variances, first["values"])


def test_a_sample_is_of_that_many_walls_that_were_read_and_always_the_same(demo: Done) -> None:
    drawn = [repeatability.sample(demo.store, judged_on=JUDGED_ON[1], known_on=AFTER, most=4) for _ in range(2)]
    walls = [
        sorted({*zip(*(one.readings[name].to_pylist() for name in ("house", "wall")), strict=True)})
        for one in drawn
        if one
    ]
    assert len(walls[0]) == 4
    assert walls[0] == walls[1]


def test_a_store_without_readings_keeps_the_defaults_and_says_so(empty: Store) -> None:
    assert not repeatability.estimate(empty, judged_on=date(2026, 5, 1), known_on=AFTER, made_at=AFTER)
    assert empty.facts("variances").num_rows == 0
    assert settings_on(empty, date(2026, 5, 1), AFTER).variances == Variances()
    shown = listing.repeatability(empty, judged_on=date(2026, 5, 1), known_on=AFTER)
    assert shown.closing.startswith("Nothing has been estimated yet: the instruments' defaults hold")
    assert shown.rows[0][:4] == ("String line", "one reading", "0.80 mm (0.031 in)", "0.80 mm (0.031 in)")
    assert listing.technicians(empty, judged_on=date(2026, 5, 1), known_on=AFTER).rows == []


def test_the_list_shows_own_beside_default_with_walls_and_set_ups_and_warns_of_few(demo: Done) -> None:
    shown = listing.repeatability(demo.store, judged_on=JUDGED_ON[1], known_on=AFTER)
    rows = {row[:2]: row for row in shown.rows}
    string = rows["String line", "one reading"]
    assert string[3] == "0.80 mm (0.031 in)"
    assert string[2] != string[3]
    assert int(string[5]) > 10
    assert int(string[6]) > 50
    assert rows["Laser", "one set-up, all its readings alike"][2] == "of any size"
    assert "Few walls are behind them" in shown.closing


def test_the_technicians_table_names_who_stands_apart_and_warns_of_small_numbers(demo: Done) -> None:
    """T3 presses the meter 2 mm past its plate."""
    shown = listing.technicians(demo.store, judged_on=JUDGED_ON[1], known_on=AFTER)
    rows = {row[:2]: row for row in shown.rows}
    found = float(rows["meter", "T3"][2].removesuffix(" mm"))
    assert abs(found - 2.0) < 2 * float(rows["meter", "T3"][3].removesuffix(" mm"))
    assert found > 1.0
    assert {row[-1] for row in shown.rows} == {"few: a hint at most"}
    assert shown.closing.startswith("Private, for coaching only.")


def test_the_page_is_the_same_twice_names_nobody_and_is_linked_from_the_index(demo: Done) -> None:
    book = book_of_edition(demo.store, editions.on_record(demo.store)[-1])
    page = pages.repeatability(book)
    assert page == pages.repeatability(book)
    assert (demo.index.parent / "repeatability.html").read_bytes() == page
    text = page.decode()
    assert "Estimated for 2026-04-30 from" in text
    assert not any(person in text for person in ("T1", "T2", "T3", "T4"))
    assert 'href="repeatability.html"' in pages.index(book).decode()
