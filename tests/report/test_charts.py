"""Charts by their data: places worked out by hand, the interactive one checked by the library itself once."""

import json
import re
from datetime import date
from xml.etree import ElementTree

import pytest
from written_book import HOUSE, WALL_OF, book_of, states

from monitor.report.curves import curves
from monitor.report.drawing import OFFICE, PLAIN, chart_words, movement_chart
from monitor.report.figures import movement_figure
from monitor.report.places import place_words
from monitor.report.svg import Frame, day_ticks, element, length_ticks, number, path


@pytest.fixture
def drawn(book):
    """(curves, view) of a state."""

    def made(name):
        view = book.view(HOUSE, WALL_OF[name])
        return curves(book, view), view

    return made


def shapes(svg, name, kind):
    root = ElementTree.fromstring(str(svg))
    return [item.attrib for item in root.iter(name) if item.get("class") == kind]


def test_a_frame_puts_days_and_millimetres_where_they_belong():
    frame = Frame(100, 200, 10, 110, date(2025, 1, 1), date(2025, 1, 11), -5.0, 15.0)
    assert [frame.x(date(2025, 1, day)) for day in (1, 6, 11)] == [100, 150, 200]
    assert [frame.y(mm) for mm in (-5, 0, 15)] == [110, 85, 10]  # inward is up


def test_ticks_are_round_in_the_unit_of_the_page():
    assert length_ticks(-2.0, 13.0, "in") == [
        (0.0, "0"),
        (3.175, "1/8"),
        (6.35, "1/4"),
        (pytest.approx(9.525), "3/8"),
        (12.7, "1/2"),
    ]
    assert [words for _, words in length_ticks(-2.0, 13.0, "mm")] == ["0", "5", "10"]
    assert [mm for mm, _ in length_ticks(-900.0, 900.0, "mm")] == [-800.0, -400.0, 0.0, 400.0, 800.0]


def test_day_ticks_are_first_days_of_months_or_years():
    assert day_ticks(date(2023, 3, 1), date(2026, 4, 30), 4) == [(date(y, 1, 1), str(y)) for y in (2024, 2025, 2026)]
    assert day_ticks(date(2025, 1, 10), date(2025, 3, 5), 4) == [
        (date(2025, 2, 1), "Feb 2025"),
        (date(2025, 3, 1), "Mar 2025"),
    ]


def test_an_element_escapes_what_it_is_given():
    assert (
        str(element("text", '<b>"&', x=-0.01, class_='a"b')) == '<text x="0" class="a&#34;b">&lt;b&gt;&#34;&amp;</text>'
    )
    assert number(-0.04) == "0"
    assert path([(0, 0), (1.26, 2)], closed=True) == "M0 0L1.3 2Z"


@pytest.mark.parametrize("size", [OFFICE, PLAIN])
def test_every_visit_is_a_dot_and_every_stretch_a_band_of_its_own(drawn, size):
    chart, _ = drawn("moving after straps")
    svg = movement_chart(chart, "in", size, "c")
    assert len(shapes(svg, "circle", "dot")) == 6
    assert len(shapes(svg, "circle", "dot early")) == 1
    assert len(shapes(svg, "path", "band")) == len(shapes(svg, "path", "trend")) == 2
    assert len(shapes(svg, "path", "work")) == 1


def test_the_plain_chart_leaves_out_threshold_take_up_and_held(drawn):
    for name in ("moving after straps", "held reading"):
        chart, _ = drawn(name)
        plain, full = (movement_chart(chart, "in", size, "c") for size in (PLAIN, OFFICE))
        for kind, tag in (("slope", "path"), ("take-up", "rect"), ("held", "circle")):
            assert shapes(plain, tag, kind) == []
            expected = (
                (name == "held reading") if kind == "held" else (kind == "slope" or name == "moving after straps")
            )
            assert bool(shapes(full, tag, kind)) == expected


def test_the_threshold_is_drawn_with_its_own_slope(drawn):
    chart, _ = drawn("moving")
    first, low, last, high = chart.slope
    assert (first, last) == (date(2023, 4, 10), date(2026, 4, 10))
    assert (high - low) == pytest.approx(3.175 * 1096 / 365.25)  # three years and their leap day


def test_the_take_up_window_is_the_signed_one(drawn):
    chart, _ = drawn("moving after straps")
    assert chart.take_up == [(date(2024, 4, 10), date(2024, 7, 9))]  # 90 days


def test_a_held_reading_is_drawn_on_the_zero_of_the_nearest_used_visit(drawn):
    chart, view = drawn("held reading")
    # 182 days before; the visit after is 183 days away
    used = next(row for row in view.readings if row["mark"] == "M3" and row["visit_date"] == date(2024, 10, 9))
    moved = next(row for row in view.movement if row["mark"] == "M3" and row["visit_date"] == date(2024, 10, 9))
    (held,) = chart.held
    assert (held.mark, held.day) == ("M3", date(2025, 4, 9))
    assert held.deflection_mm == pytest.approx(36.0 - used["deflection_mm"] + moved["deflection_mm"])


