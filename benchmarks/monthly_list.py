"""How the monthly list and the index behave at 3,000 walls: bytes, seconds to make, seconds to find and sort.

    python benchmarks/monthly_list.py [--walls 3000] [--chromium /usr/bin/chromium]

Seconds to make are of one core's time, each with the list itself. The rows are invented; nothing is fitted. 'a month':
one wall in eight asks for somebody; 'all': every wall does, the worst that can come. Without a browser the last part is
left out.
"""

import argparse
import gzip
import random
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.config import Rules
from monitor.report import monthly_files, pages
from monitor.report.context import Book
from monitor.results import Assessment

TODAY, LAST = date(2026, 4, 30), date(2026, 3, 31)
PLACES = ("jump", "moving", "look again", "held", "overdue")
REASON = (
    "Not yet shown to be moving, but the lower bound of mark M3 by itself, 0.14 inch a year, is above the threshold "
    "of 1/8 inch a year."
)
NEXT = "Make a confirming visit with two set-ups by 2026-06-05."


def table(name: str, rows: list[dict[str, Any]]) -> pa.Table:
    """Rows to a table of that schema; what is left out is empty."""
    fields = schema.find(name)
    blank = {field.name: "" if field.type == pa.string() else None for field in fields}
    return pa.Table.from_pylist([blank | row for row in rows], schema=fields)


def result(key: dict[str, str], place: str, chance: random.Random) -> dict[str, Any]:
    """One wall's result: where it stands on the list follows from it and from its finding."""
    rate = chance.gauss(2.0, 2.0)
    quiet = random.Random("-".join(key.values())).choice(("holding", "too early"))  # the same last month
    verdict = {"moving": "moving", "look again": "look again"}.get(place, quiet)
    return key | {
        "period": 0, "is_current": True, "visits": chance.randint(3, 9), "visits_all": 9, "last_visit": TODAY,
        "threshold_mm_per_year": 3.175, "governing_mark": "M3", "rate_mm_per_year": rate, "rate_lower": rate - 0.8,
        "rate_upper": rate + 0.8, "largest_movement": "bow", "not_measured": "tip slide", "exceed_chance": 0.98,
        "total_mm": chance.uniform(5, 45), "total_limit_mm": 50.8, "readings_held": int(place == "held"),
        "overdue_days": 90 if place == "overdue" else 0, "due_on": TODAY + timedelta(days=chance.randint(1, 360)),
        "verdict": verdict, "reason": REASON,
    }  # fmt: skip


def assessment(places: dict[tuple[str, str], str], day: date, seed: int) -> Assessment:
    """An assessment with every wall at its place."""
    chance = random.Random(seed)
    rules = {"jump": "jump since the last visit", "held": "readings held", "overdue": "visit overdue"}
    results, findings = [], []
    for (house, wall), place in places.items():
        key = {"house": house, "wall": wall}
        results.append(result(key, place, chance))
        if place:
            findings.append(
                key | {"period": 0, "rule": rules.get(place, "trend"), "outcome": "yes", "reason": REASON,
                       "urgency": "same-day call" if place == "jump" else "decision this month", "next_step": NEXT}
            )  # fmt: skip
    return Assessment(
        judged_on=day, known_until=datetime(day.year, day.month, day.day, 23, tzinfo=UTC), settings_sha256="5" * 64,
        facts_sha256="f" * 64, wall_results=table("wall_results", results), findings=table("findings", findings),
    )  # fmt: skip


