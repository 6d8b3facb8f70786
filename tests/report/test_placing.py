"""Where walls stand, told with rows of those alone that ask for somebody; of the others no more than how many."""

from dataclasses import replace
from datetime import date

import pyarrow as pa
import pyarrow.compute as pc
import pytest
from written_book import HOUSE, KNOWN, WALL_OF, book_of, states

from monitor import schema
from monitor.report import monthly_files, pages, placing
from monitor.report.monthly_closed import closed
from monitor.report.monthly_rows import SHOWN, the_list
from monitor.report.monthly_sheet import counts


def key(state):
    return HOUSE, WALL_OF[state]


def of(rows, walls):
    return rows.filter(pc.is_in(schema.wall_keys(rows), value_set=pa.array(map(schema.wall_key, walls))))


def left_out(found, placed):
    """An assessment with the rows and columns of some walls that a list shows, and the others as quiet."""
    tables = {
        name: of(getattr(found, name), placed).select(SHOWN[name]).filter(placing.HAVING[name])
        for name in ("wall_results", "findings")
    }
    return replace(found, plan=schema.empty("plan"), quiet=placing.quiet(found, placed), **tables)


def told(book):
    return pages.monthly_list(book), monthly_files.monthly_csv(book), monthly_files.monthly_xlsx(book)


def test_no_row_is_made_of_a_wall_that_asks_for_nobody(book):
    found = placing.items(book.assessment)
    assert {item.section for item in found.values()} == {"hard", "moving", "again", "held", "overdue"}
    assert key("holding") not in found
    assert placing.items(book.assessment, only=[key("holding")])[key("holding")].section == "holding"
    assert placing.items(book.assessment, also=[key("holding")]).keys() == {*found, key("holding")}
    assert placing.named(book.assessment, also=[key("holding")]) == sorted({*found, key("holding")})


@pytest.mark.parametrize("missing", [(), ("moving", "held reading", "holding")])
def test_a_list_of_the_walls_it_shows_alone_is_the_list_of_all(book, without, missing):
    before = without(*missing).assessment
    whole = replace(book, previous=before)
    placed = placing.items(book.assessment, before, also=placing.open_places(before))
    assert 0 < placing.quiet(book.assessment, placed).num_rows < book.assessment.wall_results.num_rows
    walls = whole.fact("walls")
    few = replace(
        whole,
        assessment=left_out(book.assessment, placed),
        previous=left_out(before, placing.items(before)),
        facts=dict(whole.facts) | {"walls": of(walls, placed).select(SHOWN["walls"])},
        register=walls.select(["house", "wall"]),
    )
    assert the_list(few).numbers == the_list(whole).numbers
    assert told(few) == told(whole)


def test_a_wall_is_counted_once_wherever_its_rows_are(book):
    """By section, outside of any, or not judged: together the walls registered."""
    rows = states()["holding"]
    unread = [{**row, "wall": "W99"} for row in rows["walls"]]
    now = replace(book, facts=dict(book.facts) | {"walls": pa.concat_tables([
        book.fact("walls"), pa.Table.from_pylist(unread, schema=schema.WALLS)])})  # fmt: skip
    few = replace(now, assessment=left_out(now.assessment, placing.items(now.assessment)))
    found = counts(few, the_list(few))
    assert found == counts(now, the_list(now))
    assert found[-1] == ("Not judged: no readings", 1 + counts(book, the_list(book))[-1][1])
    assert sum(number for _, number in found) == len(now.walls)


def test_a_wall_of_which_there_is_a_finding_and_no_result_is_on_the_list_and_judged():
    rows = states()["held reading"]
    rows["wall_results"] = []
    now = book_of({"held reading": rows})
    assert [line.key for line in the_list(now).lines["held"]] == ["-".join(key("held reading"))]
    assert dict(counts(now, the_list(now)))["Not judged: no readings"] == 0


def test_where_a_wall_stands_is_told_without_its_rows(book):
    few = left_out(book.assessment, placing.items(book.assessment))
    walls = [key("holding"), key("held reading"), ("nowhere", "X")]
    assert placing.sections(few, walls) == {key("holding"): "holding", key("held reading"): "held"}


def test_a_wall_without_any_visit_before_leaves_the_list_as_soon_as_it_is_read(book):
    rows = states()["held reading"]
    never = {"held reading": states()["held reading"]}
    never["held reading"]["wall_results"][0] |= {"last_visit": None}
    rows["wall_results"][0] |= {"readings_held": 0, "verdict": "too early", "last_visit": date(2026, 4, 20)}
    rows["findings"] = []
    earlier = replace(book_of(never).assessment, judged_on=date(2026, 3, 31), known_until=KNOWN)
    now = replace(book_of({"held reading": rows}), previous=earlier)
    [left] = closed(now, the_list(now))
    assert list(left.came) == ["visit of 2026-04-20"]
