"""The wall from inside as a map of rates: to scale, sizes by area, states by shape and words."""

import re
from itertools import pairwise

import pytest
from drawn import Drawing, ends
from written_book import HOUSE, WALL_OF, book_of, states

from monitor.report.elevation import elevation, face_legend, radius, strap_places_mm


def face(name, change=None):
    rows = states()[name]
    if change:
        change(rows)
    view = book_of({name: rows}).view(HOUSE, WALL_OF[name])
    return Drawing(elevation(view, "f")), view


def scale(drawing):
    (wall,) = drawing.all("rect", "wall")
    return float(wall["width"]) / 9000, float(wall["x"]), float(wall["y"]), float(wall["height"])


def test_straps_stand_evenly_about_the_middle():
    assert strap_places_mm(9000, 3, 1200) == [3300, 4500, 5700]
    assert strap_places_mm(9000, 2, 1200) == [3900, 5100]
    assert strap_places_mm(9000, 3, None) == [1500, 4500, 7500]  # no spacing on record: thirds of the wall


def test_wall_marks_straps_crack_and_bar_are_to_scale():
    drawing, _ = face("moving after straps")
    per_mm, left, top, height = scale(drawing)
    assert height / per_mm == pytest.approx(2440, rel=1e-3)
    discs = drawing.all("circle", "disc")
    assert [(float(disc["cx"]) - left) / per_mm for disc in discs] == pytest.approx(
        [1500, 3000, 4500, 6000, 7500], abs=2
    )
    assert [(top + height - float(disc["cy"])) / per_mm for disc in discs] == pytest.approx([1220] * 5, abs=2)
    straps = drawing.all("rect", "strap")
    between = {float(b["x"]) - float(a["x"]) for a, b in pairwise(straps)}
    assert [gap / per_mm for gap in between] == pytest.approx([1219.2] * len(between), abs=3)
    assert len(straps) == 6
    (crack,) = drawing.all("path", "crack")
    assert {round((top + height - y) / per_mm, -2) for _, y in ends(crack)} == {1200}
    (bar,) = drawing.all("path", "bar")
    xs = [x for x, _ in ends(bar)]
    assert (max(xs) - min(xs)) / per_mm == pytest.approx(4 * 304.8, abs=2)


def test_the_area_of_a_mark_is_to_the_ring_as_its_rate_to_the_threshold():
    drawing, view = face("moving")
    ring = float(drawing.all("circle", "ring")[0]["r"])
    for disc, row in zip(drawing.all("circle", "disc"), view.mark_results, strict=True):
        share = (float(disc["r"]) / ring) ** 2
        assert share == pytest.approx(row["rate_mm_per_year"] / 3.175, rel=0.02)  # radii are drawn to a tenth
    assert len(drawing.all("circle", "ring")) == 5
    assert radius(1e6, 1.0) == 24.0  # a hundred times the threshold does not cover the wall
    assert radius(0.0, 1.0) == 2.0  # and none still shows


def test_inward_shown_inward_not_shown_outward_not_measured_and_retired_differ_in_shape_or_tone():
    def change(rows):
        at = {row["mark"]: row for row in rows["mark_results"]}
        at["M1"] |= {"rate_mm_per_year": -2.0, "rate_lower": -3.0, "rate_upper": -1.0}
        at["M2"] |= {"rate_mm_per_year": 0.5, "rate_lower": -0.4, "rate_upper": 1.4}
        at["M4"] |= {"measured": False, "rate_mm_per_year": None, "rate_lower": None, "rate_upper": None}
        rows["marks"][4]["retired_on"] = rows["movement"][-1]["visit_date"]

    drawing, view = face("moving", change)
    drawn = (("circle", "disc"), ("circle", "disc open"), ("path", "outward"), ("circle", "held"), ("path", "gone"))
    numbers = {kind: len(drawing.all(tag, kind)) for tag, kind in drawn}
    assert set(numbers.values()) == {1}
    assert [kind for kind, _ in face_legend(view)] == ["ring", "disc", "disc open", "outward", "held", "gone"]
    assert "M1  -0.08" in drawing.texts()
    (diamond,) = drawing.all("path", "outward")
    x, y = zip(*ends(diamond), strict=True)
    area = (max(x) - min(x)) * (max(y) - min(y)) / 2
    assert area == pytest.approx(2.0 / 3.175 * 3.14159 * 9.0**2, rel=0.03)


def test_left_and_right_are_named_and_a_return_wall_is_hatched():
    drawing, _ = face("moving", lambda rows: rows["walls"][0].update(right_end="free"))
    assert {"left end: held by a return wall", "right end: free"} <= set(drawing.texts())
    (cut,) = drawing.all("rect", "return")
    assert float(cut["x"]) < scale(drawing)[1]
    drawing, _ = face("moving", lambda rows: rows["walls"][0].update(left_end="", right_end=""))
    assert drawing.all("rect", "return") == []
    assert {"left end: not recorded", "right end: not recorded"} <= set(drawing.texts())


def test_the_map_in_words_gives_every_mark_its_place_and_rate():
    drawing, _ = face("moving after straps")
    assert drawing.desc.startswith(
        "Left end: held by a return wall. Right end: held by a return wall. Crack 48 1/16 in (1220.0 mm) above the "
        "floor. 6 straps of 2024-04-10. M1, 4 ft 11 1/16 in from the left, 4 ft 1/16 in up: 0.20 inch a year "
    )
    assert len(re.findall(r"M[1-5], ", drawing.desc)) == 5
    assert drawing.desc.count("inward") == 5


def test_a_mark_that_is_not_measured_is_hollow_and_bears_no_number():
    drawing, _ = face("nothing measured")
    assert len(drawing.all("circle", "held")) == 5
    assert drawing.all("circle", "disc") == drawing.all("circle", "ring") == []
    assert [words for words in drawing.texts() if words.startswith("M")] == [f"M{n}  –" for n in range(1, 6)]
    assert drawing.desc.count("not measured") == 5


def test_two_visits_show_no_rates_on_the_map():
    def change(rows):
        rows["wall_results"][0] |= {"visits": 2, "visits_all": 2}

    drawing, view = face("too early", change)
    assert len(drawing.all("circle", "held")) == 5
    assert [kind for kind, _ in face_legend(view)] == ["held"]


def test_a_wall_without_a_length_is_not_drawn():
    rows = states()["holding"]
    rows["walls"][0]["length_mm"] = None
    assert elevation(book_of({"holding": rows}).view(HOUSE, WALL_OF["holding"]), "f") == ""
