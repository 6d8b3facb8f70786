"""A phone in a basement: small, without signal, and with a battery that can die."""

import os
import shutil
import signal
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Error, Page, ViewportSize

SCREEN = ViewportSize(width=360, height=740)


class Phone:
    """A phone-size browser with its own memory, offline from the start, whose battery can die."""

    def __init__(self, browser: Browser, profile: Path, page: Path) -> None:
        self.browser, self.profile, self.file = browser, profile, page
        self.said: list[str] = []
        self.asked: list[str] = []
        self.start()

    def start(self) -> None:
        self.context: BrowserContext = self.browser.browser_type.launch_persistent_context(
            str(self.profile),
            executable_path=shutil.which("chromium") or shutil.which("chromium-browser"),
            viewport=SCREEN,
            has_touch=True,
            offline=True,
        )
        self.page: Page = self.context.pages[0]
        self.page.clock.set_fixed_time(datetime(2026, 5, 4, 15, 30))  # noqa: DTZ001 (the phone's own time)
        self.page.on("console", lambda said: self.said.append(said.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.open()

    def open(self) -> None:
        self.page.goto(self.file.resolve().as_uri())
        self.ready()

    def ready(self) -> None:
        self.page.wait_for_selector("body[data-ready]")

    def kept(self) -> None:
        """Wait until the page says that all is kept."""
        self.page.wait_for_selector('body[data-kept="yes"]')

    def reload(self) -> None:
        """Load the page anew, once it says that all is kept."""
        self.kept()
        self.page.reload()
        self.ready()

    def battery_dies(self) -> None:
        """Kill the browser outright, as it would be without power, once the page says that all is kept."""
        self.kept()
        mine = f"--user-data-dir={self.profile}".encode()
        for entry in Path("/proc").iterdir():
            with suppress(OSError):
                words = (entry / "cmdline").read_bytes().split(b"\0") if entry.name.isdecimal() else []
                if mine in words and not any(word.startswith(b"--type=") for word in words):
                    os.kill(int(entry.name), signal.SIGKILL)
        with suppress(Error):
            self.context.close()
        for lock in self.profile.glob("Singleton*"):
            lock.unlink()

    def tap(self, selector: str) -> None:
        self.page.locator(selector).tap()

    def keys(self, text: str) -> None:
        """Type a length in the keys that are open: '1 3/16'."""
        for word in text.split():
            if "/" in word:
                self.tap(f'.part[value="{word}"]')
            else:
                for digit in word:
                    self.tap(f'.digits [value="{digit}"]')
        self.tap("#enter")

    @property
    def asks(self) -> str:
        return plain(self.page.locator("#asked").inner_text())

    @property
    def mark(self) -> str:
        """The mark whose keys are open."""
        return self.page.locator("#keys-head").inner_text().split(":")[0]

    def slot(self, place: str) -> str:
        return plain(self.page.locator(f'.slot[data-at="{place}"]').inner_text())


def plain(text: str) -> str:
    """With plain spaces in mixed numbers, which the page keeps together."""
    return text.replace("\xa0", " ")
