"""Field sheets of the demo's walls: the range that intake holds readings to, what is read how, and what is drawn."""

import csv
import io
import json
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pyarrow.compute as pc
import pytest
from scipy import stats

from monitor import ingest
from monitor import store as stores
from monitor.demo.run import Done
from monitor.errors import NotFoundError
from monitor.pipeline import field_sheets, intake, judging
from monitor.pipeline.expecting import expected_at
from monitor.report import field_sheet as sheets
from monitor.report import pages
from monitor.report.field_record import FieldSheet, SheetLine, SheetMark, SheetWall
from monitor.terms import State

pytestmark = pytest.mark.xdist_group("demo")

DAY = date(2026, 5, 4)
MADE = datetime(2026, 5, 1, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def sheet(demo: Done) -> FieldSheet:
    """All walls of the demo on one sheet."""
    keys = [f"{row['house']}-{row['wall']}" for row in demo.store.current("walls").to_pylist()]
    return field_sheets.field_sheet(demo.store, keys, day=DAY, known_on=MADE, assessment=demo.assessment)


def wall_of(sheet: FieldSheet, key: str) -> SheetWall:
    return next(wall for wall in sheet.walls if wall.key == key)


def shape(wall: SheetWall) -> list[tuple[str, int, list[str]]]:
    return [(line.method, line.number, [mark.mark for mark in line.marks]) for line in wall.lines]


def same_method(wall: SheetWall) -> Iterator[list[SheetLine]]:
    for method in dict.fromkeys(line.method for line in wall.lines):
        yield [line for line in wall.lines if line.method == method]


def row(wall: SheetWall, line: SheetLine, mark: SheetMark, off_mm: float = 0.0) -> dict[str, Any]:
    value_mm = line.value_mm((mark.expected_mm or 0.0) + off_mm)
    return {
        "house": wall.house, "wall": wall.wall, "visit date": DAY, "method": line.method, "instrument": line.instrument,
        "set-up": line.number, "mark": mark.mark, "value": f"{value_mm:.4f}", "unit": "mm", "kind": line.kind,
    }  # fmt: skip


def as_csv(rows: list[dict[str, Any]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def test_a_reading_within_the_sheets_range_is_used_by_intake_and_one_beyond_it_is_held(
    demo: Done, sheet: FieldSheet
) -> None:
    """Each mark in turn a little within its range and a little beyond it, the visit's others as expected."""
    known = judging.known_now(demo.store)
    expected = expected_at(
        demo.store, {(wall.house, DAY) for wall in sheet.walls}, known.register, known.readings, MADE
    )
    doubted = {(r["house"], r["wall"], r["mark"]) for r in known.readings.to_pylist() if r["state"] == State.HELD}
    wrong, looked = [], 0
    for wall in sheet.walls:
        before = known.readings.filter(pc.equal(known.readings["house"], wall.house))
        for lines in same_method(wall):
            every = [(line, mark) for line in lines for mark in line.marks if mark.expected_mm is not None]
            for place, (line, mark) in enumerate(every):
                if mark.fine_mm is None or len(every) < 4 or (wall.house, wall.wall, mark.mark) in doubted:
                    continue  # three marks by a meter tell no bow; a held reading of the mark would confirm the next
                for share, want in ((0.93, State.USED), (1.07, State.HELD)):
                    rows = [row(wall, *each) for each in every]
                    rows[place] = row(wall, line, mark, share * mark.fine_mm)
                    found = ingest.read_readings(
                        "v.csv", as_csv(rows), known.register, before, MADE, "T1", DAY, expected
                    )
                    looked += 1
                    if found.table["state"].to_pylist()[place] != want:
                        wrong.append((wall.key, mark.mark, share, found.messages))
    assert wrong == []
    assert looked > 150


def test_end_marks_come_first_and_every_line_has_set_up_numbers_of_its_own(sheet: FieldSheet) -> None:
    wall = wall_of(sheet, "DH-01-N")
    assert shape(wall) == [
        ("string", 1, ["M1", "M5", "M2", "M3", "M4"]),
        ("plumb", 2, ["B2", "T2", "M2"]),
        ("plumb", 3, ["B3", "T3", "M3"]),
        ("plumb", 4, ["B4", "T4", "M4"]),
    ]
    assert [line.second for line in wall.lines] == [5, 6, 7, 8]
    assert [(line.instrument, line.standoff_mm) for line in wall.lines[:2]] == [("BL-1", 76.2), ("PB-1", None)]


def test_after_a_change_of_method_the_new_one_alone_is_asked_for(sheet: FieldSheet) -> None:
    assert shape(wall_of(sheet, "DH-07-N")) == [("laser", 1, ["E1", "E5", "M2", "M3", "M4"])]


def test_a_lost_mark_is_not_asked_for_and_a_covered_one_says_so(sheet: FieldSheet) -> None:
    assert "M3" not in shape(wall_of(sheet, "DH-08-W"))[0][2]
    notes = {mark.mark: mark.note for mark in wall_of(sheet, "DH-13-N").lines[0].marks}
    assert notes == {**dict.fromkeys(("M1", "M2", "M4", "M5"), "covered on 2025-06-18"), "M3": ""}


def test_a_range_is_told_as_it_is_read_and_rounded_into_itself() -> None:
    mark = SheetMark("M3", 0.0, 0.0, expected_mm=76.2 - 42.9, fine_mm=3.9)
    line = SheetLine(1, 2, "string", "gap", "in", "B3", 76.2, [mark], {})
    assert sheets.range_text(line, mark) == "expect 1 11/16, fine from 1 9/16 to 1 13/16"
    metric = SheetLine(1, 2, "meter", "distance", "mm", "D1", None, [mark], {})
    far = SheetMark("M3", 0.0, 0.0, expected_mm=-6055.3, fine_mm=7.1)
    assert sheets.range_text(metric, far) == "expect 6055.3, fine from 6049 to 6062"


def test_where_a_line_hangs_anywhere_the_lowest_mark_tells_and_the_others_are_told_against_it(
    sheet: FieldSheet,
) -> None:
    line = wall_of(sheet, "DH-01-N").lines[1]
    assert [(name, dict(refs)) for name, refs in line.refs.items()] == [
        (name, {"B2": 1.0}) for name in ("B2", "T2", "M2")
    ]
    texts = [sheets.range_text(line, mark) for mark in line.marks]
    assert texts == [
        "tells where the placing stands",
        "expect 1/8 less than B2, fine from 1/4 less to 0 more",
        "expect 13/16 less than B2, fine from 15/16 less to 11/16 less",
    ]


def test_before_a_laser_plane_the_two_ends_tell_by_their_distances(sheet: FieldSheet) -> None:
    line = wall_of(sheet, "DH-07-N").lines[0]
    x = {mark.mark: mark.x_mm or 0.0 for mark in line.marks}
    share = (x["M2"] - x["E1"]) / (x["E5"] - x["E1"])
    assert line.refs["M2"] == pytest.approx({"E1": 1 - share, "E5": share})
    assert line.refs["E1"] == {"E1": 1.0, "E5": 0.0}
    assert "when these read alike" in sheets.range_text(line, line.marks[2])


def test_flagged_walls_are_all_read_twice_and_say_why(sheet: FieldSheet, demo: Done) -> None:
    asked = {wall.key: wall.second_why for wall in sheet.walls if wall.second_why.startswith("asked for")}
    verdicts = {
        f"{r['house']}-{r['wall']}" for r in demo.assessment.wall_results.to_pylist()
        if r["is_current"] and r["verdict"] in ("moving", "look again")
    }  # fmt: skip
    assert verdicts
    assert verdicts <= set(asked)
    assert asked["DH-12-S"] == "asked for: moving"


def test_one_wall_in_five_is_drawn_the_same_whoever_asks_and_however_often(demo: Done, tmp_path: Path) -> None:
    days = [DAY + timedelta(days=n) for n in range(200)]
    draws = [field_sheets.drawn(demo.store, ("DH-01", wall), day) for wall in "NESW" for day in days]
    assert stats.binomtest(sum(draws), len(draws), 1 / field_sheets.SECOND_ONE_IN).pvalue > 0.001
    again = stores.open(shutil.copytree(demo.store.path, tmp_path / "copy"))
    assert draws == [field_sheets.drawn(again, ("DH-01", wall), day) for wall in "NESW" for day in days]
    other = stores.create(tmp_path / "other", company={}, created_at=MADE)
    assert draws != [field_sheets.drawn(other, ("DH-01", wall), day) for wall in "NESW" for day in days]


def test_the_same_facts_give_the_same_bytes_and_say_what_they_were_made_from(sheet: FieldSheet, demo: Done) -> None:
    keys = [wall.key for wall in sheet.walls]
    again = field_sheets.field_sheet(demo.store, keys, day=DAY, known_on=MADE, assessment=demo.assessment)
    page = pages.field_sheet(sheet)
    assert page == pages.field_sheet(again)
    said = "Made for 2026-05-04 from what was known until 2026-05-01 09:00 UTC, readings up to 2026-04-17"
    assert said in page.decode()
    assert "walls as judged for 2026-04-30. Use it until 2026-05-18" in page.decode()


def test_a_sheet_asks_nothing_of_the_network_and_shows_no_name_of_a_person(sheet: FieldSheet) -> None:
    page = pages.field_sheet(sheet).decode()
    assert "http" not in page.replace("http-equiv", "")
    assert "Example" not in page


def test_the_route_is_what_the_plan_has_due_overdue_first_and_house_by_house(demo: Done) -> None:
    plan = {f"{r['house']}-{r['wall']}": r for r in demo.assessment.plan.to_pylist()}
    late = date(2026, 11, 2)
    keys = field_sheets.route(demo.assessment, late, 60)
    assert set(keys) == {k for k, r in plan.items() if r["overdue_days"] or (r["visit_on"] and r["visit_on"] <= late)}
    assert keys[0] == min(keys, key=lambda key: plan[key]["rank"])
    houses = [key.rsplit("-", 1)[0] for key in keys]
    assert houses == sorted(houses, key=houses.index)
    assert len(field_sheets.route(demo.assessment, late, 3)) == 3
    with pytest.raises(NotFoundError, match="No wall is due by 2020-01-01"):
        field_sheets.route(type(demo.assessment)(DAY, MADE, "", ""), date(2020, 1, 1), 9)


def test_a_wall_that_is_not_registered_is_named_with_the_nearest(demo: Done) -> None:
    with pytest.raises(NotFoundError, match=r"no such wall.*DH-1-N.*DH-01-N"):
        field_sheets.field_sheet(demo.store, ["DH-1-N"], day=DAY, known_on=MADE)


def test_before_the_first_visit_nothing_is_foretold_and_all_is_read_twice(demo: Done) -> None:
    first = date(2023, 4, 10)
    made = field_sheets.field_sheet(demo.store, ["DH-01-N"], day=first, known_on=MADE)
    [wall] = made.walls
    assert wall.second_why == "first readings of this wall"
    assert {mark.fine_mm for line in wall.lines for mark in line.marks} == {None}
    assert pages.field_sheet(made)


def test_a_visit_by_the_sheets_file_and_by_csv_gives_the_same_stored_rows(
    demo: Done, sheet: FieldSheet, tmp_path: Path
) -> None:
    walls = [wall_of(sheet, key) for key in ("DH-06-E", "DH-10-S")]
    rows = [row(wall, line, mark) | {"unit": "mm"} for wall in walls for line in wall.lines for mark in line.marks]
    rows[2] |= {"value": "2 1/16", "unit": "in"}
    rows[3] |= {"value": "1 1/8?", "unit": "in"}
    rows[4] |= {"value": "", "could not read": "blocked"}
    rows[0] |= {"seen": "lip; standing water", "weather": "wet", "crack width": "1/16 in", "photos": "a.jpg; b.jpg"}
    titles = list(dict.fromkeys(name for each in rows for name in each))
    rows = [{name: str(each.get(name, "")) for name in titles} for each in rows]
    file = {"kind": "wallbow visit sheet", "version": 1, "made_from": {}, "tables": {"readings": rows}}
    stored = []
    for name, data in (("visit.csv", as_csv(rows)), ("visit.json", json.dumps(file).encode())):
        store = stores.open(shutil.copytree(demo.store.path, tmp_path / name))
        before = set(store.readings()["reading_id"].to_pylist())
        taken = intake.take_readings(store, name, data, received_at=MADE, sender="T1", today=DAY)
        assert taken.added == len(rows)
        new = [r for r in store.readings().to_pylist() if r["reading_id"] not in before]
        stored.append([{k: v for k, v in r.items() if k != "source_name"} for r in new])
    again = intake.take_readings(store, "visit.csv", as_csv(rows), received_at=MADE, sender="T1", today=DAY)
    assert (again.added, again.first_received) == (0, MADE), "the same visit in either format is the same content"
    assert stored[0] == stored[1]
    assert {r["state"] for r in stored[0]} == {"used", "held", "could-not-read"}
