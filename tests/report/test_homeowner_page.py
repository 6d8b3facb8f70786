"""The homeowner's page as it is laid out: what stands first, both units, both languages, the chart and its words."""

import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser

import pytest
from page_reader import VOID, Page
from written_book import HOUSE, WALL_OF, table

from monitor.report import names, pages
from monitor.report.curves import Curves, Point, Stretch
from monitor.report.language import codes, language
from monitor.report.plain_chart import PlainChart

WALLS = [pytest.param(wall, id=state) for state, wall in WALL_OF.items()]
EN, ES = language("en"), language("es")


class Shown(HTMLParser):
    """The words of a page that are left where elements of one class are not displayed."""

    def __init__(self, data: bytes, hidden: str) -> None:
        super().__init__(convert_charrefs=True)
        self._hidden, self._open, self.words = hidden, [], []
        self.feed(data.decode())

    def handle_starttag(self, tag, attrs):
        if tag not in VOID:
            self._open.append(self._hidden in (dict(attrs).get("class") or "").split() or tag == "style")

    def handle_endtag(self, _):
        self._open.pop()

    def handle_data(self, data):
        if not any(self._open):
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.words).split())


def page(book, state: str, code: str = "en") -> bytes:
    return pages.homeowner_page(book, HOUSE, WALL_OF[state], code)


@pytest.mark.parametrize("code", codes())
def test_each_language_leads_to_the_others_at_the_top(book, code):
    found = Page(page(book, "holding", code))
    others = [other for other in codes() if other != code]
    assert found.named("html") == [{"lang": code}]
    assert [(tag["href"], tag["hreflang"], tag["lang"]) for tag in found.named("a") if "hreflang" in tag] == [
        (names.page_name(HOUSE, WALL_OF["holding"], names.in_language("homeowner", other)), other, other)
        for other in others
    ]
    assert found.source.index("hreflang") < found.source.index("<h1>")


def test_the_two_languages_bear_numbers_of_their_own(book):
    numbers = {re.search(rb'report-number" content="([^"]+)"', page(book, "holding", code))[1] for code in codes()}
    assert len(numbers) == len(codes())


@pytest.mark.parametrize(
    ("state", "first", "then"),
    [
        ("holding", "1 1/8 in (28.0 mm)", "28.0 mm (1 1/8 in)"),
        ("hostile name", "28.0 mm (1 1/8 in)", "1 1/8 in (28.0 mm)"),  # read in millimetres
    ],
)
def test_the_walls_unit_stands_first_and_the_other_where_the_reader_turns_it_round(book, state, first, then):
    data = page(book, state)
    shown, turned = Shown(data, "u2").text, Shown(data, "u1").text
    assert first in shown
    assert then not in shown
    assert then in turned
    assert first not in turned


@pytest.mark.parametrize("code", codes())
@pytest.mark.parametrize("wall", WALLS)
def test_each_way_round_no_length_stands_but_in_its_order(book, wall, code):
    data = pages.homeowner_page(book, HOUSE, wall, code)
    inches = r"(?:in|inch a year|pulgadas?(?: por año)?)"
    for hidden in ("u1", "u2"):
        text = Shown(data, hidden).text
        unit_first = ("in", "mm")[(hidden == "u1") == (book.view(HOUSE, wall).unit == "in")]
        wrong = rf"[0-9.]+ mm[^().;:,]* \([^()]*{inches}" if unit_first == "in" else rf"[0-9] {inches} \([0-9.]+ mm"
        assert re.findall(wrong, text) == []


