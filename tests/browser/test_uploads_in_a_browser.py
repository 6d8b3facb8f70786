"""The service in a browser on a phone: sign in, send readings, read the answer; and a field sheet sent from there."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from looking import HEIGHT, WIDTHS, barriers, overflow
from playwright.sync_api import Browser, FilePayload, Page, expect
from service_running import NORTH, PASSWORD, fill, served, sheet

from monitor import store as stores

pytestmark = pytest.mark.xdist_group("browser")

DAY = date(2026, 5, 12)
VISIT = FilePayload(
    name="visit.csv",
    mimeType="text/csv",
    buffer=sheet(DAY, ("DH-01-N", (*NORTH[:2], "1 3/16", "3 x", NORTH[4]))),
)


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return fill(tmp_path_factory.mktemp("service") / "store", visits=True).path


@pytest.fixture(scope="module")
def url(root: Path) -> Iterator[str]:
    with served(root) as found:
        yield found


@pytest.fixture
def page(browser: Browser, url: str) -> Iterator[Page]:
    """A phone's page; nothing may be said on its console, and nothing asked of anybody but the service."""
    context = browser.new_context(viewport={"width": WIDTHS[0], "height": HEIGHT}, has_touch=True)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda line: said.append(f"{page.url}: {line.text}"))
    page.on("pageerror", lambda error: said.append(f"{page.url}: {error}"))
    page.on("request", lambda asked: asked.url.startswith((url, "blob:", "data:")) or said.append(asked.url))
    yield page
    context.close()
    assert said == []


def sign_in(page: Page, url: str, person: str) -> None:
    page.goto(url)
    page.get_by_label("Your id").fill(person)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def looked_at(page: Page) -> None:
    """The page as it stands: nothing wider than the screen, no barrier, no script."""
    page.wait_for_load_state()
    assert page.locator("script").count() == 0
    page.evaluate(AXE_SCRIPT)
    assert barriers(page) == []
    for width in (WIDTHS[2], WIDTHS[0]):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        assert overflow(page) is None


def test_a_technician_signs_in_sends_readings_and_reads_the_answer(page: Page, url: str, root: Path) -> None:
    page.goto(url)
    looked_at(page)
    sign_in(page, url, "T1")
    looked_at(page)
    page.get_by_role("link", name="Send readings").first.click()
    looked_at(page)
    page.get_by_label("Files").set_input_files([VISIT, FilePayload(name="empty.csv", mimeType="text/csv", buffer=b"")])
    page.get_by_role("button", name="See what they would do").click()
    main = page.get_by_role("main")
    expect(main).to_contain_text("This adds 3 readings, holds 1, cannot use 1 row. 1 file cannot be taken in.")
    looked_at(page)
    before = stores.open(root).facts("readings").num_rows
    page.get_by_role("button", name="Store this").click()
    expect(main).to_contain_text("This added 3 readings, held 1")
    expect(main).to_contain_text("DH-01-N: too early")
    expect(main).to_contain_text("1 13/16 would fit. Re-read or confirm.")
    looked_at(page)
    assert stores.open(root).facts("readings").num_rows == before + 5
    with page.expect_download() as coming:
        page.get_by_role("link", name="Mend sheet").click()
    assert "3 x" in coming.value.path().read_text("utf-8-sig")
    page.get_by_role("button", name="Sign out").click()
    page.get_by_label("Password").wait_for()
    page.wait_for_load_state()
    page.go_back()
    assert page.get_by_label("Password").count() == 1, "what was shown is not kept for who comes next"


def test_the_office_sees_who_did_what(page: Page, url: str) -> None:
    sign_in(page, url, "O1")
    page.get_by_role("link", name="Audit").click()
    expect(page.get_by_role("table")).to_contain_text("sign in")
    looked_at(page)
    page.get_by_role("link", name="Password").click()
    expect(page.get_by_label("Password").first).to_be_visible()
    looked_at(page)


def test_a_field_sheet_opened_by_browser_is_sent_from_there(page: Page, url: str, root: Path) -> None:
    sign_in(page, url, "T1")
    page.get_by_role("link", name="Field sheets").first.click()
    looked_at(page)
    page.get_by_label("Day of the visit").fill("2026-05-13")
    page.get_by_label("Walls").fill("DH-01-S")
    page.clock.set_fixed_time("2026-05-13T15:30:00")
    page.get_by_role("button", name="Open it here").click()
    page.wait_for_selector("body[data-ready]")
    expect(page.locator("#technician")).to_have_value("T1")
    page.locator(".slot").first.tap()
    page.get_by_role("button", name="3", exact=True).tap()
    page.locator("#enter").tap()
    page.locator("#close").tap()
    page.wait_for_selector('body[data-kept="yes"]')
    page.reload()  # made anew from data of a moment later: what was typed is there still
    page.wait_for_selector("body[data-ready]")
    expect(page.locator(".slot").first).to_have_text("3")
    page.on("dialog", lambda asked: asked.accept())
    before = stores.open(root).facts("readings").num_rows
    page.locator("#send").click()
    expect(page.locator("#sent")).to_contain_text("Sent. This added 1 reading.", timeout=30_000)
    expect(page.locator("#sent")).to_contain_text("DH-01-S: holding.")
    expect(page.locator("#progress")).to_contain_text("All of it was sent.")
    assert stores.open(root).facts("readings").num_rows > before
