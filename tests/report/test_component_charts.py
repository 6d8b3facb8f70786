"""Bow, tip and slide beside each other, by their data."""

from dataclasses import replace
from datetime import date

import pytest
from drawn import Drawing, ends
from page_reader import Page
from written_book import HOUSE, WALL_OF, book_of, states, table

from monitor.report import pages
from monitor.report.component_charts import component_charts
from monitor.report.curves import component_curves

DAYS = (date(2023, 4, 10), date(2024, 4, 10), date(2025, 4, 10))
RATES = {"bow": 4.0, "tip": -1.0}


def rows(component, rate, **more):
    wall = {"house": HOUSE, "wall": WALL_OF["moving"], "period": 0, "component": component, "counts": True}
    return [
        wall | {"visit_date": day, "value_mm": rate * n + 0.3, "trend_mm": rate * n, "band_lower_mm": (rate - 1) * n,
                "band_upper_mm": (rate + 1) * n} | more
        for n, day in enumerate(DAYS)
    ]  # fmt: skip


@pytest.fixture
def told():
    """A book whose moving wall tells bow and tip, but not slide, and its view; read in mm."""
    states_ = {"moving": states()["moving"]}
    states_["moving"]["walls"][0]["unit"] = "mm"
    tip = {"tip_mm_per_year": -1.0, "tip_lower": -2.0, "tip_upper": 0.0, "not_measured": "slide"}
    states_["moving"]["wall_results"][0] |= tip
    parts = [row for part, rate in RATES.items() for row in rows(part, rate)]
    book = replace(book_of(states_), components=table("components", parts))
    return book, book.view(HOUSE, WALL_OF["moving"])


def charts(told):
    return component_charts(component_curves(*told), told[1], "p")


def test_each_component_has_its_visits_line_and_band_at_the_values_of_the_table(told):
    for part in charts(told)[:2]:
        drawing, rate = Drawing(part["chart"]), RATES[part["name"]]
        dots = sorted((float(dot["cx"]), drawing.mm(float(dot["cy"]))) for dot in drawing.all("circle", "dot"))
        assert [mm for _, mm in dots] == pytest.approx([0.3, rate + 0.3, 2 * rate + 0.3], abs=0.06)
        (line,) = drawing.all("path", "trend")
        assert [drawing.mm(y) for _, y in ends(line)] == pytest.approx([0.0, rate, 2 * rate], abs=0.06)
        (band,) = drawing.all("path", "band")
        want = [0.0, rate + 1, 2 * (rate + 1), 2 * (rate - 1), rate - 1, 0.0]
        assert [drawing.mm(y) for _, y in ends(band)] == pytest.approx(want, abs=0.06)


def test_all_stand_on_one_scale_with_the_threshold_as_a_slope(told):
    bow, tip = (Drawing(part["chart"]) for part in charts(told)[:2])
    assert bow.texts() == tip.texts()
    for drawing in (bow, tip):
        (slope,) = drawing.all("path", "slope")
        (_, low), (_, high) = ends(slope)
        assert drawing.mm(high) - drawing.mm(low) == pytest.approx(3.175 * 731 / 365.25, abs=0.12)


def test_a_component_that_cannot_be_seen_has_words_in_place_of_a_chart(told):
    bow, tip, slide = charts(told)
    assert (slide["chart"], slide["rate"]) == ("", "")
    assert slide["why"] == "not measured: marks and method cannot see it"
    assert (bow["rate"], tip["rate"]) == ("5.0 (4.1 to 5.9) mm a year", "-1.0 (-2.0 to 0.0) mm a year")


def test_a_component_in_words_says_visits_movement_band_and_threshold(told):
    assert Drawing(charts(told)[0]["chart"]).desc == (
        "Bow, 3 visits from 10 April 2023 to 10 April 2025. At the latest visit 8.3 mm (5/16 in) further in than where "
        "the last line starts. The grey band there: 6.0 mm (1/4 in) further in to 10.0 mm (3/8 in) further in. At the "
        "threshold the movement from 10 April 2023 to 10 April 2025 would be 6.4 mm (1/4 in) inward."
    )


def test_a_visit_in_the_take_up_window_is_pale_and_no_line_crosses_the_straps(told):
    book, _ = told
    after = [row | {"period": 1} for row in rows("bow", 1.0)]
    after[0] |= {"counts": False, "trend_mm": None, "band_lower_mm": None, "band_upper_mm": None}
    book = replace(book, components=table("components", [*rows("bow", 4.0), *after]))
    view = book.view(HOUSE, WALL_OF["moving"])
    drawing = Drawing(component_charts(component_curves(book, view), view, "p")[0]["chart"])
    assert [len(ends(line)) for line in drawing.all("path", "trend")] == [3, 2]
    assert len(drawing.all("circle", "dot early")) == 1


def test_the_wall_page_shows_them_with_a_text_for_each_and_none_where_none_is_told(told, book):
    page = Page(pages.wall_page(told[0], HOUSE, WALL_OF["moving"]))
    assert "Slide: the whole wall moving in at its base. Not measured: marks and method cannot see it." in page.text
    pictures = [item for item in page.named("svg") if item.get("role") == "img"]
    assert len(pictures) == 4  # movement, bow, tip, the wall from inside
    assert all(item["aria-labelledby"] for item in pictures)
    without = Page(pages.wall_page(book, HOUSE, WALL_OF["moving"])).text
    assert "Bow, tip and slide" not in without
    assert "Marks and method of this wall do not tell bow, tip and slide apart" in without
