"""What a page says of a reinforcement, of the limit, of ends and cracks: only what its numbers show."""

from datetime import date
from typing import Any

import pytest
from page_reader import Page
from test_pages import FORBIDDEN
from written_book import HOUSE, book_of, states

from monitor.report import pages
from monitor.report.context import Book

STRAPPED = "moving after straps"
WALL = "W02"
SLOWER: dict[str, Any] = {
    "house": HOUSE,
    "wall": WALL,
    "period": 1,
    "reinforced_on": date(2024, 4, 10),
    "mark": "M3",
    "before_mm_per_year": 5.0,
    "before_lower": 3.9,
    "before_upper": 6.1,
    "after_mm_per_year": 1.0,
    "after_lower": 0.2,
    "after_upper": 1.8,
    "difference_mm_per_year": -4.0,
    "difference_lower": -5.6,
    "difference_upper": -2.4,
    "step_mm": -1.5,
    "step_lower": -3.0,
    "step_upper": 0.1,
    "step_kind": "pull-back",
    "take_up_mm": 0.8,
    "take_up_lower": -0.6,
    "take_up_upper": 2.2,
    "warning": "",
    "reason": "Mark M3 moves in slower since the work.",
}


def written(*, result: dict[str, Any] | None = None, **repair: Any) -> Book:
    rows = states()[STRAPPED]
    rows["repairs"] = [SLOWER | repair]
    rows["wall_results"][-1] |= result or {}
    return book_of({STRAPPED: rows})


def office(book: Book) -> Page:
    return Page(pages.wall_page(book, HOUSE, WALL))


def homeowner(book: Book) -> str:
    return Page(pages.homeowner_page(book, HOUSE, WALL)).text


def test_the_wall_page_shows_rates_difference_step_and_take_up_apart() -> None:
    page = office(written(warning="Do not credit the work yet."))
    [row] = page.table("One mark before and after each reinforcement").rows
    assert row == [
        "2024-04-10",
        "M3",
        "0.20 (0.15 to 0.24)",
        "0.04 (0.01 to 0.07)",
        "-0.16 (-0.22 to -0.09)",
        "-1/16 in (-1.5 mm); -3.0 to 0.1 mm (pull-back)",
        "1/16 in (0.8 mm); -0.6 to 2.2 mm",
    ]
    assert "Mark M3 moves in slower since the work. Do not credit the work yet." in page.text


def test_a_difference_that_is_not_known_is_not_a_number() -> None:
    gone = dict.fromkeys(f"difference_{end}" for end in ("mm_per_year", "lower", "upper"))
    [row] = office(written(**gone)).table("One mark before and after each reinforcement").rows
    assert row[4] == "not measured"
    assert "since the straps were fitted on" not in homeowner(written(**gone))


@pytest.mark.parametrize(
    ("pair", "said"),
    [
        (
            (-5.6, -2.4),
            "the wall moves in slower than before: by about 0.16 inch a year (4.0 mm a year), between 0.09 and",
        ),
        (
            (2.4, 5.6),
            "the wall moves in faster than before: by about 0.16 inch a year (4.0 mm a year), between 0.09 and",
        ),
        ((-8.0, 0.1), "cannot tell yet whether the wall moves in any differently since the straps"),
        ((-8.0, 0.0), "cannot tell yet whether the wall moves in any differently since the straps"),
    ],
)
def test_the_homeowner_reads_slower_only_where_the_bounds_say_so(pair: tuple[float, float], said: str) -> None:
    rate = -4.0 if pair[0] < 0 else 4.0
    text = homeowner(written(difference_mm_per_year=rate, difference_lower=pair[0], difference_upper=pair[1]))
    assert said in text
    assert ("slower than before" in text) == (pair[1] < 0)
    assert [word for word in FORBIDDEN if f" {word} " in said] == []


HOLDS = {"verdict": "holding", "rate_mm_per_year": 0.2, "rate_lower": -0.4, "rate_upper": 0.8}


def test_slower_is_never_said_beside_no_movement_measured() -> None:
    text = homeowner(written(result=HOLDS))
    assert "we could not measure any inward movement" in text
    assert "slower" not in text
    assert (
        "Before the straps were fitted on 10 April 2024 the wall moved in by about 0.20 inch a year (5.0 mm a year), "
        "between 0.15 and 0.24 inch a year." in text
    )
    assert "Before the straps were" not in homeowner(written(result=HOLDS, before_lower=-0.1))


def test_a_rate_of_two_visits_before_the_work_is_compared_with_nothing() -> None:
    rows = states()[STRAPPED]
    rows["repairs"] = [SLOWER]
    rows["wall_results"][0] |= {"visits": 2}
    book = book_of({STRAPPED: rows})
    [row] = office(book).table("One mark before and after each reinforcement").rows
    assert [row[2], row[4]] == ["too few visits"] * 2
    assert row[3] == "0.04 (0.01 to 0.07)"
    assert "than before" not in homeowner(book)


def test_a_warning_of_the_season_goes_with_slower_to_the_homeowner() -> None:
    assert "Part of that may be the time of year." in homeowner(written(warning="Do not credit the work yet."))
    assert "Part of that may be the time of year." not in homeowner(written())


def test_nothing_comforts_after_a_sudden_change() -> None:
    rows = states()[STRAPPED]
    rows["repairs"] = [SLOWER]
    rows["wall_results"][-1] |= {"verdict": "holding"}
    rows["findings"][0] |= {"rule": "jump since the last visit", "urgency": "same-day call"}
    assert "slower" not in homeowner(book_of({STRAPPED: rows}))


def test_the_range_of_the_limit_stands_on_the_wall_page_and_never_on_the_homeowners() -> None:
    book = written(result={"limit_from": date(2028, 9, 22), "limit_to": date(2032, 7, 13)})
    said = "may be reached between September 2028 and July 2032, if the wall goes on within the bounds of its rate"
    assert said in office(book).text
    assert "2028" not in homeowner(book)
    assert "2032" not in homeowner(book)
    open_end = written(result={"limit_from": date(2028, 9, 22), "limit_to": None})
    assert "may be reached from September 2028 on" in office(open_end).text
    assert "Limit of the total" not in office(written()).text


def test_notes_on_ends_and_cracks_stand_with_the_verdict() -> None:
    text = office(written(result={"ends_note": "The left end is not still.", "crack_note": "They do not go together."}))
    assert "The left end is not still. They do not go together." in text.text
