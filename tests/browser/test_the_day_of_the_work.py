"""The day of a reinforcement on a phone: the reading before, the record of the work, the reading after, one file."""

import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from looking import ZOOMED, barriers, overflow, sheets_of
from phone import SCREEN, Phone
from playwright.sync_api import Browser

from monitor import store as stores
from monitor.demo.run import Done
from monitor.pipeline import assessing, field_sheets, intake

pytestmark = pytest.mark.xdist_group("demo")

DAY = date(2026, 5, 4)
MADE = datetime(2026, 5, 1, 9, tzinfo=UTC)
RECEIVED = datetime(2026, 5, 4, 18, tzinfo=UTC)
WORK = {
    "surface_to_sound": "yes", "cracks_grouted": "yes", "bottom_holes_cleaned": "no", "bottom_hole_depth": "4",
    "positions": "4 ft, 8 ft, 12 ft", "strap_count": "7", "strap_spacing": "4 ft", "adhesive_margin": "1/4",
    "film_hours": "4", "cure_minutes": "40", "heat_source": "no", "hardness_test": "nail tip leaves no dent",
    "top_anchor": "rim joist", "turns": "2 1/2", "anchor_gap": "1/2",
}  # fmt: skip


@pytest.fixture(scope="module")
def file(demo: Done, tmp_path_factory: pytest.TempPathFactory) -> Path:
    sheet = field_sheets.as_built_sheet(demo.store, "DH-09-E", day=DAY, known_on=MADE, assessment=demo.assessment)
    return field_sheets.write(sheet, tmp_path_factory.mktemp("as-built"))


def read_all(phone: Phone, wall: int, values: list[str]) -> None:
    """Every mark of a string line twice, from two placings."""
    for placing in (0, 1):
        phone.tap(f'.slot[data-at="{wall}.0.0.{placing}"]')
        for value in values:
            phone.keys(value)


