"""The rules that a field sheet knows without signal, held against the tool's own on the same cases."""

import random
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, date, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from monitor import ingest, lengths, schema
from monitor.demo.run import Done
from monitor.pipeline import field_sheets, judging
from monitor.pipeline.expecting import expected_at
from monitor.report import field_sheet
from monitor.terms import State
from monitor.units import fraction_text, length_text

pytestmark = pytest.mark.xdist_group("demo")

TEMPLATES = Path(field_sheet.__file__).parent / "templates"
DAY = date(2026, 5, 4)
WALL = "DH-08-W"
"""Read by string along one row; no reading of it is held, which could confirm another."""
MARK = "M3b"
MADE = datetime(2026, 5, 1, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def page(browser: Browser) -> Iterator[Page]:
    found = browser.new_page()
    for name in ("field-rules.js", "field-rows.js"):
        found.add_script_tag(content=(TEMPLATES / name).read_text(encoding="utf-8"))
    yield found
    found.close()


def test_every_length_that_the_keys_can_write_is_what_intake_reads(page: Page) -> None:
    texts = [fraction_text(Fraction(n, 16)) for n in range(-40, 16 * 250)]
    metric = [f"{n / 10:g}" for n in range(0, 80_000, 7)] + ["0.5", "6055", "6055.2"]
    for unit, written in (("in", texts), ("mm", metric)):
        want = [lengths.parse(text, unit).mm for text in written]
        got = page.evaluate(
            "([texts, unit]) => texts.map((text) => fieldRules.millimetres(text, unit))", [written, unit]
        )
        assert got == pytest.approx(want, rel=1e-14, abs=1e-14)
    assert page.evaluate("fieldRules.millimetres('1 1/8?', 'in')") == lengths.parse("1 1/8?", "in").mm


@pytest.mark.parametrize("text", ["", "1 3", "1/", "1 3/16 1/8", "one", "1..2", "1 3/16+", "?"])
def test_what_is_no_length_is_none_to_the_keys_either(page: Page, text: str) -> None:
    assert page.evaluate("(text) => fieldRules.millimetres(text, 'in')", text) is None


def test_lengths_are_written_as_pages_write_them(page: Page) -> None:
    draw = random.Random(5)
    lengths_mm = [0.0, 0.79, 0.794, 25.4, -12.7, *(draw.uniform(-30, 6200) for _ in range(2000))]
    want = [length_text(mm, "in").removesuffix(" in") for mm in lengths_mm]
    assert page.evaluate("(all) => all.map((mm) => fieldRules.written(mm, 'in'))", lengths_mm) == want


@pytest.fixture(scope="module")
def sheet(demo: Done) -> dict[str, Any]:
    """What the script of a sheet of that wall knows."""
    made = field_sheets.field_sheet(demo.store, [WALL], day=DAY, known_on=MADE, assessment=demo.assessment)
    return field_sheet.script_data(made)


@pytest.fixture(scope="module")
def judged(demo: Done) -> Callable[[list[dict[str, Any]]], list[str]]:
    """What intake makes of rows of a visit on DAY."""
    known = judging.known_now(demo.store)
    expected = expected_at(demo.store, {(WALL[:5], DAY)}, known.register, known.readings, MADE)

    def states(rows: list[dict[str, Any]]) -> list[str]:
        titles = list(rows[0])
        lines = [",".join(titles), *(",".join(str(row[name]) for name in titles) for row in rows)]
        data = "\n".join(lines).encode()
        found = ingest.read_readings("v.csv", data, known.register, known.readings, MADE, "T1", DAY, expected)
        return [str(state) for state in found.table["state"].to_pylist()]

    return states


def reading(line: Mapping[str, Any], mark: str, deflection_mm: float, setup: int) -> dict[str, Any]:
    value_mm = (line["standoff_mm"] if line["kind"] == "gap" else 0.0) - deflection_mm
    return {
        "house": "DH-08", "wall": "W", "visit_date": DAY, "method": line["method"], "instrument": line["instrument"],
        "setup": setup, "mark": mark, "value": f"{value_mm:.4f}", "unit": "mm", "kind": line["kind"],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("share", "again"),
    [
        *((share, None) for share in (-2.0, -1.1, -0.9, 0.0, 0.9, 1.1, 2.0)),
        *((share, again) for share in (-2.0, -1.1, 1.1, 2.0) for again in (0.1, 0.9, 1.1, -1.0)),
    ],
)
def test_a_reading_is_accepted_on_the_sheet_exactly_where_intake_uses_it(
    page: Page, sheet: dict[str, Any], judged: Callable[..., list[str]], share: float, again: float | None
) -> None:
    [line] = sheet["walls"][0]["lines"]
    off = {mark["mark"]: share * mark["fine_mm"] if mark["mark"] == MARK else 0.0 for mark in line["marks"]}
    rows = [reading(line, mark["mark"], mark["expected_mm"] + off[mark["mark"]], 1) for mark in line["marks"]]
    [middle] = [mark for mark in line["marks"] if mark["mark"] == MARK]
    if again is not None:
        rows.append(reading(line, MARK, middle["expected_mm"] + again * off[MARK], 2))
    states = judged(rows)
    used = states[[row["mark"] for row in rows].index(MARK)] == State.USED
    second = [] if again is None else [again * off[MARK]]
    asks = page.evaluate(
        "([fine, first, second, rules]) => fieldRules.ask(fine, first, second, rules)",
        [middle["fine_mm"], [off[MARK], off[MARK]], second, sheet["rules"]],
    )
    assert (asks in ("", "agreed")) == used, (asks, states)


def test_a_mark_is_asked_for_again_until_two_readings_of_it_agree(page: Page) -> None:
    rules = {"agree_mm": 25.4 / 16, "confirmed_share": 0.5}
    steps = [([], ""), ([5], "again"), ([5, 1], ""), ([5, 8], "again"), ([5, 8, 8.5], "second"), ([None], "")]
    for first, want in steps:
        assert page.evaluate("([first, rules]) => fieldRules.ask(3, first, [], rules)", [first, rules]) == want, first


def test_the_columns_of_the_file_are_those_that_a_csv_file_of_readings_has(page: Page, sheet: dict[str, Any]) -> None:
    state = {"date": "2026-05-04", "technician": "T2", "slots": {"0.0.0.0": {"typed": [{"text": "3", "unit": "in"}]}},
             "marks": {}, "walls": {}, "instruments": {}}  # fmt: skip
    file = page.evaluate("([sheet, state]) => fieldRows.file(sheet, state)", [sheet, state])
    [row] = file["tables"]["readings"]
    assert (file["kind"], file["version"]) == ("wallbow visit sheet", 1)
    assert set(row) <= {*schema.READINGS.names, "standoff", "value", "crack_width"}
    assert all(isinstance(cell, str) for cell in row.values())
