"""The page of a field sheet from hand-made records: what is escaped, what is said, what its script is told."""

import json
import re
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

from monitor.report import pages
from monitor.report.field_record import FieldSheet, SheetLine, SheetMark, SheetWall
from monitor.report.field_sheet import script_data
from monitor.report.wording import CAUTION_STRONG

HOSTILE = "</script><script>alert(1)</script>\"'&<b>"


def made(text: str = "north wall", **more: Any) -> FieldSheet:
    marks = [
        SheetMark("M1", 0.0, 1219.2, {"value_raw": text, "unit": "in", "visit_date": date(2026, 1, 5)}, 0.0, 3.0, text),
        SheetMark("M2", 1828.8, 1219.2, None, 33.3, 3.9),
    ]
    line = SheetLine(1, 2, "string", "gap", "in", text, 76.2, marks, {})
    place = {
        "nickname": text, "unit": "in", "length_mm": 7315.2, "clear_height_mm": 2438.4, "left_end": "return",
        "right_end": text, "backfill_height_mm": None, "crack_height_mm": 1219.2,
    }  # fmt: skip
    row = {"mark": "M1", "x_mm": 0.0, "z_mm": 1219.2, "row": text, "column": "", "on_strap": False, "set_on": None,
           "retired_on": None, "replaces": "", "note": text}  # fmt: skip
    wall = SheetWall("DH-01", "N", place, [row, row | {"mark": "M2", "x_mm": 1828.8}], [], [line], text)
    return FieldSheet(
        day=date(2026, 5, 4), judged_on=None, known_until=datetime(2026, 5, 1, 9, tzinfo=UTC), newest_reading=None,
        walls=more.pop("walls", [wall]), instruments=[{"instrument": text, "method": "string", "standoff_mm": 76.2}],
        people=[text], company={"name": text, "contact": text}, code_version="1", confirms=0.5, **more,
    )  # fmt: skip


def test_texts_of_the_register_stay_texts_on_the_page_and_in_what_its_script_is_told() -> None:
    for sheet in (made(HOSTILE), made(HOSTILE, work=True)):
        page = pages.field_sheet(sheet).decode()
        assert "alert(1)</script>" not in page
        assert "<b>" not in page
        [told] = re.findall(r'<script type="application/json" id="sheet-data">(.*?)</script>', page)
        assert json.loads(told) == json.loads(json.dumps(script_data(sheet)))
        assert HOSTILE in json.loads(told)["instruments"]


def test_method_kind_block_direction_and_range_stand_on_the_sheet() -> None:
    page = " ".join(re.sub(r"<[^>]+>", " ", pages.field_sheet(made()).decode()).split())
    assert "Set-up 1: string line, GAP in inches" in page
    assert "stand-off 3 in" in page
    assert "When the wall moves in, the gap gets SMALLER." in page
    assert "6 ft from left, 4 ft up" in page
    assert "expect 1 11/16, fine from 1 9/16 to 1 13/16" in page
    for reason in ("covered", "blocked", "mark lost", "no entry", "other"):
        assert reason in page
    for seen in ("lip", "new crack", "crushed block", "joists off bearing", "cracking noise", "standing water"):
        assert seen in page


def test_a_blind_sheet_prints_no_range() -> None:
    page = pages.field_sheet(made(blind=True)).decode()
    assert len(re.findall(r'<span class="fine"[^>]* hidden>', page)) == 2


def test_the_word_safe_stands_in_the_fixed_caution_alone() -> None:
    for sheet in (made(), made(work=True)):
        page = pages.field_sheet(sheet).decode()
        assert CAUTION_STRONG in page
        assert not re.search(r"\bsafe", page.replace(CAUTION_STRONG, ""), re.I)


def test_a_sheet_made_anew_of_other_data_is_another_sheet_to_the_phone() -> None:
    one, other = script_data(made()), script_data(made("another block"))
    assert one["id"] != other["id"]
    assert one["id"] == script_data(made())["id"]


def test_what_was_typed_is_found_again_on_a_sheet_made_anew_of_the_same_day_and_marks_only() -> None:
    sheet = made()
    [wall] = sheet.walls
    [line] = wall.lines
    later = replace(sheet, known_until=datetime(2026, 5, 4, 16, tzinfo=UTC), blind=True)
    moved = replace(line, marks=[replace(mark, expected_mm=1.0) for mark in line.marks])
    turned = replace(line, marks=list(reversed(line.marks)))
    of_lines = lambda some: replace(sheet, walls=[replace(wall, lines=[some])])  # noqa: E731
    kept = script_data(sheet)["kept_as"]
    assert {script_data(each)["kept_as"] for each in (later, of_lines(moved))} == {kept}
    others = (replace(sheet, day=date(2026, 5, 5)), of_lines(turned), of_lines(replace(line, method="laser")))
    assert kept not in {script_data(each)["kept_as"] for each in others}


def test_the_last_reading_is_written_one_way_however_it_was_spelt() -> None:
    sheet = made()
    [wall] = sheet.walls
    [line] = wall.lines
    typed = {'2-13/16"': 2.8125 * 25.4, "2.8": 2.8 * 25.4}  # the second is no fraction of a rule, so it stands as typed
    marks = [
        replace(mark, last={"value_raw": raw, "unit": "in", "value_mm": mm, "visit_date": date(2026, 1, 5)})
        for mark, (raw, mm) in zip(line.marks, typed.items(), strict=True)
    ]
    page = pages.field_sheet(replace(sheet, walls=[replace(wall, lines=[replace(line, marks=marks)])])).decode()
    assert re.findall(r"; last ([^<]+)<", page) == ["2\xa013/16 in", "2.8 in"], "nor is it torn apart"
