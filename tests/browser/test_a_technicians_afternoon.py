"""A technician's afternoon: a phone without signal, a battery that dies, a mark that is off, a file to send later."""

import json
import shutil
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from looking import ZOOMED, barriers, overflow, sheets_of
from phone import SCREEN, Phone
from playwright.sync_api import Browser

from monitor import store as stores
from monitor.demo.run import Done
from monitor.pipeline import field_sheets, intake

pytestmark = pytest.mark.xdist_group("demo")

DAY = date(2026, 5, 4)
MADE = datetime(2026, 5, 1, 9, tzinfo=UTC)
WALLS = ["DH-06-E", "DH-01-N"]


@pytest.fixture(scope="module")
def make(demo: Done, tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    def made(walls: list[str] = WALLS, **more: Any) -> Path:
        sheet = field_sheets.field_sheet(demo.store, walls, day=DAY, known_on=MADE, assessment=demo.assessment, **more)
        return field_sheets.write(sheet, tmp_path_factory.mktemp("sheet"))

    return made


@pytest.fixture
def take(demo: Done, tmp_path: Path) -> Callable[[bytes, str], intake.Taken]:
    store = stores.open(shutil.copytree(demo.store.path, tmp_path / "store"))

    def taken(data: bytes, name: str) -> intake.Taken:
        received = datetime(2026, 5, 4, 18, tzinfo=UTC)
        return intake.take_readings(store, name, data, received_at=received, sender="T1", today=DAY)

    return taken


def test_a_technicians_afternoon(
    browser: Browser, make: Callable[..., Path], take: Callable[[bytes, str], intake.Taken], tmp_path: Path
) -> None:
    phone = Phone(browser, tmp_path / "phone", make())
    assert phone.page.locator("#warnings").inner_text() == ""
    phone.page.fill("#technician", "T2")

    # end marks first, then the others; what is fine goes on to the next mark by itself
    phone.tap('.slot[data-at="0.0.0.0"]')
    assert phone.mark == "M1"
    phone.keys("3")
    assert phone.mark == "M5"
    phone.keys("3")
    assert phone.mark == "M2"
    phone.reload()
    assert [phone.slot(f"0.0.{m}.0") for m in range(3)] == ["3", "3", ""]

    phone.tap('.slot[data-at="0.0.2.0"]')
    phone.keys("2 7/16")
    phone.battery_dies()
    phone.start()
    assert [phone.slot(f"0.0.{m}.0") for m in range(4)] == ["3", "3", "2 7/16", ""]
    assert phone.page.input_value("#technician") == "T2"
    assert phone.page.input_value("#date") == "2026-05-04"

    # a mark far off: read again, then from a second set-up; two that agree are accepted
    phone.tap('.slot[data-at="0.0.3.0"]')
    phone.keys("1 1/2")
    assert "1 1/2 is outside the range" in phone.asks
    assert "Read mark M3 again" in phone.asks
    phone.keys("1 9/16")
    assert "put it up anew, and read M3 again as set-up 2" in phone.asks
    assert phone.page.locator("#keys-head").inner_text() == "M3: GAP, set-up 2"
    phone.keys("1 5/8")
    assert "it is accepted, and the office is told" in phone.asks
    phone.tap("#close")

    # one that cannot be read, what was seen, the weather
    phone.tap('.slot[data-at="0.0.4.0"]')
    phone.tap("#why summary")
    phone.tap('.not[value="blocked"]')
    phone.page.locator('.seen[data-at="0"][value="standing water"]').check()
    phone.page.locator('.weather[data-at="0"][value="wet"]').check()
    assert phone.page.locator('.alarm[data-at="0"]').inner_text() == ""

    # of a plumb line the lowest mark tells where it stands, and the others are held against it
    phone.tap("#chooser button:nth-child(2)")
    phone.tap('.slot[data-at="1.1.0.0"]')
    phone.keys("4 1/8")
    assert phone.mark == "T2"
    said = phone.page.locator("#keys-fine").inner_text()
    assert "fine from 3\xa07/8 to" in said, "a mixed number is not torn apart at the end of a line"
    phone.keys("3 1/2")
    assert "Read mark T2 again" in phone.asks
    phone.keys("3 1/2")
    assert "read B2, T2, M2 again as set-up 6" in phone.asks
    assert (phone.mark, phone.page.locator("#keys-head").inner_text()) == ("B2", "B2: GAP, set-up 6")
    phone.keys("5")
    assert phone.mark == "T2"
    phone.keys("4 3/8")
    assert "it is accepted" in phone.asks
    phone.tap("#close")
    phone.tap('.slot[data-at="1.1.2.1"]')
    phone.keys("4 3/16")
    assert not phone.page.locator("#keys").is_visible(), "nothing more to read from that placing"

    # in millimetres, with a crack and a photo
    phone.tap('.slot[data-at="1.1.2.0"]')
    phone.tap("#unit")
    phone.page.locator("#keys details", has_text="Crack").locator("summary").tap()
    phone.page.fill("#crack", "1/16 in")
    phone.page.fill("#photos", "a.jpg; b.jpg")
    phone.keys("84")
    phone.tap("#close")

    with phone.page.expect_download() as saved:
        phone.tap("#save")
    assert saved.value.suggested_filename.startswith("visit_2026-05-04_T2_")
    data = Path(saved.value.path()).read_bytes()
    taken = take(data, saved.value.suggested_filename)
    columns = ("wall", "setup", "mark", "value_raw", "not_read", "state", "seen", "weather")
    rows = [tuple(row[name] for name in columns) for row in taken.intake.table.to_pylist()]
    assert rows == [
        ("E", 1, "M1", "3", "", "used", "standing water", "wet"),
        ("E", 1, "M5", "3", "", "used", "", "wet"),
        ("E", 1, "M2", "2 7/16", "", "used", "", "wet"),
        ("E", 1, "M3", "1 9/16", "", "used", "", "wet"),
        ("E", 1, "M4", "", "blocked", "could-not-read", "", "wet"),
        ("E", 2, "M3", "1 5/8", "", "used", "", "wet"),
        ("N", 2, "B2", "4 1/8", "", "used", "", ""),
        ("N", 2, "T2", "3 1/2", "", "used", "", ""),
        ("N", 2, "M2", "84", "", "used", "", ""),
        ("N", 6, "B2", "5", "", "used", "", ""),
        ("N", 6, "T2", "4 3/8", "", "used", "", ""),
        ("N", 6, "M2", "4 3/16", "", "used", "", ""),
    ]
    metric = taken.intake.table.to_pylist()[8]
    assert (metric["unit"], metric["crack_width_mm"], metric["photos"]) == ("mm", 25.4 / 16, "a.jpg; b.jpg")
    third = taken.intake.table.to_pylist()[3]
    assert third["note"].startswith("read 2 times: 1 1/2, 1 9/16; outside the sheet's range")
    assert third["note"].endswith("second set-up agrees, told to the office")
    assert (third["technician"], third["visit_date"], third["instrument"]) == ("T2", DAY, "BL-4")
    assert json.loads(data)["made_from"]["day"] == "2026-05-04"
    assert phone.said == []
    assert {url.split(":")[0] for url in phone.asked} <= {"file", "blob"}
    phone.context.close()


def test_a_sheet_is_open_to_everybody_and_fits_the_narrowest_phone(browser: Browser, make: Callable[..., Path]) -> None:
    page = browser.new_page(viewport={"width": ZOOMED[0], "height": 740})
    page.goto(make().resolve().as_uri())
    page.wait_for_selector("body[data-ready]")
    assert overflow(page) is None
    page.set_viewport_size(SCREEN)
    page.evaluate(AXE_SCRIPT)
    assert barriers(page) == []
    page.locator(".slot").first.click()
    assert barriers(page) == []
    small = (
        "keys => keys.filter(k => k.offsetParent && Math.min(k.offsetWidth, k.offsetHeight) < 56).map(k => k.outerHTML)"
    )
    assert page.locator("#keys button").evaluate_all(small) == []
    assert overflow(page) is None
    page.close()


def test_every_wall_prints_on_one_sheet_of_paper(browser: Browser, make: Callable[..., Path], demo: Done) -> None:
    walls = [f"{row['house']}-{row['wall']}" for row in demo.store.current("walls").to_pylist()]
    page = browser.new_page()
    page.goto(make(walls).resolve().as_uri())
    page.wait_for_selector("body[data-ready]")
    assert {sheet: sheets_of(page, sheet) for sheet in ("Letter", "A4")} == {"Letter": len(walls), "A4": len(walls)}
    page.close()


def test_a_stale_sheet_says_so(browser: Browser, make: Callable[..., Path]) -> None:
    page = browser.new_page()
    file = make(WALLS[:1]).resolve().as_uri()
    cases = {0: "", 14: "", 15: "made for 2026-05-04, 15 days before", 58: "was known 61 days before", -1: "to come"}
    for days, said in cases.items():
        page.clock.set_fixed_time(datetime(2026, 5, 4, 15, 30) + timedelta(days=days))  # noqa: DTZ001 (the phone's time)
        page.goto(file)
        page.wait_for_selector("body[data-ready]")
        shown = page.locator("#warnings").inner_text()
        assert said in shown if said else not shown, days
    page.close()


def test_a_blind_sheet_shows_the_range_only_when_a_value_is_typed(browser: Browser, make: Callable[..., Path]) -> None:
    page = browser.new_page(viewport=SCREEN)
    page.goto(make(WALLS[:1], blind=True).resolve().as_uri())
    page.wait_for_selector("body[data-ready]")
    assert page.locator(".fine").first.is_hidden()
    page.locator(".slot").first.click()
    assert page.locator("#keys-fine").inner_text() == ""
    page.locator('.digits [value="3"]').click()
    page.locator("#enter").click()
    page.locator("#close").click()
    assert page.locator(".fine").first.inner_text().startswith("expect 3, fine from")
    assert page.locator(".fine").nth(1).is_hidden()
    page.wait_for_selector('body[data-kept="yes"]')
    page.clock.set_fixed_time(datetime.now() + timedelta(days=1))  # noqa: DTZ005 (the phone's own time)
    page.reload()
    page.wait_for_selector("body[data-ready]")
    assert "For another visit save and clear this sheet" in page.locator("#warnings").inner_text()
    page.close()


def test_readings_of_a_sheet_that_went_nowhere_are_told_on_the_next_one(
    browser: Browser, make: Callable[..., Path]
) -> None:
    page = browser.new_page(viewport=SCREEN)
    sheets = [make([wall]).resolve().as_uri() for wall in WALLS]

    def opened(number: int) -> str:
        page.goto(sheets[number])
        page.wait_for_selector("body[data-ready]")
        return page.locator("#others").inner_text()

    assert opened(0) == ""
    assert page.get_by_text("opened from a file, so it cannot send by itself").is_visible()
    assert page.locator("#send").is_hidden()
    page.locator("#technician").fill("T2")
    page.locator(".slot").first.click()
    page.locator('.digits [value="3"]').click()
    page.locator("#enter").click()
    page.wait_for_selector('body[data-kept="yes"]')
    assert f"{WALLS[0]}. Save their file" in opened(1)
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save their file").click()
    [row] = json.loads(Path(saved.value.path()).read_text("utf-8"))["tables"]["readings"]
    assert (row["mark"], row["value"], row["technician"]) == ("M1", "3", "T2")
    page.get_by_text("Send that file to the office.").wait_for()
    assert opened(1) == "", "what was saved is told no more"
    page.close()


def test_a_browser_that_keeps_nothing_says_so(browser: Browser, make: Callable[..., Path]) -> None:
    page = browser.new_page()
    page.add_init_script(
        "for (const name of ['indexedDB', 'localStorage'])"
        " Object.defineProperty(window, name, {get() { throw new Error('refused'); }});"
    )
    page.goto(make(WALLS[:1]).resolve().as_uri())
    page.wait_for_selector("body[data-ready]")
    assert "This browser keeps nothing" in page.locator("#warnings").inner_text()
    page.reload()  # nothing is written down, so nothing is asked
    page.locator(".slot").first.click()
    page.locator('.digits [value="3"]').click()
    page.locator("#enter").click()
    page.wait_for_selector('body[data-kept="no"]')
    with page.expect_event("dialog") as asked:
        page.evaluate("setTimeout(() => location.reload())")
    assert asked.value.type == "beforeunload", "whoever leaves the page is asked first"
    asked.value.dismiss()
    assert page.locator(".slot").first.inner_text() == "3"
    page.close()
