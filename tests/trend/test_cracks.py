"""Crack widths beside the bow: the hinge's geometry against published numbers, and what is and is not noted."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import assess

from monitor.config import Settings
from monitor.trend.cracks import opening_mm

INCH = 25.4
WHEN = invented.dates(date(2021, 1, 1), (0, 6, 12, 18, 24))


@pytest.mark.parametrize(("bow", "opening", "about"), [(2.0, 0.6672461, 0.6666667), (1.0, 0.3334057, 1 / 3)])
def test_a_wall_hinged_at_mid_height_opens_as_published(bow: float, opening: float, about: float) -> None:
    """Identity: height 96 in, thickness 8 in: theta = asin(2 d / h), opening 2 t tan theta, about 4 t d / h."""
    found = opening_mm(bow * INCH, 8 * INCH, 96 * INCH) / INCH
    assert found == pytest.approx(opening, abs=5e-8)
    assert found == pytest.approx(about, rel=1e-3)


def test_a_crack_off_the_middle_turns_its_shorter_leaf_more() -> None:
    """By hand: d = 10, t = 200, leaves 600 and 1800: 200 (tan asin 1/60 + tan asin 1/180)."""
    by_hand = 200 * (np.tan(np.arcsin(1 / 60)) + np.tan(np.arcsin(1 / 180)))
    assert opening_mm(10.0, 200.0, 2400.0, 600.0) == pytest.approx(by_hand, rel=1e-12)
    assert opening_mm(10.0, 200.0, 2400.0, 600.0) > opening_mm(10.0, 200.0, 2400.0)
    assert opening_mm(10.0, 200.0, 2400.0, 9999.0) == opening_mm(10.0, 200.0, 2400.0)
    assert opening_mm(-10.0, 200.0, 2400.0) == -opening_mm(10.0, 200.0, 2400.0)


def read(house: str, bow_mm: float, opened_mm: float | None, kept: slice = slice(None)) -> pd.DataFrame:
    """A wall whose middle comes in and whose crack there opens evenly over two years, read without errors."""
    share = np.arange(len(WHEN)) / (len(WHEN) - 1)
    rows = pd.concat(
        pd.DataFrame({"house": house, "visit_date": WHEN, "mark": mark, "deflection_mm": 20 + bow_mm * share * along})
        for mark, along in (("M1", 0.0), ("M3", 1.0), ("M5", 0.0))
    )
    rows["crack_width_mm"] = np.nan if opened_mm is None else 2 + opened_mm * np.tile(share, 3)
    unread = (rows["mark"] != "M3") | ~rows["visit_date"].isin(WHEN[kept])
    rows.loc[unread, "crack_width_mm"] = np.nan
    return rows


GO_TOGETHER = ((0.5, 1 / 16), (0.5, 1 / 8), (0.5, 1 / 6), (0.0, 0.0), (0.0, 1 / 32), (-0.5, -1 / 8), (1.0, 1 / 4))
APART = {
    (0.5, 0.0): "the mark came in by 1/2 in (12.7 mm) and the crack opened by 0 in (0.0 mm)",
    (0.5, -1 / 16): "the mark came in by 1/2 in (12.7 mm) and the crack closed by 1/16 in (1.6 mm)",
    (0.0, 1 / 8): "the mark came in by 0 in (0.0 mm) and the crack opened by 1/8 in (3.2 mm)",
    (3 / 8, 3 / 8): "the mark came in by 3/8 in (9.5 mm) and the crack opened by 3/8 in (9.5 mm)",
}


@pytest.fixture(scope="module")
def notes() -> dict[object, str]:
    """The notes on walls by (bow, opening) in inches, and on walls whose crack was never read, and read once."""
    walls = {pair: read(f"H{n}", *(INCH * inches for inches in pair)) for n, pair in enumerate([*GO_TOGETHER, *APART])}
    walls |= {"never": read("H90", 25.0, None), "once": read("H91", 25.0, 0.0, slice(2, 3))}
    names = [rows["house"].iloc[0] for rows in walls.values()]
    found = assess(
        invented.readings(pd.concat(walls.values(), ignore_index=True)),
        invented.walls(names),
        invented.marks(names, [("M1", 100.0, 1220.0), ("M3", 4500.0, 1220.0), ("M5", 8900.0, 1220.0)]),
        invented.events(),
        Settings(),
        date(2024, 1, 1),
    )["wall_results"].set_index("house")["crack_note"]
    return {key: found[name] for key, name in zip(walls, names, strict=True)}


@pytest.mark.parametrize("pair", GO_TOGETHER)
def test_what_a_hinge_can_do_is_not_noted(notes: dict[object, str], pair: tuple[float, float]) -> None:
    assert notes[pair] == ""


@pytest.mark.parametrize("pair", APART)
def test_bow_without_crack_and_crack_without_bow_are_noted(notes: dict[object, str], pair: tuple[float, float]) -> None:
    assert notes[pair].startswith("Bow and crack do not go together at mark M3: from 2021-01-01 to 2023-01-01 ")
    assert APART[pair] in notes[pair]


def test_no_width_or_only_one_says_nothing(notes: dict[object, str]) -> None:
    assert notes["never"] == notes["once"] == ""