def book(walls: int, listed: int) -> Book:
    """A company with so many walls, one in `listed` of which asks for somebody; last month it was another tenth."""
    chance = random.Random(20260430)
    keys = [(f"H{number // 3:04d}", "NESW"[number % 3]) for number in range(walls)]
    places = {key: chance.choice(PLACES) if chance.random() < 1 / listed else "" for key in keys}
    before = {key: "" if chance.random() < 0.1 else place for key, place in places.items()}
    register = [{"house": house, "wall": wall, "nickname": f"{wall} wall", "unit": "in"} for house, wall in keys]
    houses = [{"house": house, "nickname": f"the house {house}"} for house in dict.fromkeys(house for house, _ in keys)]
    decisions = [
        {"decision_id": f"{number:016x}", "house": house, "wall": wall, "step": "visit sooner", "who": "O1",
         "owner": chance.choice(("O1", "O2", "T1", "E1")), "due": TODAY + timedelta(days=chance.randint(-20, 40)),
         "why": "see the photo", "known_at": datetime(2026, 4, 15, tzinfo=UTC)}
        for number, ((house, wall), place) in enumerate(places.items()) if place and number % 2
    ]  # fmt: skip
    return Book(
        facts={"walls": table("walls", register), "houses": table("houses", houses)},
        decisions=table("decisions", decisions), assessment=assessment(places, TODAY, 1),
        previous=assessment(before, LAST, 2), company={"name": "the demo firm"}, rules=Rules(), code_version="none",
    )  # fmt: skip


def timed(make: Callable[[Book], bytes], book: Book) -> tuple[bytes, float]:
    """What was made, and the best of three runs in seconds of one core; each of a book that nothing was made of yet."""
    best, data = float("inf"), b""
    for _ in range(3):
        fresh = replace(book)
        began = time.process_time()
        data = make(fresh)
        best = min(best, time.process_time() - began)
    return data, best


def together(book: Book) -> bytes:
    """The list as page, CSV file and workbook, one after the other."""
    return b"".join(make(book) for make in (pages.monthly_list, monthly_files.monthly_csv, monthly_files.monthly_xlsx))


_ACT = """(act) => {
  const form = document.getElementById("finder"), began = performance.now();
  if (act === "head") document.querySelector('th[data-sort] button').click();
  else if (act === "reset") form.reset();
  else { form.elements[act[0]].value = act[1];
         form.elements[act[0]].dispatchEvent(new Event("input", {bubbles: true})); }
  document.body.offsetHeight;
  return [performance.now() - began, document.getElementById("shown").value];
}"""


def in_browser(path: Path, chromium: str, acts: list[tuple[str, Any]], width: int) -> Iterator[tuple[str, float, str]]:
    """(what was done, milliseconds with the layout after it, what the page says then)."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": width, "height": 900})
        began = time.perf_counter()
        page.goto(path.as_uri())
        page.evaluate("document.body.offsetHeight")
        yield "open", 1000 * (time.perf_counter() - began), page.locator("#shown").inner_text()
        for words, act in acts:
            took, said = page.evaluate(_ACT, act)
            yield words, took, said
        browser.close()


FIND = [("find a text", ("text", "h0123")), ("find nothing", ("text", "")), ("sort by the first column", "head"),
        ("sort it the other way", "head")]  # fmt: skip
LIST = [*FIND, ("sort by rate", ("sort", "rate")), ("one section", ("list", "moving")), ("one owner", ("owner", "O2"))]


def main() -> None:
    """Print the numbers."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--walls", type=int, default=3000)
    asked.add_argument("--chromium", default=shutil.which("chromium") or "")
    given = asked.parse_args()
    for words, listed in (("a month", 8), ("all", 1)):
        made = book(given.walls, listed)
        for name, make, acts in (
            ("monthly-list.html", pages.monthly_list, LIST),
            ("monthly-list.csv", monthly_files.monthly_csv, []),
            ("monthly-list.xlsx", monthly_files.monthly_xlsx, []),
            ("all three", together, []),
            ("index.html", pages.index, FIND),
        ):
            data, took = timed(make, made)
            packed = len(gzip.compress(data, mtime=0))
            print(f"{words:8} {name:18} {len(data):>9,} bytes ({packed:>7,} gzipped), {took:6.2f} s to make")
            if acts and given.chromium:
                with tempfile.TemporaryDirectory() as folder:
                    path = Path(folder) / name
                    path.write_bytes(data)
                    for width in (1440, 390):
                        for act, milliseconds, said in in_browser(path, given.chromium, acts, width):
                            print(f"{'':27} {width:4} px: {act:25} {milliseconds:7.0f} ms  {said}")


if __name__ == "__main__":
    main()
