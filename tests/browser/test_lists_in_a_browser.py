"""The bar above the long lists: it finds, narrows and sorts, and takes nothing away from who has no script."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from looking import Seen, opened
from playwright.sync_api import Browser, Page

from monitor.report import names

pytestmark = pytest.mark.xdist_group("demo")


@pytest.fixture
def page(browser: Browser, folder: Path) -> Iterator[Page]:
    seen = Seen()
    context, page = opened(browser, folder, 1, seen)
    page.set_viewport_size({"width": 1440, "height": 900})
    yield page
    context.close()
    assert (seen.said, seen.outside) == ([], [])


@pytest.fixture
def monthly(page: Page, folder: Path) -> Page:
    page.goto((folder / names.MONTHLY_LIST).resolve().as_uri())
    return page


@pytest.fixture
def index(page: Page, folder: Path) -> Page:
    page.goto((folder / names.INDEX).resolve().as_uri())
    return page


def walls(page: Page, part: str = "") -> list[str]:
    """Walls shown, in order; those of one section where it is named."""
    rows = page.locator(f"{part} .list tbody tr").filter(visible=True)
    return [str(cell.get_attribute("data-v")) for cell in rows.locator("th").all()]


def values(page: Page, column: str, part: str) -> list[str | None]:
    cells = page.locator(f'{part} .list td[data-col="{column}"]')
    return [cell.get_attribute("data-v") for cell in cells.all()]


def test_a_text_finds_the_walls_whose_row_bears_all_its_words(monthly: Page) -> None:
    before = walls(monthly)
    monthly.locator("[name=text]").fill("NORTH dh-1")
    assert walls(monthly) == [key for key in before if key.startswith("DH-1") and key.endswith("N")] != []
    assert monthly.locator("#shown").inner_text() == f"{len(walls(monthly))} of {len(before)} walls shown"
    assert not monthly.locator("#overdue").is_visible(), "a section without any hit is put away"
    monthly.get_by_role("button", name="Show all").click()
    assert monthly.locator("tr[hidden], section[hidden]").count() == 0
    assert walls(monthly) == before


def test_a_choice_of_section_and_state_leaves_just_those(monthly: Page) -> None:
    of_section = walls(monthly, '[data-list="again"]')
    monthly.locator("[name=list]").select_option("again")
    assert walls(monthly) == of_section
    monthly.locator("[name=state]").select_option("new")
    left = walls(monthly)
    assert set(left) < set(of_section)
    assert len(left) == monthly.locator('[data-list="again"] tr[data-state="new"]').count()
    assert all(monthly.locator(f'tr[data-state="new"]:has-text("{wall}")').count() == 1 for wall in left)


def test_a_click_on_a_heading_sorts_its_sections_and_a_second_turns_it_round(monthly: Page) -> None:
    part = '[data-list="held"]'
    printed = walls(monthly, part)
    monthly.locator(f'{part} th[data-sort="rate"] button').click()
    rates = [float(value or "nan") for value in values(monthly, "rate", part)]
    assert rates == sorted(rates, reverse=True), "the fastest first"
    assert monthly.locator(f'{part} th[data-sort="rate"]').get_attribute("aria-sort") == "descending"
    monthly.locator(f'{part} th[data-sort="rate"] button').click()
    assert [float(value or "nan") for value in values(monthly, "rate", part)] == sorted(rates)
    monthly.locator("[name=sort]").select_option("wall")
    assert walls(monthly, part) == sorted(printed)
    monthly.locator("[name=sort]").select_option("")
    assert walls(monthly, part) == printed
    assert monthly.locator("th[aria-sort]").count() == 0


def test_the_index_finds_a_house_by_its_name_and_sorts_by_the_next_visit(index: Page) -> None:
    index.locator("[name=text]").fill("gatehouse")
    assert walls(index) == ["DH-13-E", "DH-13-N", "DH-13-W"]
    index.locator("[name=verdict]").select_option("holding")
    assert walls(index) == ["DH-13-N"]
    index.get_by_role("button", name="Show all").click()
    index.locator("[name=sort]").select_option("next")
    days = [day or "9" for day in values(index, "next", "")]
    assert days == sorted(days)


def test_the_header_stays_in_sight_while_a_long_list_goes_by(index: Page) -> None:
    index.set_viewport_size({"width": 1440, "height": 500})
    index.locator("tbody tr").last.scroll_into_view_if_needed()
    top = index.locator("thead").evaluate("part => part.getBoundingClientRect().top")
    assert 0 <= top < 1


def test_without_script_every_row_is_there_and_no_dead_bar(browser: Browser, folder: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((folder / names.MONTHLY_LIST).resolve().as_uri())
    rows = page.locator(".list tbody tr")
    assert rows.count() > 5
    assert rows.filter(visible=True).count() == rows.count()
    assert not page.locator("#finder").is_visible()
    context.close()


def test_on_paper_no_column_of_the_list_is_cut_off_and_its_head_repeats(monthly: Page) -> None:
    for width in (1032, 964):  # A4 and Letter, landscape, less 12 mm on either side, at 96 px an inch
        monthly.set_viewport_size({"width": width, "height": 700})
        monthly.emulate_media(media="print")
        cut = monthly.evaluate(
            "() => [...document.querySelectorAll('.list td, .list th')]"
            ".filter((cell) => cell.getBoundingClientRect().right > innerWidth).length"
        )
        assert cut == 0
        shown = monthly.locator("thead").first.evaluate("part => getComputedStyle(part).display")
        assert shown == "table-header-group"
        assert not monthly.locator("#finder").is_visible()


def test_on_a_phone_a_row_is_a_block_with_the_name_of_each_cell(monthly: Page) -> None:
    monthly.set_viewport_size({"width": 360, "height": 900})
    cell = monthly.locator(".list td").first
    assert cell.evaluate("part => getComputedStyle(part).display") == "block"
    assert cell.evaluate("part => getComputedStyle(part, '::before').content") == '"Why: "'
