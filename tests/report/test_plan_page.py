"""The visit plan's page and its row on a wall's page, from a plan written by hand."""

from dataclasses import replace
from datetime import date

import pytest
from page_reader import Page
from written_book import HOUSE, TODAY, build_book, table

from monitor.report import names, pages, plan_sheet, wording
from monitor.report.context import Book


@pytest.fixture(scope="module")
def book() -> Book:
    written = build_book()
    usual = {"house": HOUSE, "settles": "", "before_frost": False, "overdue_days": 0, "rank": 1, "why": ""}
    rows = [
        usual | {"wall": "W01", "visit_on": date(2027, 3, 1), "why": "Much later.", "rank": 4},
        usual | {"wall": "W02", "visit_on": TODAY, "overdue_days": 12, "why": "Late.", "second_setup_gain": 0.214,
                 "smallest_rate_mm_per_year": 2.54, "before_frost": True},
        usual | {"wall": "W03", "visit_on": date(2026, 6, 1), "why": "Due soon.", "rank": 2},
        usual | {"wall": "W04", "visit_on": None, "why": "Never read.", "rank": 3},
    ]  # fmt: skip
    return replace(written, assessment=replace(written.assessment, plan=table("plan", rows)))


def test_the_page_has_the_quarter_in_the_plan_s_order_and_the_later_visits_below(book: Book) -> None:
    text = Page(pages.visit_plan(book)).text
    order = [text.index(f"{HOUSE}-{wall}") for wall in ("W02", "W03", "W04", "W01")]
    assert order == sorted(order)
    assert text.index("Later, by day (1)") < order[-1]
    assert "overdue" in text
    assert "before the frost" in text
    assert wording.rate_pair(2.54, "in") in text
    assert "21 %" in text


def test_a_wall_over_a_hard_limit_comes_first_with_what_it_asks_for(book: Book) -> None:
    judged, key = book.assessment, {"house": HOUSE, "wall": "W01"}
    over = {**key, "period": 0, "rule": "jump since the last visit", "outcome": "yes", "urgency": "same-day call",
            "reason": "It jumped.", "next_step": "Call today."}  # fmt: skip
    jumped = replace(book, assessment=replace(judged, findings=table("findings", [over])))
    assert [row["key"][-3:] for row in plan_sheet.due(jumped, TODAY, TODAY)] == ["W01", "W02", "W04"]
    text = Page(pages.visit_plan(jumped)).text
    assert "same-day call Call today. It jumped. Much later." in text
    assert text.index("Call today.") < text.index("Late.")


def test_the_wall_s_own_page_says_when_it_is_visited_next_and_what_that_could_show(book: Book) -> None:
    text = Page(pages.wall_page(book, HOUSE, "W02")).text
    assert f"{TODAY.isoformat()}, overdue, before the frost: Late." in text
    assert f"rates from {wording.rate_pair(2.54, 'in')} on" in text
    assert "take away 21 % of the error" in text
    assert "no rate yet" in Page(pages.wall_page(book, HOUSE, "W03")).text


def test_index_and_monthly_list_lead_to_the_plan(book: Book) -> None:
    for page in (pages.index(book), pages.monthly_list(book)):
        assert f'href="{names.PLAN}"'.encode() in page


def test_a_span_of_days_keeps_what_is_overdue_or_not_planned(book: Book) -> None:
    found = [row["key"][-3:] for row in plan_sheet.due(book, date(2027, 1, 1), date(2027, 3, 31))]
    assert found == ["W02", "W04", "W01"]
