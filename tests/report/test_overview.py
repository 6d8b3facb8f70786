"""The company overview: totals against counts made by hand, patterns and words, and 3,000 walls."""

from dataclasses import replace
from datetime import date
from itertools import pairwise

import pyarrow as pa
import pytest
from drawn import Drawing
from page_reader import Page
from written_book import HOUSE, book_of, states, table

from monitor.report import names, pages
from monitor.report.day_states import DayStates, day_states
from monitor.report.outcomes import (
    NOT_RECORDED,
    TOO_FEW,
    Reinforced,
    by_anchor,
    by_soil,
    by_spacing,
    group,
    groups,
    share_words,
)
from monitor.report.overview_sheet import overview_sheet
from monitor.report.stacked import stacked
from monitor.trend.shares import share_range

FOOT = 304.8


def day(judged_on, moving=0, again=0, early=0, holding=0, unread=0, overdue=0):
    numbers = {"moving": moving, "look again": again, "too early": early, "holding": holding, "not read yet": unread}
    return DayStates(judged_on, numbers, overdue)


PAST = (day(date(2026, 2, 28), moving=1, early=9), day(date(2026, 3, 31), moving=2, again=1, early=7, overdue=1))


def strapped(n, verdict="holding", **event):
    result = {"verdict": verdict, "started_on": date(2024, 4, 10), "overdue_days": 0}
    return Reinforced((HOUSE, f"N{n}"), result, {"strap_spacing_mm": None, "top_anchor": ""} | event, "clay till")


@pytest.fixture
def page(book):
    return Page(pages.overview(replace(book, past=PAST), share_range))


def test_walls_are_counted_by_the_verdict_of_their_newest_period(book):
    found = day_states(book.assessment)
    # of the 18 written states one was never read, four are look again, moving, moving after straps and early ones
    rows = [row for row in book.assessment.wall_results.to_pylist() if row["is_current"]]
    for state in ("moving", "look again", "holding", "too early"):
        assert found.walls[state] == sum(row["verdict"] == state for row in rows)
    assert (found.walls["moving"], found.walls["look again"]) == (2, 1)
    assert (found.total, found.overdue) == (17, 1)


def test_a_wall_without_any_visit_is_not_called_too_early():
    rows = states()["holding"]
    rows["wall_results"][0] |= {"verdict": "too early", "visits": 0, "visits_all": 0}
    found = day_states(book_of({"holding": rows}).assessment)
    assert (found.walls["not read yet"], found.walls["too early"]) == (1, 0)


def test_the_page_shows_every_day_newest_first_in_the_chart_and_in_numbers(page):
    rows = page.table("The same in numbers").rows
    assert [row[0] for row in rows] == ["2026-04-30", "2026-03-31", "2026-02-28"]
    assert rows[1] == ["2026-03-31", "10", "2", "1", "7", "0", "0", "1"]


def test_each_column_is_as_high_as_its_numbers_and_each_state_has_a_pattern_of_its_own():
    drawing = Drawing(stacked(PAST, "s"))
    rects = drawing.all("rect", "segment")
    per_wall = float(rects[1]["height"]) / 9
    assert [float(rect["height"]) / per_wall for rect in rects] == pytest.approx([1, 9, 2, 1, 7], rel=0.01)
    assert [rect["fill"] for rect in rects] == ["url(#s-p0)", "url(#s-p2)", "url(#s-p0)", "url(#s-p1)", "url(#s-p2)"]
    inside = {item.get("id"): [child.attrib for child in item] for item in drawing.root.iter("pattern")}
    assert len({str(parts) for parts in inside.values()}) == len(inside) == 5
    assert {"2 moving", "1 look again", "7 too early"} <= set(drawing.texts())
    assert drawing.desc.endswith(
        "31 March 2026, 10 walls: 2 moving, 1 look again, 7 too early, 0 holding, 0 not read yet."
    )


