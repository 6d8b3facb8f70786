"""The engineer's page: every dot, the profile as read, residuals, the fit; well formed, quiet and dated."""

import re
from dataclasses import replace
from datetime import date
from itertools import combinations
from xml.etree import ElementTree

import pytest
from page_reader import Page
from test_pages import CAUTIONS
from written_book import HOUSE, WALL_OF, book_of, states

from monitor.report import names, pages, wording
from monitor.report.context import Book
from monitor.report.curves import curves
from monitor.report.dots import dots
from monitor.report.engineer_sheet import Model
from monitor.report.profile import profiles
from monitor.report.residual_plot import residual_plots, residual_table
from monitor.terms import Method

WALLS = [pytest.param(wall, id=state.replace(" ", "-")) for state, wall in WALL_OF.items()]

FIT = {
    "period": 0, "observations": 35, "fixed_effects": 6, "q": 20.0, "d": 29, "prior_scale": 1.0, "prior_dof": 15.0,
    "scale": 0.8, "dof": 44.0, "local_mm_per_year": 0.2, "summary": "rate bow   0.4000",
}  # fmt: skip


def left(mark: str, day: date, normalised: float | None, **changes: object) -> dict[str, object]:
    row = {
        "period": 0, "reading_id": f"{mark}{day}", "mark": mark, "visit_date": day, "part": "", "method": "string",
        "setup": 1, "deflection_mm": 20.0, "trend_mm": 18.5, "season_mm": 0.5, "wobble_mm": 0.1, "setup_mm": 0.4,
        "residual_mm": 0.5, "normalised": normalised,
    }  # fmt: skip
    return row | changes


def agreed(own: float, gls: float) -> dict[str, object]:
    return {"period": 0, "what": "M3", "own_mm_per_year": own, "own_se": 0.5, "gls_mm_per_year": gls, "gls_se": 0.5}


MODEL = Model(
    fits=[FIT],
    residuals=[
        left("M1", date(2023, 4, 10), 0.31),
        left("M3", date(2023, 4, 10), -6.2),
        left("M3", date(2023, 10, 10), None),
    ],
    agreement=[agreed(0.4, 0.4 + 1e-9)],
)  # fmt: skip


def page_of(book: Book, wall: str, model: Model = MODEL) -> Page:
    return Page(pages.engineer_page(book, HOUSE, wall, model))


@pytest.mark.parametrize("wall", WALLS)
def test_every_state_has_a_quiet_well_formed_page_that_bears_the_cautions(book: Book, wall: str) -> None:
    for model in (MODEL, Model()):
        page = page_of(book, wall, model)
        assert page.unclosed == []
        assert page.named("script") == []
        ids = [tag["id"] for _, tag in page.tags if "id" in tag]
        assert len(ids) == len(set(ids))
        links = [value for _, tag in page.tags for key, value in tag.items() if key in ("src", "href", "xlink:href")]
        assert links == [names.page_name(HOUSE, wall, "wall")]
        assert all(tag.get("aria-labelledby") for tag in page.named("svg") if tag.get("role") == "img")
        for table in page.tables:
            assert table.caption
            assert all(len(row) in (len(table.headers), 1) for row in table.rows)
        text = page.text
        for caution in CAUTIONS:
            assert caution in text
            text = text.replace(caution, " ")
        assert not re.search(r"\b(safe|stable|guaranteed|certified|permanent)\b", text.lower())


def test_what_the_assessment_says_stands_before_what_it_is_to_be_checked_against(book: Book) -> None:
    for state in ("moving", "jump"):
        row = book.view(HOUSE, WALL_OF[state]).current
        assert row is not None
        text = page_of(book, WALL_OF[state]).text
        said = text[text.index("What the assessment says, to be checked") : text.index("What is not seen")]
        step = wording.STEP_IN_RATE if state == "jump" else ""
        assert f"{row['verdict']}, before reinforcement{step} {row['reason']}" in said
        assert ("jump since the last visit, keep out, engineer now Mark M3 came in" in said) == (state == "jump")
    assert "nothing was judged" in page_of(book, WALL_OF["not read yet"]).text