def test_nothing_is_drawn_where_nothing_was_read(drawn):
    chart, view = drawn("not read yet")
    assert movement_chart(chart, "in", OFFICE, "c") == ""
    assert chart_words(chart, "in") == "There are no readings to draw yet."
    assert movement_figure(chart, view)["data"] == []


def test_a_chart_in_words_says_dates_visits_and_band(drawn):
    chart, _ = drawn("moving after straps")
    assert chart_words(chart, "mm") == (
        "Mark M3, 7 visits from 10 April 2023 to 10 April 2026. Straps were fitted on 10 April 2024; levels before and "
        "after are kept apart. At the latest visit the mark stands 9.6 mm (3/8 in) further in than where the last line "
        "starts. The grey band there runs from 8.6 mm (5/16 in) further in to 11.4 mm (7/16 in) further in. At the "
        "threshold the movement from 9 October 2024 to 10 April 2026 would be 2.4 mm (1/8 in) inward."
    )


def test_two_visits_are_drawn_as_dots_from_the_first_one_on():
    rows = states()["too early"]
    rows["wall_results"][0] |= {"visits": 2, "visits_all": 2}
    last = max(row["visit_date"] for row in rows["movement"])
    rows["movement"] = [row for row in rows["movement"] if row["visit_date"] != last]
    view = book_of({"too early": rows}).view(HOUSE, WALL_OF["too early"])
    chart = curves(book_of({"too early": rows}), view)
    for size in (PLAIN, OFFICE):
        svg = movement_chart(chart, "in", size, "c")
        assert len(shapes(svg, "circle", "dot")) == 2
        assert [shapes(svg, "path", kind) for kind in ("trend", "band", "slope")] == [[], [], []]
    assert [point.deflection_mm for point in chart.of("M3")[0].points] == [
        0.0,
        pytest.approx(0.5 + 0.3 + 0.6),
    ]  # trend and wobble, less the first
    assert "rates" not in {trace["name"] for trace in movement_figure(chart, view)["data"]}


@pytest.mark.parametrize(
    ("x_mm", "z_mm", "words"),
    [
        (75.0, 1220.0, "the left part of the north wall"),
        (4500.0, 1220.0, "the middle of the north wall"),
        (8990.0, 2400.0, "the right part of the north wall, near the top"),
        (9000.0, 0.0, "the right part of the north wall, near the floor"),
        (None, None, "the north wall"),
    ],
)
def test_a_mark_has_a_place_in_words(x_mm, z_mm, words):
    rows = states()["holding"]
    rows["marks"][0] |= {"x_mm": x_mm, "z_mm": z_mm}
    view = book_of({"holding": rows}).view(HOUSE, WALL_OF["holding"])
    assert place_words(view, "M1") == words
    assert place_words(view, "M99") == "the north wall"


@pytest.mark.parametrize("name", WALL_OF)
def test_the_plotting_library_accepts_every_figure(drawn, name):
    from plotly.graph_objects import Figure

    figure = movement_figure(*drawn(name))
    text = json.dumps(figure, allow_nan=False)
    assert json.loads(Figure(figure).to_json(validate=True))["data"] is not None
    assert "NaN" not in text


def test_the_interactive_chart_holds_all_marks_all_components_and_the_held_readings(drawn):
    figure = movement_figure(*drawn("held reading"))
    named = [trace["name"] for trace in figure["data"]]
    assert set(named) == {
        *("band of M3", "M1", "M2", "M3", "M4", "M5", "other marks", "held, not used", "threshold as a slope", "rates")
    }
    legend = {trace["name"] for trace in figure["data"] if trace.get("showlegend", True)}
    assert legend == {"M3", "other marks", "held, not used", "threshold as a slope"}
    dark = {trace["name"] for trace in figure["data"] if trace["name"].startswith("M") and trace["line"]["width"] > 1}
    assert dark == {"M3"}
    rates = figure["data"][-1]
    assert rates["y"] == ["mark M3", "bow"]  # tip and slide are not measured: no point, not a nought
    assert rates["x"] == pytest.approx([0.4 / 25.4] * 2, abs=1e-4)
    assert rates["error_x"]["array"] == pytest.approx([0.7 / 25.4] * 2, abs=1e-4)
    symbols = {trace["marker"]["symbol"] for trace in figure["data"] if re.fullmatch("M[1-5]", trace["name"])}
    assert len(symbols) == 5  # told apart without colour


def test_no_line_crosses_a_break(drawn):
    figure = movement_figure(*drawn("moving after straps"))
    traces = [trace for trace in figure["data"] if trace["name"] == "M3"]
    assert [len(trace["x"]) for trace in traces] == [2, 5]
    assert [trace["showlegend"] for trace in traces] == [True, False]


def test_names_are_no_markup_in_the_interactive_chart():
    rows = states()["holding"]
    for name in ("movement", "wall_results", "mark_results"):
        for row in rows[name]:
            for key in ("mark", "governing_mark"):
                if row.get(key) == "M3":
                    row[key] = "<b>M3</b>"
    book = book_of({"holding": rows})
    view = book.view(HOUSE, WALL_OF["holding"])
    assert "<b>M3" not in json.dumps(movement_figure(curves(book, view), view))