def test_words_beside_thin_segments_do_not_lie_on_each_other():
    drawing = Drawing(stacked([day(date(2026, 3, 31), moving=1, again=1, early=1, holding=2990, unread=1)], "s"))
    said = [item for item in drawing.root.iter("text") if (item.text or "").split(" ", 1)[-1] in day(date.min).walls]
    heights = sorted(float(item.get("y")) for item in said)
    assert len(heights) == 5
    assert min(b - a for a, b in pairwise(heights)) >= 16
    assert 0 < heights[0] < heights[-1] < 340


def test_nothing_is_drawn_where_no_wall_is_registered():
    assert stacked([day(date(2026, 3, 31))], "s") == ""


def test_only_the_last_24_assessments_are_shown_and_the_others_are_said(book):
    past = [day(date(2020 + n // 12, n % 12 + 1, 28), holding=n) for n in range(30)]
    page = Page(pages.overview(replace(book, past=past), share_range))
    assert len(page.table("The same in numbers").rows) == 24
    assert "7 earlier assessments not shown" in page.text


@pytest.mark.parametrize(
    ("spacing_mm", "words"),
    [
        (None, NOT_RECORDED),
        (0.0, NOT_RECORDED),
        (3 * FOOT, "up to 4 ft (1.22 m)"),
        (4 * FOOT + 12.0, "up to 4 ft (1.22 m)"),  # a hand's imprecision is not another class
        (4 * FOOT + 13.0, "over 4 to 5 ft (1.22 to 1.52 m)"),
        (5 * FOOT, "over 4 to 5 ft (1.22 to 1.52 m)"),
        (6 * FOOT, "over 5 ft (1.52 m)"),
    ],
)
def test_straps_are_classed_by_their_spacing(spacing_mm, words):
    assert by_spacing(strapped(1, strap_spacing_mm=spacing_mm)) == words


def test_anchor_and_soil_are_taken_as_recorded():
    assert by_anchor(strapped(1, top_anchor="rim joist")) == "rim joist"
    assert by_anchor(strapped(1)) == by_anchor(replace(strapped(1), event=None)) == NOT_RECORDED
    assert by_soil(replace(strapped(1), soil="  Clay  Till ")) == "clay till"
    assert by_soil(replace(strapped(1), soil=" ")) == NOT_RECORDED


def test_a_share_is_told_with_its_exact_range_rounded_outward_and_not_of_fewer_than_five():
    # none of 5: up to 1 - 0.05^(1/5) = 0.4507; 1 of 5 by the 1934 definition: 0.0102 to 0.6574
    assert share_words(0, 5, share_range) == "between 0 and 46 in 100"
    assert share_words(1, 5, share_range) == "between 1 and 66 in 100"
    assert share_words(5, 5, share_range) == "between 54 and 100 in 100"
    assert share_words(4, 4, share_range) == TOO_FEW


def test_look_again_and_too_early_are_not_settled():
    walls = [
        strapped(n, verdict) for n, verdict in enumerate(["moving", "holding", "holding", "look again", "too early"])
    ]
    row = group("all", walls, share_range)
    assert [(outcome, number) for outcome, number, _ in row["cells"]] == [
        ("moving", 1),
        ("holding", 2),
        ("not settled", 2),
    ]


def test_groups_come_largest_first_unrecorded_last_and_many_small_ones_together():
    walls = [strapped(n, top_anchor="") for n in range(9)] + [strapped(n, top_anchor="sill plate") for n in range(3)]
    assert [row["name"] for row in groups(walls, by_anchor, share_range)] == ["sill plate", NOT_RECORDED]
    many = [replace(strapped(n), soil=f"soil {n % 12:02d}") for n in range(30)]
    found = groups(many, by_soil, share_range)
    assert [row["name"] for row in found][-1] == "5 more, together"
    assert len(found) == 8
    assert sum(row["walls"] for row in found) == 30


def test_reinforced_walls_are_told_by_group_without_a_range_for_one_wall(page):
    assert page.table("Strap spacing").rows == [
        ["up to 4 ft (1.22 m)", "1", f"1{TOO_FEW}", f"0{TOO_FEW}", f"0{TOO_FEW}"]
    ]
    assert page.table("Anchor at the top").rows[0][0] == "rim joist"
    assert "Groups are not causes." in page.text
    record = dict(page.table("Reinforced walls that are").rows)
    assert (record["Reinforced"], record["Read before the work"]) == ("1", "1")
    assert record["Read within 30 days after the work"] == "1"  # the day itself
    assert record["Doubts in the record of the work"] == "1"


def test_expected_false_flags_repeatability_and_plan_are_there(book, page):
    assert "Of 2 walls moving, 0.00 are expected to be called so wrongly" in page.text
    assert [row[0] for row in page.table("Standard deviations").rows] == [
        "String line",
        "Plumb line",
        "Laser",
        "Distance meter",
    ]
    plan = [
        {"house": HOUSE, "wall": wall, "visit_on": on, "second_setup_gain": gain, "rank": n, "settles": settles,
         "overdue_days": late, "before_frost": frost}
        for n, (wall, on, gain, settles, late, frost) in enumerate([
            ("W01", date(2026, 5, 4), 0.29, "moving", 0, False), ("W02", date(2026, 5, 30), 0.09, "holding", 0, True),
            ("W03", date(2026, 4, 1), None, "", 400, False), ("W04", date(2028, 1, 1), 0.1, "", 0, False),
            ("W05", None, 0.2, "", 0, False)])
    ]  # fmt: skip
    planned = replace(book, assessment=replace(book.assessment, plan=table("plan", plan)))
    page = Page(pages.overview(planned, share_range))
    assert page.table("Planned visits").rows == [
        ["Overdue", "1", "0", "0", "0"],
        ["May 2026", "2", "1", "1", "1"],
        ["Later", "1", "0", "0", "0"],
        ["Not planned", "1", "0", "0", "0"],
    ]
    assert [row[::2] for row in page.table("Walls where a second").rows] == [
        [f"{HOUSE}-W01", "29 %"], [f"{HOUSE}-W05", "20 %"], [f"{HOUSE}-W04", "10 %"]]  # fmt: skip
    assert "At 3 of 4 walls with a planned visit" in page.text


def test_the_number_of_the_page_depends_on_the_days_before(book):
    numbers = {overview_sheet(book, past, share_range)["report_number"] for past in ((), PAST, PAST[:1])}
    assert len(numbers) == 3
    assert overview_sheet(book, PAST, share_range) == overview_sheet(book, PAST[::-1], share_range)


def test_the_page_is_well_formed_and_linked_from_the_index(page, book):
    assert page.unclosed == []
    assert names.OVERVIEW in {tag["href"] for tag in Page(pages.index(book)).named("a")}
    assert page.named("script") == []


def test_three_thousand_walls_take_no_more_room_than_thirty(book):
    def company(walls):
        rows = [row for row in book.assessment.wall_results.to_pylist() if row["is_current"]]
        many = [rows[n % len(rows)] | {"house": f"H{n:04d}"} for n in range(walls)]
        plan = [
            {"house": row["house"], "wall": row["wall"], "visit_on": date(2026, 9, 1), "second_setup_gain": 0.3}
            for row in many
        ]
        assessment = replace(book.assessment, wall_results=table("wall_results", many), plan=table("plan", plan))
        return replace(book, assessment=assessment, past=PAST)

    sizes = [len(pages.overview(company(walls), share_range)) for walls in (30, 3000)]
    assert sizes[1] < sizes[0] * 1.1
    page = Page(pages.overview(company(3000), share_range))
    assert page.table("The same in numbers").rows[0][1] == "3000"
    assert len(page.table("Walls where a second").rows) == 15


def test_a_company_without_walls_has_a_page_too(book):
    nothing = {name: rows.slice(0, 0) for name, rows in book.facts.items()}
    judged = replace(book.assessment, **{
        name: getattr(book.assessment, name).slice(0, 0) for name in
        ("wall_results", "mark_results", "movement", "findings", "suspects", "repairs", "plan")})  # fmt: skip
    page = Page(
        pages.overview(
            replace(book, facts=nothing, assessment=judged, decisions=pa.table(book.decisions.slice(0, 0))), share_range
        )
    )
    assert "No wall has been reinforced yet." in page.text
    assert "No visit is planned." in page.text