def test_every_used_reading_is_a_dot_and_what_is_held_stands_hollow(book: Book) -> None:
    wall = WALL_OF["held reading"]
    view = book.view(HOUSE, wall)
    used = [row for row in view.readings if row["state"] == "used"]
    page = page_of(book, wall)
    small = [tag for tag in page.named("circle") if tag.get("r") == "2.6"]
    assert len(small) == len(used) == 34
    assert len([tag for tag in page.named("circle") if (tag.get("r"), tag.get("class")) == ("4", "held")]) >= 1
    assert "Received 35: 34 used, 1 held" in page.text
    (row,) = page.table("Readings not used").rows
    assert row[1] == "M3"
    assert "15.9 mm off" in row[5]


def test_dots_of_two_setups_at_one_visit_keep_their_distance_and_their_mean(book: Book) -> None:
    """Two readings 3 mm apart at one visit: the visit's mean is the movement's value, each dot 1.5 mm off it."""
    rows = states()["holding"]
    first = rows["readings"][0]
    again = first | {"reading_id": "again", "setup": 2, "deflection_mm": first["deflection_mm"] + 3}
    rows["readings"].append(again)
    made = book_of({"holding": rows})
    view = made.view(HOUSE, WALL_OF["holding"])
    found = [
        dot for dot in dots(made, view, curves(made, view), []) if (dot.mark, dot.day) == ("M1", first["visit_date"])
    ]
    moved = next(row["deflection_mm"] for row in view.movement if row["mark"] == "M1")
    assert [dot.deflection_mm for dot in found] == pytest.approx([moved - 1.5, moved + 1.5])


def test_a_setup_that_stands_anywhere_is_taken_off_its_readings(book: Book) -> None:
    """A laser placed 5 mm further off reads 5 mm more; with its offset taken off both dots stand alike."""
    rows = states()["holding"]
    first = rows["readings"][0]
    for part in ("readings", "movement"):
        rows[part] = [row | {"method": "laser"} for row in rows[part]]
    rows["readings"].append(
        first | {"method": "laser", "reading_id": "again", "setup": 2, "deflection_mm": first["deflection_mm"] + 5}
    )
    made = book_of({"holding": rows})
    view = made.view(HOUSE, WALL_OF["holding"])
    told = [
        left("M1", first["visit_date"], 0.0, method="laser", reading_id=number, setup_mm=mm)
        for number, mm in ((first["reading_id"], 1.0), ("again", 6.0))
    ]
    found = [
        dot for dot in dots(made, view, curves(made, view), told) if (dot.mark, dot.day) == ("M1", first["visit_date"])
    ]
    assert found[0].deflection_mm == pytest.approx(found[1].deflection_mm)


def test_the_profile_of_a_string_is_what_was_read_before_and_after_the_straps(book: Book) -> None:
    view = book.view(HOUSE, WALL_OF["moving after straps"])
    (profile,) = profiles(view)
    assert (profile.method, profile.is_column) == ("string", False)
    assert [style for style, _, _ in profile.lines] == ["first", "before", "after", "last"]
    at = {(row["mark"], row["visit_date"].isoformat()): row["deflection_mm"] for row in view.readings}
    for _, words, places in profile.lines:
        assert dict(places) == pytest.approx({1500.0 * n: at[f"M{n}", words[:10]] for n in range(1, 6)})


def _laid(method: str, places: dict[str, tuple[float, float]], values: dict[int, dict[str, float]]) -> Book:
    """A book of one wall with other marks, read by one method: values by set-up and mark, on one day."""
    rows = states()["holding"]
    mark, reading = rows["marks"][0], rows["readings"][0]
    rows["marks"] = [mark | {"mark": name, "x_mm": x, "z_mm": z} for name, (x, z) in places.items()]
    rows["readings"] = [
        reading | {"reading_id": f"{setup}{name}", "method": method, "setup": setup, "mark": name, "deflection_mm": mm}
        for setup, marks in values.items()
        for name, mm in marks.items()
    ]
    return book_of({"holding": rows})


