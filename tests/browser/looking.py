"""Pages opened in a browser at several widths: what overflows, what was said, asked for and found hard to read."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Browser, BrowserContext, Page, Route
from pypdf import PdfReader

WIDTHS = (360, 768, 1440)
"""A phone, a tablet, a desk; CSS pixels."""
ZOOMED = tuple(width // 2 for width in WIDTHS)
"""The same windows at 200 %: half as many CSS pixels, each of two dots a side."""
HEIGHT = 900
SHEETS = ("Letter", "A4")
_MARGINS = dict.fromkeys(("top", "right", "bottom", "left"), "10mm")

_CHART_WAIT_MS = 20_000
_CHECK = (
    """() => axe.run({resultTypes: ["violations"], iframes: false, preload: false}).then((found) => found.violations)"""
)
SHORTEN = """() => {
  for (const chart of document.querySelectorAll(".live")) chart.replaceChildren();
  for (const body of document.querySelectorAll("tbody")) {
    const kept = {};
    for (const row of [...body.rows]) {
      kept[row.className] = (kept[row.className] ?? 0) + 1;
      if (kept[row.className] > 3) row.remove();
    }
  }
}"""
"""The checker takes minutes for tables of hundreds of rows, so it is given three rows of each kind of every table: the
others are made by the same lines of the template. And without the interactive chart: the library's own drawing, whose
words and numbers the static picture and the tables of the same page give as well."""
_STATE = """() => document.querySelector(".lead .word")?.textContent ?? location.href"""
_WIDER = """() => {
  const wide = document.documentElement.scrollWidth, room = window.innerWidth;
  if (wide <= room) return null;
  const out = [...document.querySelectorAll("body *")].filter(
    (part) => !part.parentElement.closest(".scroll") && part.getBoundingClientRect().right > room + 0.5);
  return `${wide} px wide: ` + out.slice(0, 3).map((part) => part.outerHTML.slice(0, 60)).join(" | ");
}"""


@dataclass
class Seen:
    """What opening pages brought to light, each as 'page, width: what'; sheets: by page and size of paper, how many."""

    kinds: dict[str, int] = field(default_factory=dict)
    overflows: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)
    barriers: list[str] = field(default_factory=list)
    sheets: dict[str, int] = field(default_factory=dict)


def kind_of(path: Path) -> str:
    """What kind of page a file is, by its name: 'homeowner' of homeowner_H_N.html, 'index' of index.html."""
    return path.stem.split("_")[0]


def opened(browser: Browser, folder: Path, scale: int, seen: Seen) -> tuple[BrowserContext, Page]:
    """A page that may ask for files of the folder and nothing else; what it says and asks is written down."""
    context = browser.new_context(viewport={"width": WIDTHS[0], "height": HEIGHT}, device_scale_factor=scale)
    page = context.new_page()
    inside = folder.resolve().as_uri() + "/"

    def only_inside(route: Route) -> None:
        if route.request.url.startswith(inside):
            route.continue_()
            return
        seen.outside.append(f"{Path(page.url).name}: {route.request.url}")
        route.abort()

    context.route(re.compile(""), only_inside)
    page.on("console", lambda said: seen.said.append(f"{Path(page.url).name}: {said.type}: {said.text}"))
    page.on("pageerror", lambda error: seen.said.append(f"{Path(page.url).name}: {error}"))
    return context, page


def look(browser: Browser, folder: Path, paths: Sequence[Path]) -> Seen:
    """Open every page once: widths, then paper (homeowners' pages), then barriers.

    The first page of each kind in each language is looked at in every width, the others in the narrowest of either
    zoom, where a page breaks first. Of pages of one kind whose lead bears the same words one is checked for barriers.
    """
    seen, checked = Seen(), set()
    context, page = opened(browser, folder, 2, seen)
    for path in paths:
        page.set_viewport_size({"width": ZOOMED[0], "height": HEIGHT})
        page.goto(path.resolve().as_uri())
        kind = f"{kind_of(path)} {page.locator('html').get_attribute('lang')}"
        seen.kinds[kind] = seen.kinds.get(kind, 0) + 1
        number = len(WIDTHS) if seen.kinds[kind] == 1 else 1
        if page.locator(".live").count():
            page.wait_for_selector(".live .main-svg", state="attached", timeout=_CHART_WAIT_MS)
        for width in _widths(page, (*ZOOMED[:number], *WIDTHS[:number])):
            if wider := overflow(page):
                seen.overflows.append(f"{path.name}, {width} px: {wider}")
        if kind.startswith("homeowner"):
            seen.sheets |= {f"{path.name}, {sheet}": sheets_of(page, sheet) for sheet in SHEETS}
        state = (kind, page.evaluate(_STATE))
        if state in checked:
            continue
        checked.add(state)
        page.evaluate(SHORTEN)
        page.evaluate(AXE_SCRIPT)
        for width in _widths(page, WIDTHS[:number]):
            seen.barriers += [f"{path.name}, {width} px: {text}" for text in barriers(page)]
    context.close()
    return seen


def _widths(page: Page, widths: Sequence[int]) -> Iterator[int]:
    for width in widths:
        page.set_viewport_size({"width": width, "height": HEIGHT})
        yield width


def overflow(page: Page) -> str | None:
    """What makes the page wider than its window; an interactive chart gets a second to follow the window."""
    found: str | None = page.evaluate(_WIDER)
    if found and page.locator(".live").count():
        page.wait_for_timeout(1000)
        found = page.evaluate(_WIDER)
    return found


def sheets_of(page: Page, sheet: str) -> int:
    """How many sheets of that paper the page prints on."""
    return len(PdfReader(BytesIO(page.pdf(format=sheet, margin=_MARGINS))).pages)


def barriers(page: Page) -> list[str]:
    """What the accessibility checker objects to by any of its rules, a line each."""
    return [
        f"{rule['id']} ({rule['impact']}), {len(rule['nodes'])} times, first {rule['nodes'][0]['html'][:120]}: "
        f"{' '.join(rule['nodes'][0]['failureSummary'].split())}"
        for rule in page.evaluate(_CHECK)
    ]