def test_one_file_of_the_day_fills_the_register_and_brings_the_readings_of_before_and_after(
    browser: Browser, file: Path, demo: Done, tmp_path: Path
) -> None:
    phone = Phone(browser, tmp_path / "phone", file)
    phone.page.fill("#technician", "T1")
    # three visits only, years ago: its ranges are wide
    read_all(phone, 0, ["3", "2 15/16", "1 11/16", "1 3/16", "1 11/16"])

    phone.page.locator("#chooser").get_by_role("button", name="2 The work").tap()
    for name, value in WORK.items():
        part = phone.page.locator(f'.done[name="{name}"]')
        if part.evaluate("part => part.tagName") == "SELECT":
            part.select_option(value)
        else:
            part.fill(value)
    for mark, fate in {"M1": "untouched", "M5": "untouched", "M2": "surface", "M3": "moved", "M4": "strap"}.items():
        phone.page.locator(f'.fate[data-mark="{mark}"]').select_option(fate)
    for name, value in {"id": "M3b", "x": "15 ft 2 in"}.items():
        phone.page.locator(f'.new[data-mark="M3"][name="{name}"]').fill(value)
    phone.page.locator('.thickness[data-mark="M4"]').fill("1/8")
    phone.battery_dies()
    phone.start()
    assert phone.page.locator('.done[name="turns"]').input_value() == "2 1/2"

    phone.page.locator("#chooser").get_by_role("button", name="3 After the work").tap()
    assert phone.page.locator('.field[data-wall="1"] .mark').all_inner_texts() == ["M1", "M5", "M2", "M3b", "M4"]
    read_all(phone, 1, ["3", "2 15/16", "1 3/4", "1 1/4", "1 5/8"])
    with phone.page.expect_download() as saved:
        phone.tap("#save")
    assert (phone.said, {url.split(":")[0] for url in phone.asked} <= {"file", "blob"}) == ([], True)
    data = Path(saved.value.path()).read_bytes()
    phone.context.close()

    store = stores.open(shutil.copytree(demo.store.path, tmp_path / "store"))
    seen = intake.preview_visit(store, "day.json", data, received_at=RECEIVED, sender="T1", today=DAY)
    taken = intake.take_visit(store, "day.json", data, received_at=RECEIVED, sender="T1", today=DAY)
    told = [(each.intake.holds, each.intake.used, each.intake.received, each.added) for each in taken]
    assert told == [("marks", 3, 3, 3), ("events", 3, 3, 3), ("readings", 20, 20, 20)]
    assert [(each.intake.holds, each.added) for each in seen] == [(each.intake.holds, each.added) for each in taken]
    assert [note for each in taken for note in each.intake.notes if "left aside" in note] == []

    events = {row["kind"]: row for row in store.current("events").to_pylist() if row["event_date"] == DAY}
    work = events["reinforcement"]
    assert (work["strap_count"], work["strap_spacing_mm"], work["top_anchor"]) == (7, 4 * 304.8, "rim joist")
    assert (work["bottom_holes_cleaned"], work["bottom_hole_depth_mm"], work["turns"]) == (False, 101.6, 2.5)
    assert (work["cure_minutes"], work["film_hours"], work["marks_untouched"]) == (40.0, 4.0, "M1 M5")
    assert work["note"] == "straps at 4 ft, 8 ft, 12 ft; thickness at M4 1/8 in"
    assert work["doubts"] == "holes of the bottom anchor not cleaned"
    assert (events["surface work"]["marks"], events["surface work"]["note"]) == (
        "M2 M4",
        "worked on: M2; strap over: M4",
    )
    assert (events["lost mark"]["marks"], events["lost mark"]["new_mark"]) == ("M3", "M3b")
    marks = {row["mark"]: row for row in store.current("marks").to_pylist() if row["house"] == "DH-09"}
    assert (marks["M3"]["retired_on"], marks["M3b"]["set_on"], marks["M3b"]["replaces"]) == (DAY, DAY, "M3")
    assert (marks["M3b"]["x_mm"], marks["M3b"]["z_mm"]) == (15 * 304.8 + 50.8, marks["M3"]["z_mm"])
    assert [marks[name]["on_strap"] for name in ("M2", "M4", "M3b")] == [False, True, False]
    rows = [row for row in store.readings().to_pylist() if row["visit_date"] == DAY]
    assert {(row["part"], row["setup"], row["mark"]) for row in rows} == {
        (part, setup, mark)
        for part, names in (("before", "M1 M5 M2 M3 M4"), ("after", "M1 M5 M2 M3b M4"))
        for setup in (1, 2)
        for mark in names.split()
    }
    done = assessing.assess(store, judged_on=DAY, known_on=RECEIVED, save=False)
    assert [r["period"] for r in done.wall_results.to_pylist() if r["house"] == "DH-09"] == [0, 1]


def test_nothing_is_recorded_of_work_that_was_called_off(browser: Browser, file: Path, tmp_path: Path) -> None:
    phone = Phone(browser, tmp_path / "phone", file)
    phone.page.fill("#technician", "T1")
    phone.tap('.slot[data-at="0.0.0.0"]')
    phone.keys("3")
    phone.tap("#close")
    phone.kept()
    tables = phone.page.evaluate(
        "async () => fieldRows.file(JSON.parse(document.getElementById('sheet-data').textContent),"
        " await (await fieldKept()).load(JSON.parse(document.getElementById('sheet-data').textContent).kept_as)).tables"
    )
    assert [(name, len(rows)) for name, rows in tables.items()] == [("readings", 1)]
    phone.context.close()


def test_the_sheet_of_the_day_fits_phone_and_paper_and_is_open_to_everybody(browser: Browser, file: Path) -> None:
    page = browser.new_page(viewport=SCREEN)
    page.goto(file.resolve().as_uri())
    page.wait_for_selector("body[data-ready]")
    assert {sheet: sheets_of(page, sheet) for sheet in ("Letter", "A4")} == {"Letter": 3, "A4": 3}
    page.locator("#chooser").get_by_role("button", name="2 The work").click()
    page.locator(".fate").first.select_option("moved")
    page.evaluate(AXE_SCRIPT)
    assert barriers(page) == []
    page.set_viewport_size({"width": ZOOMED[0], "height": 740})
    assert overflow(page) is None
    page.close()