def test_units_are_turned_by_a_named_pair_of_labelled_buttons_and_no_script(book):
    found = Page(page(book, "holding"))
    buttons = found.named("input")
    assert [(tag["type"], tag["name"], tag["id"], "checked" in tag) for tag in buttons] == [
        ("radio", "unit", "unit-1", True),
        ("radio", "unit", "unit-2", False),
    ]
    assert re.search(
        r"<fieldset[^>]*>\s*<legend>Show first</legend>\s*(<label><input[^>]+>\w+</label>\s*){2}</field", found.source
    )
    for rule in (".u2{display:none}", "body:has(#unit-2:checked) .u1{display:none}"):
        assert rule in found.source
    assert "@supports not selector(:has(*)){.units{display:none}}" in found.source


@pytest.mark.parametrize("wall", WALLS)
def test_status_meaning_visits_and_chart_stand_before_anything_else(book, wall):
    source = pages.homeowner_page(book, HOUSE, wall).decode()
    first_heading = source.index("<h2>")
    places = [source.index(text) for text in ('class="lead"', "<strong>Last visit:", "<strong>Next visit:")]
    if "<figure>" in source:
        places.append(source.index("<figure>"))
    assert places == sorted(places)
    assert places[-1] < first_heading


@pytest.mark.parametrize(
    ("contact", "link"),
    [
        ("555-0100", "tel:5550100"),
        ("telephone (555) 010-0123", "tel:5550100123"),
        ("+1 555 010 0123, weekdays", "tel:+15550100123"),
        ("office@example.invalid", None),
    ],
)
def test_whom_to_call_stands_before_the_chart_and_a_number_can_be_dialled(book, contact, link):
    called = replace(book, company={**book.company, "contact": contact})
    source = page(called, "holding").decode()
    assert source.index(f"<strong>{EN['page']['questions']}</strong>") < source.index("<figure>")
    links = [tag["href"] for tag in Page(source.encode()).named("a") if tag["href"].startswith("tel:")]
    assert links == [link] * 2 if link else links == []
    assert source.count(contact) == 2


@pytest.mark.parametrize("code", codes())
def test_a_total_against_the_walls_own_foot_says_that_a_slide_of_the_foot_is_not_in_it(book, code):
    said = language(code)["total_leaves_out"]["the foot of the wall"]
    rows = [row | {"total_reference": "the foot of the wall"} for row in book.assessment.wall_results.to_pylist()]
    footed = replace(book, assessment=replace(book.assessment, wall_results=table("wall_results", rows)))
    for kind in (pages.homeowner_page, pages.history_page):
        wall = WALL_OF["holding"]
        assert said in Page(kind(footed, HOUSE, wall, code)).text
        assert said not in Page(kind(book, HOUSE, wall, code)).text


@pytest.mark.parametrize("code", codes())
def test_where_an_end_moves_no_bound_is_called_the_most_and_that_is_said(book, code):
    rows = [row | {"ends_note": "The left end is not still."} for row in book.assessment.wall_results.to_pylist()]
    moved = replace(book, assessment=replace(book.assessment, wall_results=table("wall_results", rows)))
    wall, said = WALL_OF["look again"], language(code)["page"]
    for kind in (pages.homeowner_page, pages.history_page):
        assert said["end_moves"] in Page(kind(moved, HOUSE, wall, code)).text
        assert said["end_moves"] not in Page(kind(book, HOUSE, wall, code)).text
    assert f"<dt>{said['less_than']}</dt>" in page(book, "look again", code).decode()
    assert f"<dt>{said['less_than']}</dt>" not in page(moved, "look again", code).decode()


def test_the_stay_out_box_moves_up_where_something_is_urgent(book):
    for state, urgent in (("jump", True), ("hard limit", True), ("seen sign", True), ("moving", False)):
        source = page(book, state).decode()
        assert (source.index('id="stay-out"') < source.index("<figure>")) == urgent, state
        assert source.count('id="stay-out"') == 1


@pytest.mark.parametrize("code", codes())
@pytest.mark.parametrize("wall", WALLS)
def test_a_chart_is_named_and_described_by_words_on_the_page(book, wall, code):
    found = Page(pages.homeowner_page(book, HOUSE, wall, code))
    for svg in found.named("svg"):
        if svg.get("role") == "img":
            for identity in (svg["aria-labelledby"], svg["aria-describedby"]):
                assert found.source.count(f'id="{identity}"') == 1


