"""The monthly list: who stands where, in which order, what is new, and how many are expected to be wrong."""

import re
from dataclasses import replace
from datetime import date

from page_reader import Page
from written_book import HOUSE, WALL_OF, book_of, states

from monitor.report import pages
from monitor.report.monthly_rows import the_list
from monitor.report.monthly_sheet import NOBODY, monthly_sheet

WHERE = {
    "hard": ["jump", "hard limit", "seen sign"],
    "moving": ["moving after straps", "moving"],
    "again": ["look again"],
    "held": ["held reading"],
    "overdue": ["overdue"],
    "newly": [],
}


def sections(book):
    names = {wall: state for state, wall in WALL_OF.items()}
    return {name: [names[line.wall] for line in lines] for name, lines in the_list(book).lines.items()}


def test_every_wall_stands_in_one_section_only(book):
    found = sections(book)
    assert {name: sorted(walls) for name, walls in found.items()} == {
        name: sorted(walls) for name, walls in WHERE.items()
    }


def test_the_most_urgent_comes_first_and_then_the_one_nearest_its_limit(book):
    assert sections(book)["hard"] == ["jump", "hard limit", "seen sign"]  # keep out; then 55.0 before 28.0 of 50.8 mm
    rows = states()
    rows["moving after straps"]["wall_results"][-1]["total_mm"] = 40.0
    assert sections(book_of(rows))["moving"] == ["moving after straps", "moving"]
    rows["moving"]["wall_results"][-1]["total_mm"] = 41.0
    assert sections(book_of(rows))["moving"] == ["moving", "moving after straps"]


def test_the_counts_add_up_to_the_walls_registered(book):
    counts = dict(monthly_sheet(book)["counts"])
    assert sum(counts.values()) == len(book.walls) == 18
    assert counts["Not judged: no readings"] == 1
    assert counts["Holding, nothing asked"] == 5
    assert counts["Too early to say, nothing asked"] == 4


def test_the_expected_number_of_false_flags_is_the_sum_of_the_chances(book):
    rows = states()
    rows["moving"]["wall_results"][-1]["exceed_chance"] = 0.98
    rows["moving after straps"]["wall_results"][-1]["exceed_chance"] = 0.91
    expected = monthly_sheet(book_of(rows))["expected_false"]
    assert expected == {"walls": 2, "hard": 0, "number": "0.11", "without": 0}  # 0.02 + 0.09
    rows["moving"]["wall_results"][-1]["exceed_chance"] = None
    assert monthly_sheet(book_of(rows))["expected_false"] == {"walls": 2, "hard": 0, "number": "0.09", "without": 1}


def test_new_still_open_and_closed_are_counted_against_the_last_list(book, without):
    earlier = without("moving", "overdue").assessment
    changed = states()
    closed = WALL_OF["look again"]
    changed["look again"]["wall_results"][0] |= {"verdict": "holding", "reason": "Holds."}
    changed["look again"]["findings"] = []
    now = replace(book_of(changed), previous=earlier)
    sheet = monthly_sheet(now)
    assert sheet["changes"] == {"first": 0, "new": 2, "open": 5}
    assert [(item.wall, item.was, item.now) for item in sheet["closed"]] == [(closed, "look again", "newly holding")]
    assert sections(now)["newly"] == ["look again"]
    ages = {line.wall: line.age for line in the_list(now).all_lines}
    assert ages[WALL_OF["moving"]] == "new"
    assert sum(age == "new" for age in ages.values()) == sheet["changes"]["new"]
    assert ages[closed] == "newly holding"
    assert ages[WALL_OF["jump"]] == "still open, 30 days, here since 2026-03-31"


def test_the_same_data_a_month_later_make_nothing_new(book):
    again = replace(book, previous=replace(book.assessment, judged_on=date(2026, 3, 31)))
    sheet = monthly_sheet(again)
    assert sheet["changes"] == {"first": 0, "new": 0, "open": 8}
    assert sheet["closed"] == []
    assert sections(again)["newly"] == []


def test_without_an_earlier_list_nothing_is_called_new(book):
    sheet = monthly_sheet(book)
    assert sheet["changes"] == {"first": 8, "new": 0, "open": 0}
    assert "There is no earlier list to compare with" in Page(pages.monthly_list(book)).text


def test_a_row_says_why_how_much_what_next_and_who(book):
    table = Page(pages.monthly_list(book)).table("Moving")
    row = next(row for row in table.rows if row[0].startswith(f"{HOUSE}-W01"))
    words = [" ".join(cell.split()) for cell in row]
    assert words[1] == "Mark M3 moves in at 5.0 mm/yr (4.1 to 5.9), above the threshold 3.2 mm/yr."
    assert words[2] == "0.20 inch a year0.16 to 0.23 at M3; largest: bow; not measured apart: tip, slide"
    assert words[3] == "1 1/8 in7/8 in to the limit"
    assert words[4] == "before reinforcement7 visits, last 2026-04-10"
    assert words[5] == "decision this monthSomebody decides."
    assert words[6] == "O2call engineer by 2026-05-12: third visit in a row (O1, 2026-04-30)"
    assert words[7] == "first list"


