"""An office Monday in a browser: from the list to the last decision; and two people at one wall at the same time."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from looking import HEIGHT, SHORTEN, WIDTHS, barriers, overflow
from playwright.sync_api import Browser, Page, expect
from service_running import PASSWORD, fill_for_review, served

from monitor import store as stores

pytestmark = pytest.mark.xdist_group("browser")

PHONE, DESK = 390, WIDTHS[2]


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return fill_for_review(tmp_path_factory.mktemp("monday") / "store").path


@pytest.fixture(scope="module")
def url(root: Path) -> Iterator[str]:
    with served(root) as found:
        yield found


@contextmanager
def signed_in(browser: Browser, url: str, *, refused: int = 0) -> Iterator[Page]:
    """The office's page; nothing may be said on its console, and nothing asked of anybody but the service.

    refused: answers 409 and 422 that the browser itself puts on the console.
    """
    context = browser.new_context(viewport={"width": DESK, "height": HEIGHT})
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda line: said.append(f"{page.url}: {line.text}"))
    page.on("pageerror", lambda error: said.append(f"{page.url}: {error}"))
    page.on("request", lambda asked: asked.url.startswith((url, "data:")) or said.append(asked.url))
    page.goto(url)
    page.get_by_label("Your id").fill("O1")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()
    yield page
    context.close()
    assert [line for line in said if "status of 409" not in line] == []
    assert len(said) == refused


def looked_at(page: Page) -> None:
    """The page as it stands: nothing wider than the screen at a desk or on a phone, and no barrier."""
    page.wait_for_load_state()
    for width in (PHONE, DESK):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        assert overflow(page) is None
    page.evaluate(SHORTEN)
    page.evaluate(AXE_SCRIPT)
    assert barriers(page) == []


def test_the_list_is_narrowed_without_a_script(browser: Browser, url: str) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(url)
    page.get_by_label("Your id").fill("E1")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()
    page.goto(f"{url}/review")
    page.get_by_role("searchbox").fill("dh-01-s")
    page.get_by_role("button", name="Show").click()
    expect(page.locator("#shown")).to_have_text("1 of 2 walls shown")
    assert page.get_by_role("link", name="DH-01-N").count() == 0
    context.close()


def test_an_office_monday(browser: Browser, url: str, root: Path) -> None:
    with signed_in(browser, url) as page:
        page.get_by_role("link", name="Monthly list").first.click()
        expect(page.locator("#shown")).to_have_text("2 of 2 walls shown")
        looked_at(page)
        page.get_by_role("searchbox").fill("dh-01-n")
        expect(page.locator("#shown")).to_have_text("1 of 2 walls shown")
        page.get_by_role("searchbox").fill("")
        page.get_by_role("link", name="DH-01-N").click()
        expect(page.get_by_role("heading", name="Held readings (2)")).to_be_visible()
        looked_at(page)

        page.get_by_label("Who was told what").fill("Told that the wall is read again")
        page.get_by_role("button", name="Log the call").click()
        expect(page.get_by_role("status")).to_have_text("Your decision is on record.")
        page.goto(f"{url}/review/walls/DH-01-S")
        page.get_by_label("visit sooner").check()
        form = page.locator("form", has=page.get_by_role("button", name="Record the decision"))
        form.get_by_label("Reason").fill("read it again from a fresh set-up")
        form.get_by_label("Who does it").select_option("T1")
        form.get_by_label("By when").fill("2026-05-20")
        form.get_by_role("button").click()
        expect(page.get_by_role("status")).to_have_text("Your decision is on record.")
        page.get_by_role("link", name="To the list").click()
        main = page.get_by_role("main")
        expect(main).to_contain_text("visit sooner by 2026-05-20: read it again from a fresh set-up")
        expect(main).to_contain_text("called homeowner: Told that the wall is read again")

        page.goto(f"{url}/review/walls/DH-01-N")
        waiting = page.locator("form", has=page.get_by_role("button", name="Release those ticked"))
        waiting.get_by_role("checkbox", name="M5").check()
        waiting.get_by_label("Reason").fill("read twice, the same")
        waiting.get_by_role("button", name="Release those ticked").click()
        expect(page.get_by_role("status")).to_have_text(
            "Your ruling is on record. The verdict on this page has it in already."
        )
        page.get_by_role("link", name="Correct M3").click()
        looked_at(page)
        page.get_by_label("Correct it to the value below").check()
        page.get_by_label("Value, to correct it").fill("1 13/16")
        page.get_by_label("Reason").fill("a slip of the pen")
        page.get_by_role("button", name="Record the ruling").click()
        expect(page.get_by_text("None waits.")).to_be_visible()
        page.goto(f"{url}/review/walls/DH-01-S")
        page.get_by_role("checkbox", name="M3").check()
        page.get_by_label("Reason").first.fill("the rule was held crooked")
        page.get_by_role("button", name="Reject those ticked").click()
        expect(page.get_by_text("None waits.")).to_be_visible()

        page.get_by_role("link", name="To the list").click()
        for wall in ("DH-01-N", "DH-01-S"):
            expect(main).to_contain_text(
                f"{wall}, as readings came in or were ruled on, for 2026-05-13: holding, before"
            )
        looked_at(page)
        page.get_by_role("button", name="Assess all walls again").click()
        expect(main).to_contain_text("Judged for 2026-05-13", timeout=20_000)
        page.get_by_role("link", name="Visit plan").first.click()
        expect(page.get_by_role("heading", level=1)).to_contain_text("Visit plan")
        page.wait_for_load_state()
        assert overflow(page) is None
    store = stores.open(root)
    assert [row["act"] for row in store.facts("rulings").sort_by("known_at").to_pylist()] == [
        *("release", "correct", "reject")
    ]
    done = [row["act"] for row in store.office.rows("audit") if row["result"].startswith("done")]
    assert done[-6:] == ["decide", "decide", "rule", "rule", "rule", "assess"]


def test_of_two_browsers_at_one_wall_the_second_sees_what_the_first_did_and_loses_nothing(
    browser: Browser, url: str, root: Path
) -> None:
    before = len(stores.open(root).office.rows("decisions"))
    with signed_in(browser, url) as one, signed_in(browser, url, refused=1) as two:
        for page, step in ((one, "repair"), (two, "call engineer")):
            page.goto(f"{url}/review/walls/DH-01-S")
            page.get_by_label(step).check()
            form = page.locator("form", has=page.get_by_role("button", name="Record the decision"))
            form.get_by_label("Reason").fill(f"I say {step}")
        for page in (one, two):
            page.get_by_role("button", name="Record the decision").click()
        missed = two.get_by_role("region", name="Something happened while you wrote")
        expect(missed).to_contain_text("O1: repair, by O1: I say repair")
        two.wait_for_load_state()
        assert overflow(two) is None
        expect(two.get_by_role("radio", name="call engineer")).to_be_checked()
        two.get_by_role("button", name="Record the decision").click()
        expect(two.get_by_role("status")).to_have_text("Your decision is on record.")
    rows = stores.open(root).office.rows("decisions")[before:]
    assert [row["why"] for row in rows] == ["I say repair", "I say call engineer"]
