"""Every kind of page that the demo publishes, as a browser shows it."""

import re
from pathlib import Path

import pytest
from looking import SHEETS, Seen, kind_of, opened, sheets_of
from playwright.sync_api import Browser, Page

from monitor.report import names

pytestmark = pytest.mark.xdist_group("demo")

KINDS = ("homeowner en", "homeowner es", "wall en", "history en", "index en", "monthly-list en", "visit-plan en",
         "repeatability en", "overview en")  # fmt: skip
MOST_BYTES = 60_000
"""Of a homeowner's page: a few seconds on a slow phone."""


def test_every_kind_of_page_is_looked_at(seen: Seen) -> None:
    assert [kind for kind in KINDS if kind not in seen.kinds] == []


def test_no_page_is_wider_than_its_window_at_any_width_or_zoom(seen: Seen) -> None:
    assert seen.overflows == []


def test_no_page_says_anything_on_the_console(seen: Seen) -> None:
    assert seen.said == []


def test_no_page_asks_for_anything_outside_its_folder(seen: Seen) -> None:
    assert seen.outside == []


def test_the_accessibility_checker_objects_to_nothing(seen: Seen) -> None:
    assert seen.barriers == []


def test_a_homeowners_page_prints_on_one_sheet_in_every_language(seen: Seen) -> None:
    homeowners = sum(number for kind, number in seen.kinds.items() if kind.startswith("homeowner"))
    assert len(seen.sheets) == homeowners * len(SHEETS) > 0
    assert {where: number for where, number in seen.sheets.items() if number != 1} == {}


def test_a_homeowners_page_is_light_and_bears_no_script(chosen: list[Path]) -> None:
    pages = [path for path in chosen if kind_of(path) == "homeowner"]
    assert {path.name: size for path in pages if (size := path.stat().st_size) >= MOST_BYTES} == {}
    assert [path.name for path in pages if b"<script" in path.read_bytes()] == []


LANDSCAPE_PX = round((11 * 25.4 - 2 * 10) / 25.4 * 96)
"""Width of a Letter sheet on its side between margins of 10 mm."""


def test_on_paper_no_column_of_a_walls_readings_is_cut_off(browser: Browser, folder: Path) -> None:
    context, page = opened(browser, folder, 1, Seen())
    page.set_viewport_size({"width": LANDSCAPE_PX, "height": 700})
    for house, wall in (("DH-02", "E"), ("DH-11", "N")):
        page.goto((folder / names.page_name(house, wall, "wall")).resolve().as_uri())
        page.emulate_media(media="print")
        assert page.locator(".wide thead th").last.inner_text() == "From"
        right = page.evaluate("document.querySelector('.wide table').getBoundingClientRect().right")
        assert right <= LANDSCAPE_PX, (house, wall)
    context.close()


_BOUND = re.compile(r"very likely less than ([\d.]+) (mm|inch) a year \(([\d.]+) (mm|inch) a year")
_AXIS = {"mm": "inward ↑ (mm)", "inch": "inward ↑ (inches)"}


@pytest.mark.parametrize(("house", "first", "second"), [("DH-01", "inch", "mm"), ("DH-10", "mm", "inch")])
def test_a_homeowner_turns_inches_and_millimetres_round_by_keyboard_and_back(
    browser: Browser, folder: Path, house: str, first: str, second: str
) -> None:
    wall = {"DH-01": "N", "DH-10": "S"}[house]
    context, page = opened(browser, folder, 1, Seen())
    page.goto((folder / names.page_name(house, wall, "homeowner")).resolve().as_uri())
    as_written, numbers = shown_first(page, first)
    page.focus("#unit-1")
    page.keyboard.press("ArrowRight")
    turned, back = shown_first(page, second)
    assert back == numbers[::-1], "the same two numbers, the other one first"
    assert sheets_of(page, "Letter") == 1
    page.keyboard.press("ArrowLeft")
    assert shown_first(page, first)[0] == as_written != turned
    context.close()


def shown_first(page: Page, unit: str) -> tuple[str, list[str]]:
    """What can be read of the page, with that unit first throughout; the numbers of its bound, that unit's first."""
    said = page.inner_text("main")
    found = _BOUND.findall(said)
    assert {each[1] for each in found} == {unit}, found
    assert page.locator("figure svg:visible").count() == 1
    assert page.locator("figure svg:visible > text", has_text="inward").all_text_contents() == [_AXIS[unit]]
    return said, [found[0][0], found[0][2]]
