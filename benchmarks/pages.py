"""How fast pages are made, what they weigh, and when a throttled phone shows them, beside the naive way.

    python benchmarks/pages.py [--store reports/demo/store] [--times 1] [--chromium /usr/bin/chromium]

The store is that of the demo (`wallbow demo` makes it); --times: its houses so many times over, as a larger company has
them. Pages a second are of one core: of its own time, for others use the machine too. The naive way: the interactive
chart of the same wall as one file with its charting library inside. A phone here: a processor four times slower, 1.6
Mbit/s down, 150 ms to answer. Without a browser (--chromium "") nothing is shown on a phone.
"""

import argparse
import contextlib
import functools
import gzip
import http.server
import json
import math
import re
import shutil
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
from playwright.sync_api import Browser, sync_playwright
from plotly.graph_objects import Figure

from monitor import schema
from monitor import store as stores
from monitor.pipeline import editions
from monitor.pipeline.publishing import book_of_edition
from monitor.report import names, pages
from monitor.report.context import Book, Key
from monitor.report.language import codes

RUNS = 3
ROUNDS, WALLS = 5, 300
SLOW_LINE = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 90_000}
PAINT = "() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime"


class Quiet(http.server.SimpleHTTPRequestHandler):
    """Serves a folder and says nothing; what is asked for under /packed/ goes out compressed."""

    def do_GET(self) -> None:
        """A file as it is, or compressed."""
        if not self.path.startswith("/packed/"):
            super().do_GET()
            return
        name = self.path.removeprefix("/packed/")
        self.send_response(200)
        self.send_header("Content-Type", self.guess_type(name))
        self.send_header("Content-Encoding", "gzip")
        self.end_headers()
        self.wfile.write((Path(self.directory) / f"{name}.gz").read_bytes())

    def log_message(self, *_: object) -> None:
        """Nothing."""


@contextlib.contextmanager
def served(folder: Path) -> Iterator[str]:
    """The address under which a folder is served."""
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(folder)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()


def first_paint(browser: Browser, address: str) -> float:
    """Milliseconds to the first words or picture on a throttled phone, the middle of several runs."""
    found = []
    for _ in range(RUNS):
        context = browser.new_context(viewport={"width": 390, "height": 844}, device_scale_factor=2)
        page = context.new_page()
        wire = context.new_cdp_session(page)
        wire.send("Network.enable")
        wire.send("Network.emulateNetworkConditions", SLOW_LINE)
        wire.send("Emulation.setCPUThrottlingRate", {"rate": 4})
        page.goto(address, wait_until="load", timeout=120_000)
        page.wait_for_function(PAINT, timeout=120_000)
        found.append(float(page.evaluate(PAINT)))
        context.close()
    return statistics.median(found)


def naive(wall_page: str) -> bytes:
    """The interactive chart of a wall's page as one file, as the charting library writes it by default."""
    data = re.search(r'<script type="application/json"[^>]*>(.*?)</script>', wall_page, re.DOTALL)
    assert data
    written: str = Figure(json.loads(data[1])).to_html(include_plotlyjs=True)
    return written.encode()


def repeated(book: Book, times: int) -> Book:
    """The same houses so many times over, each time under other ids."""

    def over(table: pa.Table) -> pa.Table:
        if "house" not in table.column_names:
            return table
        place, field = table.column_names.index("house"), table.schema.field("house")
        ids = [pc.binary_join_element_wise(f"{number:05d}", table["house"], "-") for number in range(times)]
        return pa.concat_tables([table.set_column(place, field, house) for house in ids]) if len(table) else table

    judged = {name: over(getattr(book.assessment, name)) for name in schema.RESULTS}
    return replace(
        book,
        facts={name: over(table) for name, table in book.facts.items()},
        assessment=replace(book.assessment, **judged),
        decisions=over(book.decisions),
        components=over(book.components),
    )


def per_second(make: Callable[[Key], int], keys: list[Key]) -> float:
    """Pages made a second of the processor's time; the best of several rounds over some hundred walls."""
    make(keys[0])  # what is worked out once for all pages
    best = 0.0
    for number in range(ROUNDS):
        some = keys[number * WALLS % len(keys) :][:WALLS]
        start = time.process_time()
        made = sum(map(make, some))
        best = max(best, made / (time.process_time() - start))
    return best


def on_phone(folder: Path, kinds: Iterable[str], chromium: str) -> Mapping[str, tuple[float, float]]:
    """Milliseconds to the first paint of each page, as it is and compressed."""
    with sync_playwright() as playwright, served(folder) as address:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        found = {
            kind: (
                first_paint(browser, f"{address}/{kind}.html"),
                first_paint(browser, f"{address}/packed/{kind}.html"),
            )
            for kind in kinds
        }
        browser.close()
    return found


def main() -> None:
    """Measure and print."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--store", type=Path, default=Path("reports/demo/store"))
    ask.add_argument("--times", type=int, default=1)
    ask.add_argument("--chromium", default=shutil.which("chromium") or "")
    asked = ask.parse_args()
    store = stores.open(asked.store)
    book = book_of_edition(store, editions.on_record(store)[-1])
    book = repeated(book, asked.times) if asked.times > 1 else book
    keys = names.wall_keys(book)
    print(f"{len(keys)} walls; pages a second of one core's time")
    for words, made in (
        ("homeowner's, one language", lambda key: len([pages.homeowner_page(book, *key)])),
        ("homeowner's, every language", lambda key: len([pages.homeowner_page(book, *key, code) for code in codes()])),
        ("history for a sale", lambda key: len([pages.history_page(book, *key)])),
        ("wall, for the office", lambda key: len([pages.wall_page(book, *key)])),
    ):
        print(f"{words:28} {per_second(made, keys):6.0f}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / names.SCRIPT).write_bytes(pages.plotly_script())
        files = {
            "homeowner": pages.homeowner_page(book, *keys[0]),
            "history": pages.history_page(book, *keys[0]),
            "wall": pages.wall_page(book, *keys[0]),
        }
        files["naive"] = naive(files["wall"].decode())
        for kind, data in files.items():
            (folder / f"{kind}.html").write_bytes(data)
        for path in list(folder.iterdir()):
            path.with_name(f"{path.name}.gz").write_bytes(gzip.compress(path.read_bytes(), mtime=0))
        paints = on_phone(folder, files, asked.chromium) if asked.chromium else {}
        print("page | bytes | gzipped | first paint ms | gzipped, ms | times the homeowner's, gzipped")
        for kind, data in files.items():
            size = (folder / f"{kind}.html.gz").stat().st_size
            plain, packed = paints.get(kind, (math.nan, math.nan))
            ratio = packed / paints["homeowner"][1] if paints else math.nan
            print(f"{kind} | {len(data)} | {size} | {plain:.0f} | {packed:.0f} | {ratio:.1f}")


if __name__ == "__main__":
    main()