def test_what_was_corrected_stands_below_the_chart(book):
    source = page(book, "corrected").decode()
    assert source.index("<figure>") < source.index("we corrected a reading of 10 April 2023")


DAYS = (date(2024, 10, 14), date(2025, 4, 10), date(2026, 4, 13))


def chart(last_mm: float, words, *, band: tuple[float, float] | None = (-0.7, 0.6), counts: bool = True) -> PlainChart:
    """Three visits, the last one `last_mm` further in than the first, whose band ends there."""
    ends = [(0.0, 0.0), (-0.3, 0.3), band] if band else [(None, None)] * 3
    points = [
        Point(day, "", mm, None, *pair, counts)
        for day, mm, pair in zip(DAYS, (-1.0, 0.1, last_mm - 1.0), ends, strict=True)
    ]
    curves = Curves("M3", [Stretch("M3", 0, 0, points)], [], [], [], [], [], None, None)
    return PlainChart(curves, "the wall", words)


def test_a_difference_of_two_readings_that_the_band_can_hold_is_said_beside_the_band():
    assert chart(0.5, EN).in_words("in") == (
        "The wall, read at 3 visits from 14 October 2024 to 13 April 2026. On 13 April 2026 it stood less than 1/32 in "
        "(0.5 mm) further in than on 14 October 2024. Given how finely we can measure, the wall itself "
        "could have come anywhere between less than 1/32 in (0.7 mm) further out and less than 1/32 in (0.6 mm) "
        "further in."
    )


def test_a_difference_of_two_readings_that_the_band_cannot_hold_is_told_apart_from_the_walls_own_movement():
    said = chart(4.8, EN).in_words("in")
    assert "On 13 April 2026 it stood 3/16 in (4.8 mm) further in than on 14 October 2024." in said
    assert "Two single readings can differ by more than the wall has moved: by how the instrument was set up" in said
    assert (
        "All readings together say that the wall itself has come somewhere between less than 1/32 in (0.7 mm)" in said
    )
    assert "could have come anywhere" not in said
    assert "Dos lecturas sueltas pueden diferir más de lo que se ha movido la pared" in chart(4.8, ES).in_words("in")


@pytest.mark.parametrize("words", [EN, ES], ids=["en", "es"])
def test_a_wall_read_once_is_told_with_that_day_alone(words):
    day = date(2026, 4, 13)
    once = Curves(
        "M3", [Stretch("M3", 0, 0, [Point(day, "", 0.0, None, None, None, True)])], [], [], [], [], [], None, None
    )
    told = PlainChart(once, "the wall", words).in_words("in")
    assert told == words.say("chart", "only", place="The wall", first=words.day_text(day))


def test_without_a_band_only_the_readings_are_told():
    assert chart(4.8, EN, band=None).in_words("in").endswith("further in than on 14 October 2024.")


def test_the_key_explains_what_is_drawn_and_nothing_else():
    # the first dot lies 1 mm below where the band opens
    assert chart(0.5, EN).key() == (
        "Dots: our readings. Grey band: where the wall could be, given how finely we can measure. Each dot bears the "
        "small error of its visit and can lie outside the band. Up: into the room."
    )
    assert chart(0.5, EN, band=None).key() == "Dots: our readings. Up: into the room."
    assert chart(0.5, EN, band=None, counts=False).key().startswith("Dots: our readings (pale: the first months")


def test_a_chart_bears_the_words_of_its_language():
    drawn = chart(4.8, ES).svg("move", "in")
    for words in ("hacia adentro ↑ (pulgadas)", "ene 2025", "jul 2025", "Movimiento de"):
        assert words in drawn
    assert not re.search(r"Apr|Jan|inward|Movement", drawn)
