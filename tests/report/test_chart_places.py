"""Where dots, lines and unused readings stand on the chart of movement, read off its own axes."""

from datetime import date

import pytest
from drawn import Drawing, ends
from written_book import HOUSE, WALL_OF, book_of, states

from monitor.report.curves import curves
from monitor.report.drawing import OFFICE, chart_words, legend_words, movement_chart

TENTH = 0.06
"""A tenth of a drawing unit is so many mm at most on the charts of this book."""


def office(book, wall):
    view = book.view(HOUSE, wall)
    chart = curves(book, view)
    return Drawing(movement_chart(chart, "mm", OFFICE, "c")), chart, view


@pytest.mark.parametrize("name", ["moving", "moving after straps", "holding", "held reading"])
def test_each_dot_stands_at_the_day_and_movement_of_the_table(book, name):
    drawing, _, view = office(book, WALL_OF[name])
    rows = [row for row in view.movement if row["mark"] == "M3"]
    dots = [item for kind in ("dot", "dot early") for item in drawing.all("circle", kind)]
    found = sorted((float(dot["cx"]), drawing.mm(float(dot["cy"]))) for dot in dots)
    want = sorted((row["visit_date"], row["deflection_mm"]) for row in rows)
    assert [mm for _, mm in found] == pytest.approx([mm for _, mm in want], abs=TENTH)
    first, last = (want[0][0], found[0][0]), (want[-1][0], found[-1][0])
    days = [drawing.days(first, last, x) for x, _ in found]
    assert days == pytest.approx([(day - want[0][0]).days for day, _ in want], abs=0.3)


def test_the_band_is_drawn_between_the_bounds_of_the_table(book):
    drawing, _, view = office(book, WALL_OF["moving"])
    (band,) = drawing.all("path", "band")
    rows = [row for row in view.movement if row["mark"] == "M3"]
    want = [row["band_upper_mm"] for row in rows] + [row["band_lower_mm"] for row in reversed(rows)]
    assert [drawing.mm(y) for _, y in ends(band)] == pytest.approx(want, abs=TENTH)


@pytest.mark.parametrize(
    ("name", "threshold", "span_days"), [("moving", 3.175, 1096), ("moving after straps", 1.5875, 548)]
)
def test_the_slope_ends_where_the_threshold_would_bring_the_mark_over_the_span(book, name, threshold, span_days):
    drawing, _, _ = office(book, WALL_OF[name])
    (slope,) = drawing.all("path", "slope")
    (_, low), (_, high) = ends(slope)
    assert drawing.mm(high) - drawing.mm(low) == pytest.approx(threshold * span_days / 365.25, abs=2 * TENTH)


def rejected(deflection_mm, day=date(2025, 4, 9), state="rejected"):
    rows = states()["held reading"]
    at = ("M3", date(2025, 4, 9))
    rows["readings"] = [
        row
        | (
            {"state": state, "deflection_mm": deflection_mm, "visit_date": day}
            if (row["mark"], row["visit_date"]) == at
            else {}
        )
        for row in rows["readings"]
    ]
    return office(book_of({"held reading": rows}), WALL_OF["held reading"])


def test_a_rejected_reading_is_crossed_out_where_it_would_stand():
    drawing, chart, view = rejected(21.0)
    used = next(row for row in view.readings if row["mark"] == "M3" and row["visit_date"] == date(2024, 10, 9))
    moved = next(row for row in view.movement if row["mark"] == "M3" and row["visit_date"] == date(2024, 10, 9))
    (cross,) = drawing.all("path", "rejected")
    _, y = ends(cross)[0]
    assert drawing.mm(y + 5) == pytest.approx(21.0 - used["deflection_mm"] + moved["deflection_mm"], abs=TENTH)
    assert "rejected" in drawing.texts()
    assert ("rejected", "rejected reading, not used") in legend_words(chart, "mm")
    assert "Not used: a rejected reading of 9 April 2025" in chart_words(chart, "mm")
    assert drawing.all("circle", "held") == []


@pytest.mark.parametrize(("mm", "up"), [(400.0, True), (-400.0, False)])
def test_what_is_not_used_and_far_off_stands_at_the_edge_and_leaves_the_scale_alone(mm, up):
    drawing, _, _ = rejected(mm)
    (cross,) = drawing.all("path", "rejected")
    assert (ends(cross)[0][1] < 60) == up
    assert "rejected, off the chart" in drawing.texts()
    usual, _, _ = rejected(20.0)
    span = [abs(item.mm(40.0) - item.mm(300.0)) for item in (drawing, usual)]
    assert span[0] == pytest.approx(span[1], rel=0.2)


def test_a_rejected_row_that_says_a_used_reading_again_is_not_drawn():
    rows = states()["holding"]
    rows["readings"].append(rows["readings"][-3] | {"reading_id": "again", "state": "rejected"})
    drawing, chart, _ = office(book_of({"holding": rows}), WALL_OF["holding"])
    assert drawing.all("path", "rejected") == []
    assert chart.rejected == []


def test_a_held_reading_without_a_date_has_no_place():
    drawing, chart, _ = rejected(36.0, day=None, state="held")
    assert chart.held == []
    assert drawing.all("circle", "held") == []
