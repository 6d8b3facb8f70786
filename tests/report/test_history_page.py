"""The history page for a sale: dated facts in plain words, in every language, of every state; no name, no promise."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from page_reader import Page
from test_pages import CAUTIONS, FORBIDDEN, WALLS
from written_book import HOUSE, WALL_OF, book_of, states

from monitor.report import names, pages
from monitor.report.history_sheet import history_sheet
from monitor.report.language import codes, language
from monitor.report.status import status
from monitor.terms import EventKind, Method, State, TopAnchor
from monitor.trend.totals import REFERENCE

# Spanish for the words that may not be said of a wall, all their forms; "segura" stands in the caution alone.
FORBIDDEN_ES = (
    r"segur[oa]s?", r"seguridad", r"estables?", r"estabilidad", r"fij[oa]s?", r"deten(ido|ida)s?", r"permanentes?",
    r"garant\w+", r"certificad[oa]s?", r"aprobad[oa]s?", r"normal(es|mente)?", r"sin riesgo", r"cubiert[oa]s?",
    r"vecin[oa]s?", r"debido a", r"a causa de", r"mejoras?",
)  # fmt: skip


def page_of(book, wall, code="en"):
    return Page(pages.history_page(book, HOUSE, wall, code))


@pytest.mark.parametrize("wall", WALLS)
def test_no_forbidden_word_stands_outside_the_cautions(book, wall):
    text = page_of(book, wall).text
    for caution in CAUTIONS:
        assert caution in text
        text = text.replace(caution, " ")
    assert [word for word in FORBIDDEN if re.search(rf"\b{word}\b", text.lower())] == []
    assert not re.search(r"\b(our (company|experts|solution|product)|best|trusted|lifetime|free)\b", text.lower())


@pytest.mark.parametrize("wall", WALLS)
def test_no_forbidden_word_stands_outside_the_cautions_in_spanish(book, wall):
    said, text = language("es").phrases, page_of(book, wall, "es").text
    for caution in (said["caution"]["strong"], said["stay_out"]["text"]):
        assert caution in text
        text = text.replace(caution, " ")
    assert [word for word in FORBIDDEN_ES if re.search(rf"\b{word}\b", text.lower())] == []


@pytest.mark.parametrize("code", codes())
@pytest.mark.parametrize("wall", WALLS)
def test_it_names_no_person_no_house_and_nothing_as_somebody_wrote_it_and_asks_for_nothing_outside(book, wall, code):
    page = page_of(book, wall, code)
    assert not re.search(r"\b(T1|O1|O2|E1)\b", page.text)
    assert HOUSE not in page.text
    assert "photo shows" not in page.text
    assert page.named("script") == []
    assert len(page.source.encode()) < 60_000
    links = {tag["href"] for tag in page.named("a")}
    assert links == {names.page_name(HOUSE, wall, names.in_language("history", other)) for other in codes()} - {
        names.page_name(HOUSE, wall, names.in_language("history", code))
    }


@pytest.mark.parametrize("wall", WALLS)
def test_it_is_dated_and_says_how_to_have_it_confirmed(book, wall):
    text = page_of(book, wall).text
    number = re.search(r"Page number ([0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4})\.", text)
    assert number
    assert "As known on 30 April 2026, judged for 30 April 2026." in text
    assert "give The demo firm (telephone 555 0100) the page number, or better the file itself" in text
    assert text.count(number[1]) == 2  # above the foot and in it


@pytest.mark.parametrize("code", codes())
def test_every_word_of_a_closed_set_has_a_phrase(book, code):
    said = language(code)
    assert set(said["history_work"]) == {str(kind) for kind in EventKind}
    assert set(said["history_method"]) == {str(method) for method in Method}
    assert set(said["history_reference"]) == set(REFERENCE.values())
    assert {str(anchor) for anchor in TopAnchor} <= set(said["history_as_built"])
    assert set(said["short"]) <= set(said["history_state"])


def test_in_spanish_a_and_el_are_one_word_whatever_a_total_is_measured_against():
    for reference in REFERENCE.values():
        text = page_of(
            with_events("holding", first=FIRST | {"total_reference": reference}), WALL_OF["holding"], "es"
        ).text
        assert re.search(r"\bcon respecto (al|a los|a la|a unas) \w", text), reference
        assert not re.search(r"\b(a|de) el\b|\ba a\b", text), reference


def test_each_state_is_said_to_a_third_person(book):
    for wall in WALL_OF.values():
        view = book.view(HOUSE, wall)
        sheet = history_sheet(book, view)
        assert status(book, view).state
        assert not re.search(r"\b([Yy]our|[Ww]e|[Uu]s)\b", sheet["state"]), sheet["state"]
    late = history_sheet(book, book.view(HOUSE, WALL_OF["overdue"]))["state"]
    assert re.fullmatch(r"A visit is overdue\. Nothing is known about the time since \d+ \w+ 20\d\d\.", late)


def with_events(name, *events, first=None):
    rows = states()[name]
    rows["events"] = [
        {"event_id": f"e{n}", "house": HOUSE, "wall": WALL_OF[name]} | event for n, event in enumerate(events)
    ]
    book = book_of({name: rows})
    return replace(book, first_totals={(HOUSE, WALL_OF[name]): first} if first else {})


FIRST = {"total_mm": 25.4, "total_mark": "M3", "total_reference": "the foot of the wall"}
STRAPS = {
    "kind": "reinforcement", "event_date": date(2024, 4, 10), "strap_count": 7, "strap_spacing_mm": 1219.2,
    "surface_to_sound": True, "cracks_grouted": False, "top_anchor": "rim joist", "bottom_holes_cleaned": False,
    "bottom_hole_depth_mm": 101.6, "note": "John was there",
}  # fmt: skip


def test_what_was_found_and_done_stands_with_its_dates_and_as_built_facts():
    book = with_events("holding", STRAPS, first=FIRST)
    sheet = history_sheet(book, book.view(HOUSE, WALL_OF["holding"]))
    assert sheet["found"][0] == (
        "First visit, 10 April 2023",
        "In all the wall had come in by 1 in (25.4 mm), measured relative to the foot of the wall, at the middle of "
        "the north wall.",
    )
    assert sheet["work"] == [
        (
            "10 April 2024",
            "straps fitted",
            [
                "7 straps, 48 in (1219.2 mm) apart, centre to centre",
                "surface taken down to sound, clean wall",
                "cracks not grouted first",
                "holes of the bottom anchor not cleaned",
                "top anchored to the rim joist",
                "holes of the bottom anchor 4 in (101.6 mm) deep",
            ],
        )
    ]
    assert "Between them: straps fitted." in sheet["between"]
    assert "John" not in page_of(book, WALL_OF["holding"]).text


def test_totals_are_compared_without_a_warning_where_nothing_lies_between_and_unknown_where_nobody_knows():
    drain = {"kind": "drainage", "event_date": date(2024, 8, 20), "note": "downspout led away"}
    book = with_events("holding", drain)
    sheet = history_sheet(book, book.view(HOUSE, WALL_OF["holding"]))
    assert sheet["between"] == ""
    assert sheet["work"] == [("20 August 2024", "work on drainage", ())]
    assert sheet["found"][0][1].startswith("How far the wall had come in, in all, is not known")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            {"rate_mm_per_year": 5.08, "rate_lower": 2.54, "rate_upper": 7.62},
            "moved in, most likely 0.20 inch a year (5.1 mm a year), between 0.10 and 0.30 inch a year, at the middle "
            "of the north wall",
        ),
        (
            {"rate_mm_per_year": 0.4, "rate_lower": -0.3, "rate_upper": 1.27},
            "no inward movement measured; if there was any, very likely less than 0.05 inch a year (1.3 mm a year)",
        ),
        (
            {"rate_mm_per_year": 2.54, "rate_lower": -1.0, "rate_upper": 5.08},
            "not settled: somewhere between none and 0.20 inch a year; most likely 0.10 inch a year (2.5 mm a year)",
        ),
        (
            {"rate_mm_per_year": -2.54, "rate_lower": -9.0, "rate_upper": 5.08},
            "not settled: somewhere between none and 0.20 inch a year",
        ),
        ({"visits": 2}, "not told: 2 visits cannot show a rate"),
        (
            dict.fromkeys(("rate_mm_per_year", "rate_lower", "rate_upper")),
            "not measured: the way it was read cannot show it yet",
        ),
    ],
)
def test_a_rate_is_said_in_plain_words_with_its_bounds(change, words):
    rows = states()["holding"]
    rows["wall_results"][0] |= change
    book = book_of({"holding": rows})
    assert history_sheet(book, book.view(HOUSE, WALL_OF["holding"]))["rates"][0][2] == words


def test_after_a_jump_no_rate_is_told(book):
    assert history_sheet(book, book.view(HOUSE, WALL_OF["jump"]))["rates"][-1][2].startswith("not told: the latest")


def test_every_reading_is_counted_once_and_what_was_held_or_corrected_is_said():
    book = book_of(states())
    for wall in WALL_OF.values():
        view = book.view(HOUSE, wall)
        sheet = history_sheet(book, view)
        used = sum(row["used"] for row in sheet["table"])
        assert used == sum(row["state"] == State.USED for row in view.readings)
    corrected = history_sheet(book, book.view(HOUSE, WALL_OF["corrected"]))["special"]
    assert corrected == ["A reading of 10 April 2023 was corrected on 30 April 2026: 1 13/16 in → 1 3/16 in."]
    held = history_sheet(book, book.view(HOUSE, WALL_OF["held reading"]))
    assert "held: it does not fit" in " ".join(held["special"])
    assert "1 held" in held["counts"]


def test_a_page_says_whose_place_it_takes_and_its_number_changes_with_that(book):
    wall = WALL_OF["holding"]
    earlier = {
        "report_number": "0123-4567-89ab",
        "judged_on": date(2026, 3, 31),
        "known_until": datetime(2026, 3, 31, 23, 59, tzinfo=UTC),
    }
    for kind, page in (("history", pages.history_page), ("homeowner", pages.homeowner_page), ("wall", pages.wall_page)):
        now = replace(book, supersedes={names.page_name(HOUSE, wall, kind): earlier})
        before, after = (page(each, HOUSE, wall) for each in (book, now))
        assert b"0123-4567-89ab" not in before
        assert b"0123-4567-89ab" in after
        numbers = [re.search(rb'report-number" content="([^"]+)"', data)[1] for data in (before, after)]
        assert numbers[0] != numbers[1]