def test_a_held_reading_that_could_hide_danger_stands_with_the_hard_limits():
    rows = states()
    rows["held reading"]["findings"][0]["urgency"] = "same-day call"
    assert "held reading" in sections(book_of(rows))["hard"]


def test_a_rule_that_came_out_no_lists_nobody():
    rows = states()
    for row in rows["jump"]["findings"]:
        row["outcome"] = "no"
    found = sections(book_of({"jump": rows["jump"]}))
    assert all(walls == [] for walls in found.values())


def test_a_finding_that_is_undecided_and_still_asks_for_somebody_is_listed_with_its_step():
    rows = states()
    sign = rows["seen sign"]["findings"][0]
    sign |= {"outcome": "undecided", "urgency": "confirming visit", "next_step": "Ask the technician today."}
    (line,) = the_list(book_of({"seen sign": rows["seen sign"]})).lines["again"]
    assert (line.urgency, line.next_step) == ("confirming visit", "Ask the technician today.")
    sign |= {"urgency": "none"}
    assert sections(book_of({"seen sign": rows["seen sign"]}))["again"] == []


def test_what_was_found_before_the_straps_flags_nobody_after_them():
    rows = states()["moving after straps"]
    rows["wall_results"][-1] |= {"verdict": "holding", "reason": "Holds."}
    rows["findings"][0] |= {"period": 0, "urgency": "none"}
    book = book_of({"moving after straps": rows})
    assert all(walls == [] for walls in sections(book).values())
    assert book.view(HOUSE, WALL_OF["moving after straps"]).alarms == []


def test_a_wall_listed_elsewhere_is_still_named_where_it_is_held_or_overdue():
    rows = states()
    rows["moving"]["wall_results"][0] |= {"overdue_days": 40, "readings_held": 1}
    sheet = monthly_sheet(book_of(rows))
    elsewhere = {part["name"]: part["elsewhere"] for part in sheet["sections"] if part["elsewhere"]}
    assert elsewhere == {"held": [(f"{HOUSE}-W01", "moving")], "overdue": [(f"{HOUSE}-W01", "moving")]}
    text = Page(pages.monthly_list(book_of(rows))).text
    counts = dict(sheet["counts"])
    for heading in ("Held readings", "Overdue"):
        assert f"{heading} {counts[heading]} and 1 above " in text


def test_room_left_beside_a_total_against_the_foot_says_that_a_slide_is_not_counted():
    rows = states()
    rows["moving"]["wall_results"][0]["total_reference"] = "the foot of the wall"
    lines = the_list(book_of(rows)).lines["moving"]
    assert {line.wall: "a slide of the foot not counted" in line.room for line in lines} == {
        WALL_OF["moving"]: True, WALL_OF["moving after straps"]: False
    }  # fmt: skip


def test_a_wall_that_asks_for_nobody_waits_for_no_owner(book, without):
    now = replace(book, previous=without("holding").assessment)
    [row] = [row for part in monthly_sheet(now)["sections"] for row in part["lines"] if row.state == "newly holding"]
    cells = re.search(rf"{row.key}</a>.*?</tr>", pages.monthly_list(now).decode(), re.DOTALL)[0]
    assert NOBODY not in cells
    assert re.search(r'data-label="Owner"[^>]*>–<', cells)


def test_a_moving_wall_under_a_hard_limit_is_named_under_moving_and_counted_there():
    rows = states()
    rows["jump"]["wall_results"][0] |= {"verdict": "moving", "exceed_chance": 0.98}
    text = Page(pages.monthly_list(book_of({"jump": rows["jump"]}))).text
    assert "Moving (0)" in text
    assert f"Also moving: {HOUSE}-{WALL_OF['jump']}, under hard limits." in text
    assert "Of 1 wall moving (1 of them under hard limits), 0.02 are expected to be listed wrongly" in text


def test_a_newly_holding_wall_that_is_overdue_stands_under_overdue(book, without):
    rows = states()
    rows["holding"]["wall_results"][0] |= {"overdue_days": 40}
    now = replace(book_of(rows), previous=without("holding").assessment)
    assert "holding" in sections(now)["overdue"]
    assert "holding" not in sections(now)["newly"]


def test_two_visits_show_no_rate_on_the_list():
    rows = states()["overdue"]
    rows["wall_results"][0] |= {"visits": 2}
    table = Page(pages.monthly_list(book_of({"overdue": rows}))).table("Overdue")
    assert table.rows[0][2] == "too few visits"


def test_an_empty_register_gives_an_empty_list():
    book = book_of({})
    page = Page(pages.monthly_list(book))
    assert page.text.count("None.") == 6
    assert "No wall is called moving." in page.text
    assert "No wall is registered yet." in Page(pages.index(book)).text
