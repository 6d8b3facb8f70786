"""Links opened in a browser: one that stands, ended ones, guessed ones, and a page kept open while its link ends."""

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from looking import HEIGHT, WIDTHS, barriers, overflow
from playwright.sync_api import Browser, Page, expect
from service_running import BEGAN, PASSWORD, fill_for_review, served

from monitor import store as stores
from monitor.pipeline import links
from monitor.terms import LinkTo

pytestmark = pytest.mark.xdist_group("browser")

NOTHING = "This link opens no page"


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return fill_for_review(tmp_path_factory.mktemp("links") / "store").path


@pytest.fixture(scope="module")
def url(root: Path) -> Iterator[str]:
    with served(root) as found:
        yield found


def made(root: Path, opens: LinkTo = LinkTo.HOMEOWNER, until: date | None = None) -> tuple[links.Link, str]:
    today = min(BEGAN.date(), until or BEGAN.date())
    return links.make(
        stores.open(root), "DH-01-N", opens, who="O1", why="asked for it", made_at=BEGAN, today=today, expires_on=until
    )


@pytest.fixture
def phone(browser: Browser, url: str) -> Iterator[Page]:
    """A phone that nobody is signed in on: no script, no cookie, nothing asked of anybody but the service."""
    context = browser.new_context(viewport={"width": WIDTHS[0], "height": HEIGHT}, java_script_enabled=False)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    yield page
    assert context.cookies() == []
    context.close()
    assert [each for each in asked if not each.startswith((url, "data:"))] == []


def test_a_page_by_link_in_both_languages_on_a_phone(phone: Page, url: str, root: Path) -> None:
    _, token = made(root)
    phone.goto(f"{url}/h/{token}")
    expect(phone.get_by_role("heading", level=1)).to_be_visible()
    assert phone.url == f"{url}/h/{token}/"
    phone.get_by_role("link", name="Español").click()
    assert phone.url == f"{url}/h/{token}/es.html"
    expect(phone.locator("html")).to_have_attribute("lang", "es")
    phone.get_by_role("link", name="English").click()
    expect(phone.locator("html")).to_have_attribute("lang", "en")


def test_a_page_kept_open_is_gone_on_reload_and_by_going_back_once_its_link_ended(
    phone: Page, url: str, root: Path
) -> None:
    link, token = made(root)
    phone.goto(f"{url}/h/{token}/")
    phone.get_by_role("link", name="Español").click()
    links.end(stores.open(root), link, who="O1", why="sent to the wrong person", made_at=BEGAN)
    phone.go_back()
    expect(phone.get_by_role("heading", level=1)).to_have_text(NOTHING)
    phone.reload()
    expect(phone.get_by_role("heading", level=1)).to_have_text(NOTHING)


def test_expired_and_guessed_links_show_the_same_page_with_whom_to_ask(phone: Page, url: str, root: Path) -> None:
    _, last_day = made(root, until=BEGAN.date())
    phone.goto(f"{url}/h/{last_day}/")
    assert phone.get_by_role("heading", level=1).inner_text() != NOTHING, "its last day counts"
    _, expired = made(root, until=BEGAN.date() - timedelta(days=1))
    texts = []
    for token in (expired, "x" * 32, last_day[:-1] + ("A" if last_day[-1] != "A" else "B")):
        answer = phone.goto(f"{url}/h/{token}/")
        assert answer is not None
        assert answer.status == 404
        texts.append(phone.locator("body").inner_text())
    assert len(set(texts)) == 1
    assert "555-0100" in texts[0]


def test_the_engineer_takes_the_pack_by_link(browser: Browser, url: str, root: Path) -> None:
    _, token = made(root, LinkTo.PACK)
    context = browser.new_context(viewport={"width": WIDTHS[2], "height": HEIGHT})
    page = context.new_page()
    page.goto(f"{url}/h/{token}/")
    with page.expect_download() as taking:
        page.get_by_role("link", name="Take the archive (ZIP)").click()
    assert taking.value.suggested_filename == "records.zip"
    context.close()


def test_the_pages_around_links_have_no_barrier_and_fit_phone_and_desk(browser: Browser, url: str, root: Path) -> None:
    _, pack = made(root, LinkTo.PACK)
    context = browser.new_context()
    page = context.new_page()
    page.goto(url)
    page.get_by_label("Your id").fill("O1")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    for path in ("/review/walls/DH-01-N/links", f"/h/{pack}/", f"/h/{'x' * 32}/", "/check?number=0000-0000-0000"):
        page.goto(f"{url}{path}")
        for width in (WIDTHS[0], WIDTHS[2]):
            page.set_viewport_size({"width": width, "height": HEIGHT})
            assert overflow(page) is None, path
        page.evaluate(AXE_SCRIPT)
        assert barriers(page) == [], path
    context.close()
