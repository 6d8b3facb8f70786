"""For how long a wall has been on the list, what left it and why, and which decision belongs to an item."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from page_reader import Page
from written_book import HOUSE, WALL_OF, book_of, states, table

from monitor.report import pages
from monitor.report.context import PastList
from monitor.report.monthly_closed import closed
from monitor.report.monthly_rows import the_list
from monitor.report.placing import OPEN, open_places

MOVING = (HOUSE, WALL_OF["moving"])
MARCH, FEBRUARY, JANUARY = date(2026, 3, 31), date(2026, 2, 28), date(2026, 1, 31)


def line_of(book, key=MOVING):
    return next(line for line in the_list(book).all_lines if (line.house, line.wall) == key)


def with_lists(book, *lists):
    """The book with the last list just like it, and earlier places of the moving wall: (day, section or None)."""
    past = [PastList(day, {MOVING: place} if place else {}) for day, place in lists]
    return replace(book, previous=replace(book.assessment, judged_on=MARCH), lists=past)


def test_the_age_is_counted_from_the_first_of_an_unbroken_run_in_this_section(book):
    line = line_of(with_lists(book, (MARCH, "moving"), (FEBRUARY, "moving"), (JANUARY, "again")))
    assert (line.run.since, line.run.opened, line.run.before) == (FEBRUARY, JANUARY, None)
    assert line.age_days == (date(2026, 4, 30) - FEBRUARY).days == 61
    assert line.age == "still open, 61 days, here since 2026-02-28, on the list since 2026-01-31"


def test_a_list_without_the_wall_breaks_the_run(book):
    line = line_of(with_lists(book, (MARCH, "moving"), (FEBRUARY, None), (JANUARY, "moving")))
    assert (line.run.since, line.run.before) == (MARCH, FEBRUARY)
    assert line.age == "still open, 30 days, here since 2026-03-31"


def test_a_wall_that_changes_its_section_is_still_open_and_begins_a_new_age_there(book):
    line = line_of(with_lists(book, (MARCH, "again"), (FEBRUARY, "moving")))
    assert line.age_days == 0
    assert line.age == "still open, here since this list, on the list since 2026-02-28"


def test_a_book_with_the_last_list_only_counts_from_that(book):
    line = line_of(replace(book, previous=replace(book.assessment, judged_on=MARCH)))
    assert (line.age_days, line.run.since) == (30, MARCH)


def test_the_report_number_changes_with_the_ages(book):
    one = with_lists(book, (MARCH, "moving"))
    assert one.report_number("monthly") != with_lists(book, (MARCH, "moving"), (FEBRUARY, "moving")).report_number(
        "monthly"
    )


@pytest.mark.parametrize(("made", "is_of_this_item"), [(date(2026, 3, 10), True), (date(2026, 2, 20), False)])
def test_a_decision_from_before_the_wall_was_listed_is_no_decision_about_it(book, made, is_of_this_item):
    row = book.decisions.to_pylist()[0] | {"known_at": datetime(made.year, made.month, made.day, 12, tzinfo=UTC)}
    now = with_lists(replace(book, decisions=table("decisions", [row])), (MARCH, "moving"), (FEBRUARY, None))
    line = line_of(now)
    assert (line.owner, line.older is None) == (("O2", True) if is_of_this_item else ("", False))
    cell = next(row for row in Page(pages.monthly_list(now)).table("Moving").rows if row[0].startswith("DH-20-W01"))[6]
    assert cell.startswith("O2" if is_of_this_item else "nobody yetDecided before it was listed: call engineer")


def test_a_due_day_that_is_past_is_said_to_be(book):
    row = book.decisions.to_pylist()[0] | {"due": date(2026, 4, 29)}
    page = Page(pages.monthly_list(replace(book, decisions=table("decisions", [row]))))
    assert "call engineer by 2026-04-29, which is past: third visit in a row" in page.text
    assert "which is past" not in Page(pages.monthly_list(book)).text


def closing(now, before):
    """(was, now, what came) of the walls that left, where April follows March."""
    earlier = replace(
        before.assessment, judged_on=MARCH, known_until=datetime(2026, 3, 31, 23, tzinfo=UTC), settings_sha256="5" * 64
    )
    book = replace(now, previous=earlier)
    return [(item.was, item.now, list(item.came)) for item in closed(book, the_list(book))]


def held_and_then(**later):
    """The wall with a held reading in March, and in April without it."""
    rows = states()["held reading"]
    before = book_of({"held reading": rows})
    after = states()["held reading"]
    after["wall_results"][0] |= {"readings_held": 0, "verdict": "too early", "reason": "Too early."} | later
    after["findings"] = []
    return before, after


def test_a_wall_closed_by_a_new_visit_says_which():
    before, after = held_and_then(last_visit=date(2026, 4, 20))
    assert closing(book_of({"held reading": after}), before) == [
        ("held readings", "too early to say", ["visit of 2026-04-20"])
    ]


def test_a_wall_closed_by_a_ruling_says_whose_and_why():
    before, after = held_and_then()
    reading = next(row["reading_id"] for row in after["readings"] if row["state"] == "held")
    after["rulings"] = [
        {"ruling_id": "r", "reading_id": reading, "act": "reject", "who": "O1", "why": "blurred photo",
         "known_at": datetime(2026, 4, 12, tzinfo=UTC)}
    ]  # fmt: skip
    assert closing(book_of({"held reading": after}), before)[0][2] == [
        "1 reading ruled on by O1: reject (blurred photo)"
    ]
    after["rulings"][0]["known_at"] = datetime(2026, 3, 12, tzinfo=UTC)
    assert closing(book_of({"held reading": after}), before)[0][2] == ["nothing new came in of this wall"]


def test_a_wall_closed_by_other_settings_says_so():
    before, after = held_and_then()
    now = book_of({"held reading": after})
    now = replace(now, assessment=replace(now.assessment, settings_sha256="6" * 64))
    assert closing(now, before)[0][2] == ["settings, thresholds or variances changed"]


def test_other_settings_are_named_only_where_nothing_else_came_in():
    before, after = held_and_then(last_visit=date(2026, 4, 20))
    now = book_of({"held reading": after})
    now = replace(now, assessment=replace(now.assessment, settings_sha256="6" * 64))
    assert closing(now, before)[0][2] == ["visit of 2026-04-20"]


def test_a_wall_closed_by_straps_names_their_day():
    rows = states()["moving after straps"]
    before = book_of({"moving after straps": rows})
    after = states()["moving after straps"]
    after["wall_results"][-1] |= {"verdict": "too early", "reason": "Too early."}
    after["findings"] = []
    assert closing(book_of({"moving after straps": after}), before) == [
        ("moving", "too early to say", ["reinforced on 2024-04-10"])  # made known in April only, by the written book
    ]


def test_a_wall_that_is_no_longer_judged_is_closed_too(book):
    before = book_of({"moving": states()["moving"]})
    rows = states()["moving"] | {"wall_results": [], "findings": []}
    assert closing(book_of({"moving": rows}), before)[0][:2] == ("moving", "no longer judged")


def test_the_page_names_what_closed_with_its_last_decision():
    before, after = held_and_then(last_visit=date(2026, 4, 20))
    now = replace(book_of({"held reading": after}), previous=replace(before.assessment, judged_on=MARCH))
    decided = now.decisions.to_pylist()[0] | {"wall": WALL_OF["held reading"]}
    now = replace(now, decisions=table("decisions", [decided]))
    row = Page(pages.monthly_list(now)).table("Closed: 1 wall").rows[0]
    assert row[0].startswith(f"{HOUSE}-{WALL_OF['held reading']}")
    assert row[1:4] == ["held readings", "too early to say", "Visit of 2026-04-20. Too early."]
    assert row[4].startswith("O2call engineer by 2026-05-12")


def test_counts_of_the_head_of_sections_of_states_and_of_changes_agree(book):
    now = replace(book, previous=replace(book.assessment, judged_on=MARCH))
    found = the_list(now)
    asking = [line for line in found.all_lines if line.section in OPEN]
    assert len(asking) == len(open_places(now.assessment)) == found.states("new") + found.states("still open")
    page = Page(pages.monthly_list(now))
    shown = [len(part.rows) for part in page.tables if not part.caption.startswith("Closed")]
    assert sum(shown) == len(found.all_lines)
    for name, lines in found.lines.items():
        if lines:
            heading = lines[0].heading
            assert len(page.table(f"{heading}: {len(lines)} wall").rows) == len(lines), name
            assert f"{heading} ({len(lines)})" in page.text