def test_the_profile_of_a_plumb_line_is_against_the_lowest_mark_of_each_hanging() -> None:
    """By hand: hangings 40 mm apart, middle 20 and 22 mm in of the foot, top 5 and 7: the means are 21 and 6."""
    places = {"B": (3000.0, 200.0), "M": (3000.0, 1200.0), "T": (3000.0, 2100.0)}
    made = _laid(Method.PLUMB, places, {1: {"B": 10.0, "M": 30.0, "T": 15.0}, 2: {"B": -30.0, "M": -8.0, "T": -23.0}})
    (profile,) = profiles(made.view(HOUSE, WALL_OF["holding"]))
    assert profile.is_column
    assert dict(profile.lines[0][2]) == pytest.approx({200.0: 0.0, 1200.0: 21.0, 2100.0: 6.0})


def test_the_profile_of_a_laser_is_against_the_line_through_its_outermost_marks() -> None:
    """By hand: ends at 100 and 110 mm over 8 m; the mark at 4 m reads 125, 20 mm inward of the line's 105."""
    places = {"L": (500.0, 1200.0), "C": (4500.0, 1200.0), "R": (8500.0, 1200.0)}
    made = _laid(Method.LASER, places, {1: {"L": 100.0, "C": 125.0, "R": 110.0}})
    (profile,) = profiles(made.view(HOUSE, WALL_OF["holding"]))
    assert dict(profile.lines[0][2]) == pytest.approx({500.0: 0.0, 4500.0: 20.0, 8500.0: 0.0})


def test_residuals_stand_by_visit_and_mark_and_one_beyond_the_edge_bears_its_number(book: Book) -> None:
    table = residual_table(MODEL.residuals, ["M1", "M2", "M3"])
    assert table["marks"] == ["M1", "M3"]
    assert [row["cells"] for row in table["rows"]] == [["+0.3", "-6.2"], ["", "untested"]]
    page = page_of(book, WALL_OF["holding"])
    assert "M3, -6.2" in page.text
    assert page.table("What the fit makes").rows[0][3:] == ["20.00", "18.50", "0.50", "0.10", "0.40", "0.50", "+0.31"]


def test_names_of_far_residuals_do_not_lie_on_each_other() -> None:
    days = [date(2023, 10, 9), date(2025, 10, 10), date(2024, 2, 10), date(2025, 4, 8)]
    far = [left("T3", days[0], 3.03), left("T3", days[1], 2.91), left("T3", days[2], -2.53), left("T2", days[3], -2.7)]
    plots = residual_plots([*far, *(left(mark, days[0], 0.1) for mark in ("B2", "B3", "M2", "M3", "T4"))], "r")
    drawn = ElementTree.fromstring(plots[1]["chart"])
    names = [text for text in drawn.iter("text") if text.text in {day.isoformat() for day in days}]
    boxes = []
    for text in names:
        x, wide = float(text.attrib["x"]), 7.0 * len(text.text or "")
        start = x - wide if text.attrib["text-anchor"] == "end" else x
        boxes.append((start, start + wide, float(text.attrib["y"])))
    assert len(boxes) == 4
    for one, other in combinations(boxes, 2):
        apart = abs(one[2] - other[2]) >= 12 or one[1] <= other[0] or other[1] <= one[0]
        assert apart, (one, other)


def test_the_fit_stands_as_printed_and_a_disagreement_of_the_two_ways_is_said(book: Book) -> None:
    wall = WALL_OF["holding"]
    assert "Both ways agree to a millionth" in page_of(book, wall).text
    assert "rate bow 0.4000" in page_of(book, wall).text
    apart = replace(MODEL, agreement=[agreed(0.4, 0.4 + 1e-5)])
    assert "do not use this page" in page_of(book, wall, apart).text


def test_what_is_not_seen_follows_from_the_methods_in_use(book: Book) -> None:
    text = page_of(book, WALL_OF["holding"]).text
    assert "Not measured in the newest period: tip" in text
    assert "A string hangs on the wall itself" in text
    assert "A plumb line hangs" not in text


def test_the_page_says_what_it_was_made_from(book: Book) -> None:
    page = page_of(book, WALL_OF["holding"])
    for part in ("Judged for 2026-04-30", "5" * 64, "f" * 64, "0.0.1", "data known until 2026-04-30 17:00 UTC"):
        assert part in page.text
