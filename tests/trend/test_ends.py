"""Ends that are not still: simulated corners of known truth, the string's share by hand, cracks, and the verdict."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import assess
from true_walls import LENGTH_MM, ROW, SDS, Told, day

from monitor.config import Settings
from monitor.simulate import Amount, Geometry, Motion, Setup, Spot, Stage, Visit, simulate
from monitor.terms import LengthUnit, Method, Verdict

CORNERS = [
    Spot(f"{row}{n}", x, z, row, str(n))
    for row, z in (("T", 2130.0), ("B", 200.0))
    for n, x in ((1, 90.0), (5, 8910.0))
]
MONTHS = (0, 6, 12, 18, 24, 30, 36)


def told(count: int, *, left: float, right: float = 0.0, bow: float = 2.0, plumb_every: int = 1) -> Told:
    """Walls with a string row M and a plumb line at both ends; left, right: mm/yr of that corner at its top."""
    names = [f"H{n:03d}" for n in range(count)]
    rows = []
    spots = [*ROW, *CORNERS]
    for number, name in enumerate(names):
        rng = np.random.default_rng([41, number])
        motion = Motion(
            [Stage(day(0), Amount(bow=bow), 0.8)],
            Amount(bow=20.0),
            left_end_mm_per_year=left,
            right_end_mm_per_year=right,
            season_peak=float(rng.random()),
        )
        visits = [_visit(month, number % plumb_every == 0) for number, month in enumerate(MONTHS)]
        found = simulate(name, "N", Geometry(LENGTH_MM), motion, spots, visits, rng, wobble_mm=0.3)
        rows += [
            {
                "house": name,
                "visit_date": row.visit_date,
                "method": row.method,
                "setup": int(row.setup),
                "mark": row.mark,
                "deflection_mm": 90.0 - float(row.value),
                "step_mm": 1.0,
            }
            for row in found.rows
        ]
    marks = invented.marks(names, [(spot.mark, spot.x_mm, spot.z_mm) for spot in spots])
    walls = invented.walls(names, length_mm=LENGTH_MM)
    return Told(invented.readings(pd.DataFrame(rows)), walls, marks, invented.events(), pd.DataFrame())


def _visit(month: float, with_plumb: bool) -> Visit:
    string = Setup(Method.STRING, [s.mark for s in ROW], SDS[Method.STRING], "S", 90.0, unit=LengthUnit.MM)
    lines = [
        Setup(Method.PLUMB, [f"T{n}", f"M{n}", f"B{n}"], SDS[Method.PLUMB], "P", 90.0, unit=LengthUnit.MM)
        for n in (1, 5)
    ]
    return Visit(day(month), "T1", [string, *(lines if with_plumb else [])])


def judged(facts: Told) -> pd.DataFrame:
    results = assess(facts.readings, facts.walls, facts.marks, facts.events, Settings(), date(2022, 4, 1))
    return results["wall_results"]


def test_a_corner_that_tips_in_is_found_and_the_strings_share_told() -> None:
    """The left end moves 2 mm/yr at mid-height, so M3's string tells 1 mm/yr too little: by plumb, T1 against B1."""
    found = judged(told(30, left=4.0))
    assert (found["ends_note"].str.contains("The left end is not still: its plumb line shows T1 moving")).mean() >= 0.95
    assert not found["ends_note"].str.contains("The right end").any()
    noted = found[found["ends_note"].str.contains("the rate of mark M3 about")]
    hidden = noted["ends_note"].str.extract(r"M3 about (\S+) inch a year too low")[0].astype(float) * 25.4
    truth = 4.0 * (1220 - 200) / 2440 / 2
    assert hidden.mean() == pytest.approx(truth, abs=3 * hidden.std() / np.sqrt(len(hidden)) + 0.02)
    assert len(noted) > 15


def test_a_wall_with_a_moving_end_is_never_called_holding() -> None:
    found = judged(told(20, left=4.0, bow=0.0))
    moved = found[found["ends_note"] != ""]
    assert len(moved) >= 18
    assert set(moved["verdict"]) <= {Verdict.LOOK_AGAIN, Verdict.MOVING}
    assert moved["reason"].str.contains("its left end is not still").all()
    still = judged(told(20, left=0.0, bow=0.0))
    assert (still["verdict"] == Verdict.HOLDING).any()


@pytest.mark.parametrize("bow", [0.0, 6.0])
def test_still_ends_are_not_said_to_move(bow: float) -> None:
    """Each of two ends is judged by two marks at one-sided 95 %, and by more than half a millimetre a year."""
    assert (judged(told(60, left=0.0, bow=bow))["ends_note"] != "").mean() <= 0.05


def test_a_corner_that_tips_out_makes_the_string_tell_too_much_and_both_ends_add_up() -> None:
    [row] = judged(told(1, left=-6.0))["ends_note"]
    assert "too high" in row
    [row] = judged(told(1, left=6.0, right=6.0))["ends_note"]
    assert "The left end is not still" in row
    assert "The right end is not still" in row
    assert "the string, which stands on them, tells the rate of mark M3 about 0.10 inch a year too low" in row


def test_two_visits_of_a_plumb_line_show_no_end_to_move() -> None:
    facts = told(1, left=8.0)
    plumb = facts.readings["method"] == "plumb"
    early = facts.readings["visit_date"].isin(sorted(set(facts.readings["visit_date"]))[:2])
    facts = Told(facts.readings[~plumb | early], facts.walls, facts.marks, facts.events, facts.truth)
    assert judged(facts)["ends_note"].tolist() == [""]


def test_an_end_column_of_which_no_height_is_known_has_no_base_and_says_nothing() -> None:
    facts = told(1, left=8.0)
    assert "The left end is not still" in judged(facts)["ends_note"].item()
    bare = facts.marks.assign(z_mm=facts.marks["z_mm"].where(facts.marks["x_mm"] > 100))
    assert judged(Told(facts.readings, facts.walls, bare, facts.events, facts.truth))["ends_note"].tolist() == [""]


@pytest.mark.parametrize(("opened", "said"), [(3.0, True), (0.5, False), (-3.0, False)])
def test_a_crack_that_opens_at_an_end_says_so(opened: float, said: bool) -> None:
    facts = told(1, left=0.0)
    dates = sorted(set(facts.readings["visit_date"]))
    width = facts.readings["visit_date"].map({dates[0]: 1.0, dates[-1]: 1.0 + opened})
    at_end = facts.readings["mark"].eq("M5") & facts.readings["method"].eq("string")
    readings = facts.readings.assign(crack_width_mm=width.where(at_end))
    [row] = judged(Told(readings, facts.walls, facts.marks, facts.events, facts.truth)).to_dict("records")
    words = "The right end is not still: the crack at M5 opened by 1/8 in from 2019-03-11 to 2022-03-11."
    assert row["ends_note"] == (words if said else "")
    assert ("the crack at its right end opens" in row["reason"]) == said
