"""How fast pages are made, what they weigh, and when a throttled phone shows them, beside the naive way.

    python benchmarks/pages.py [--store reports/demo/store] [--chromium /usr/bin/chromium]

The store is that of the demo (`wallbow demo` makes it). The naive way: the interactive chart of the same wall as one
file with its charting library inside. A phone here: a processor four times slower, 1.6 Mbit/s down, 150 ms to answer.
"""

import argparse
import contextlib
import functools
import gzip
import http.server
import json
import re
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright
from plotly.graph_objects import Figure

from monitor import store as stores
from monitor.pipeline import editions
from monitor.pipeline.publishing import book_of_edition
from monitor.report import names, pages

RUNS = 3
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


def per_second(make: Callable[[str, str], bytes], keys: list[tuple[str, str]]) -> float:
    """Pages made a second, the best of several runs over all walls."""
    best = float("inf")
    for _ in range(3):
        start = time.perf_counter()
        for key in keys:
            make(*key)
        best = min(best, time.perf_counter() - start)
    return len(keys) / best


def main() -> None:
    """Measure and print."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--store", type=Path, default=Path("reports/demo/store"))
    ask.add_argument("--chromium", default="/usr/bin/chromium")
    asked = ask.parse_args()
    store = stores.open(asked.store)
    book = book_of_edition(store, editions.on_record(store)[-1])
    keys = names.wall_keys(book)
    made = {
        "homeowner": functools.partial(pages.homeowner_page, book),
        "history": functools.partial(pages.history_page, book),
        "wall": functools.partial(pages.wall_page, book),
    }
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        (folder / names.SCRIPT).write_bytes(pages.plotly_script())
        house, wall = keys[0]
        files = {kind: make(house, wall) for kind, make in made.items()}
        files["naive"] = naive(files["wall"].decode())
        for kind, data in files.items():
            (folder / f"{kind}.html").write_bytes(data)
        for path in list(folder.iterdir()):
            path.with_name(f"{path.name}.gz").write_bytes(gzip.compress(path.read_bytes(), mtime=0))
        browser = playwright.chromium.launch(executable_path=asked.chromium, args=["--no-sandbox"])
        print("page | pages a second | bytes | gzipped | first paint ms | gzipped, ms | times the homeowner's, gzipped")
        with served(folder) as address:
            plain = {kind: first_paint(browser, f"{address}/{kind}.html") for kind in files}
            packed = {kind: first_paint(browser, f"{address}/packed/{kind}.html") for kind in files}
        for kind, data in files.items():
            rate = f"{per_second(made[kind], keys):.0f}" if kind in made else "-"
            size, ratio = (folder / f"{kind}.html.gz").stat().st_size, packed[kind] / packed["homeowner"]
            print(f"{kind} | {rate} | {len(data)} | {size} | {plain[kind]:.0f} | {packed[kind]:.0f} | {ratio:.1f}")
        browser.close()


if __name__ == "__main__":
    main()
