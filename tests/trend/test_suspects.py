"""Likely misreads in the assessment: held, named with the slip that explains them, and never hiding danger."""

from datetime import date
from fractions import Fraction

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import assess, build

from monitor.config import Settings
from monitor.lengths import parse
from monitor.trend import suspects
from monitor.trend.screening import Doubts, Outliers, Screened
from monitor.units import fraction_text

SETTINGS = Settings()
ROW = [(f"M{n}", x, 1220.0) for n, x in enumerate((1500.0, 3000, 4500, 6000, 7500))]
STANDOFF_MM = 76.2
Facts = dict[str, pd.DataFrame]


def wall(places=ROW, visits: int = 7, kind: str = "gap", seed: int = 5) -> pd.DataFrame:
    """A still wall by string, in sixteenths as typed: the stand-off less the deflection, or the deflection."""
    when = invented.dates(date(2020, 1, 1), range(0, 6 * visits, 6))
    rows, _ = invented.grid(np.random.default_rng(seed), ("H1",), places, when, season_mm=0.5)
    read = rows["deflection_mm"] if kind == "deflection" else STANDOFF_MM - rows["deflection_mm"]
    typed = [fraction_text(Fraction(round(mm / 25.4 * 16), 16)) for mm in read]
    return with_typed(rows.assign(kind=kind, unit="in", step_mm=invented.SIXTEENTH_MM), typed)


def with_typed(rows: pd.DataFrame, typed: list[str]) -> pd.DataFrame:
    mm = np.array([parse(text, "in").mm for text in typed])
    deflection = np.where(rows["kind"] == "deflection", mm, STANDOFF_MM - mm)
    return rows.assign(value_raw=typed, value_mm=mm, deflection_mm=deflection)


def misread(rows: pd.DataFrame, mark: str, visit: int, inches: Fraction) -> tuple[pd.DataFrame, int, str]:
    """The rows with what was typed for a mark at a visit wrong by that much; the row, and what was right."""
    day = sorted(set(rows["visit_date"]))[visit]
    (row,) = np.flatnonzero((rows["mark"] == mark) & (rows["visit_date"] == day))
    typed = rows["value_raw"].tolist()
    right = parse(typed[row], "in").inches
    assert right is not None
    typed[row] = fraction_text(right + inches)
    return with_typed(rows, typed), int(row), fraction_text(right)


def judged(rows: pd.DataFrame, places=ROW, day: date | None = None) -> Facts:
    facts = (invented.walls(["H1"]), invented.marks(["H1"], places), invented.events())
    return assess(rows, *facts, SETTINGS, day or rows["visit_date"].max().date())


def finding(results: Facts, rule: str = "readings held") -> pd.Series:
    return results["findings"].set_index("rule").loc[rule]


@pytest.mark.parametrize("kind", ["gap", "deflection"])
def test_a_misread_is_held_with_the_likely_slip_in_the_technician_s_own_words(kind: str) -> None:
    rows, row, right = misread(wall(kind=kind), "M2", 3, Fraction(1))
    found = judged(rows)["suspects"]
    assert found["reading_id"].tolist() == [rows["reading_id"].iloc[row]]
    one = found.iloc[0]
    assert (one["mark"], one["likely_raw"]) == ("M2", right)
    assert one["likely_mm"] == pytest.approx(parse(right, "in").mm)
    assert one["off_mm"] == pytest.approx(25.4 if kind == "deflection" else -25.4, abs=4)
    assert f"; {right} would fit where {rows['value_raw'].iloc[row]} is typed." in one["reason"]
    side = "further in" if kind == "deflection" else "further out"
    assert one["reason"].startswith("Mark M2 stands 15/16 in") or one["reason"].startswith("Mark M2 stands 1 ")
    assert side in one["reason"]


def test_thirteen_sixteenths_typed_for_three_are_named() -> None:
    rows = wall()
    typed = rows["value_raw"].tolist()
    day = sorted(set(rows["visit_date"]))[3]
    for number in np.flatnonzero(rows["mark"] == "M2"):  # a mark that always reads close to 2 3/16
        typed[number] = "2 3/16" if number % 2 else "2 1/4"
    (row,) = np.flatnonzero((rows["mark"] == "M2") & (rows["visit_date"] == day))
    typed[row] = "2 13/16"
    found = judged(with_typed(rows, typed))["suspects"]
    assert found["likely_raw"].tolist() == ["2 3/16"]


def test_a_misread_that_no_slip_explains_says_so() -> None:
    rows, _, _ = misread(wall(), "M2", 3, Fraction(-43, 64))
    one = judged(rows.assign(value_raw="?"))["suspects"].iloc[0]
    assert one["likely_raw"] == ""
    assert np.isnan(one["likely_mm"])
    assert one["reason"].endswith("; no usual slip explains it.")


def test_what_is_set_aside_enters_no_number_and_blocks_holding_until_it_is_ruled_on() -> None:
    clean = wall()
    rows, row, _ = misread(clean, "M2", 3, Fraction(1))
    without = judged(rows.assign(state=rows["state"].mask(rows.index == row, "rejected")))
    held = judged(rows)
    assert without["wall_results"]["verdict"].tolist() == ["holding"]
    assert held["wall_results"]["verdict"].tolist() == ["too early"]
    assert held["wall_results"]["readings_held"].tolist() == [1]
    assert "a ruling on 1 held reading" in held["wall_results"]["missing"].iloc[0]
    columns = ["rate_lower", "rate_upper", "scale", "log_evidence"]
    pd.testing.assert_frame_equal(held["wall_results"][columns], without["wall_results"][columns], rtol=1e-9)
    assert finding(held)["outcome"] == "yes"
    assert finding(without)["outcome"] == "no"


@pytest.mark.parametrize(
    ("inches", "urgency"),
    [(Fraction(1, 2), "same-day call"), (Fraction(3, 8), "confirming visit"), (Fraction(-1), "decision this month")],
)
def test_an_inward_outlier_of_the_newest_visit_hides_no_danger(inches: Fraction, urgency: str) -> None:
    """From 13 mm beyond the mark's last value: same day; from 6 mm: within 2 working days; outward: a ruling."""
    rows, row, _ = misread(wall(kind="deflection"), "M2", -1, inches + Fraction(1, 16) * (inches > 0))
    results = judged(rows)
    assert results["suspects"]["reading_id"].tolist() == [rows["reading_id"].iloc[row]]
    assert finding(results)["urgency"] == urgency
    assert ("within 2 working days" in finding(results)["next_step"]) == (urgency == "confirming visit")


def test_a_released_reading_is_used_again() -> None:
    rows, row, _ = misread(wall(), "M2", 3, Fraction(1))
    rows["reason_code"] = rows["reason_code"].mask(rows.index == row, "released")
    results = judged(rows)
    assert results["suspects"].empty
    assert results["wall_results"]["readings_held"].tolist() == [0]
    assert results["wall_results"]["readings_used"].tolist() == [len(rows)]


def test_with_one_mark_a_visit_the_outlier_stays_in_use_and_the_wall_is_looked_at_again() -> None:
    rows, _, _ = misread(wall(ROW[2:3]), "M2", 3, Fraction(-1))
    results = judged(rows, ROW[2:3])
    assert results["suspects"].empty
    one = results["wall_results"].iloc[0]
    assert (one["verdict"], one["readings_used"]) == ("look again", len(rows))
    assert "what else was read at its visit cannot tell a misread from a step of the wall" in one["reason"]
    assert one["missing"] == "A confirming visit with two set-ups."


def test_a_whole_visit_that_stands_apart_is_kept_and_asks_for_a_confirming_visit() -> None:
    rows = wall(kind="deflection")
    newest = rows["visit_date"] == rows["visit_date"].max()
    rows["deflection_mm"] += np.where(newest, -14.0, 0.0)
    results = judged(rows)
    assert results["suspects"].empty
    one = results["wall_results"].iloc[0]
    assert one["verdict"] == "look again"
    assert "all marks of the visit of 2023-01-01 stand apart together" in one["reason"]


def test_the_newest_doubt_is_told_and_one_reading_that_may_be_misread_is_known_whatever_is_told() -> None:
    """Two last rows of a wall, M3 and M4 of its newest visit, and one of the visit before; a second wall has none."""
    first, second = wall(), wall(seed=6).assign(house="H2")
    names = ["H1", "H2"]
    facts = (pd.concat([first, second]), invented.walls(names), invented.marks(names, ROW), invented.events())
    cases = build(*facts, SETTINGS.rules, date(2030, 1, 1))
    last = len(first) - 1
    no_outlier = Outliers(np.zeros(0, dtype=np.intp), *(np.zeros(0) for _ in range(3)))

    def told(*doubts: tuple[int, bool]) -> tuple[bool, str]:
        row, together = (np.array(column) for column in zip(*doubts, strict=True))
        found = suspects.doubts(cases, Screened(no_outlier, Doubts(row, together), []))
        columns = [found[name].to_pylist() for name in ("may_be_misread", "doubt")]
        assert [column[1] for column in columns] == [None, None]
        return columns[0][0], columns[1][0]

    day = first["visit_date"].max().date()
    whole = f"all marks of the visit of {day} stand apart together"
    misread_alone, text = told((last, True), (last - 1, True))
    assert (misread_alone, text.startswith(whole)) == (False, True)
    misread_alone, text = told((last - 6, False), (last, True))
    assert (misread_alone, text.startswith(whole)) == (True, True)
    misread_alone, text = told((last, False), (last - 1, False))
    assert (misread_alone, text.startswith(f"mark M4 of {day} stands apart")) == (True, True)


def test_a_misread_of_a_period_that_is_over_is_held_there() -> None:
    rows, row, _ = misread(wall(visits=12), "M2", 3, Fraction(1))
    facts = (
        invented.walls(["H1"]),
        invented.marks(["H1"], ROW),
        invented.events([{"house": "H1", "event_date": "2023-02-01", "kind": "reinforcement"}]),
    )
    results = assess(rows, *facts, SETTINGS, rows["visit_date"].max().date())
    assert results["suspects"][["period", "reading_id"]].values.tolist() == [[0, rows["reading_id"].iloc[row]]]
    assert results["wall_results"].set_index("period")["readings_held"].to_dict() == {0: 1, 1: 0}
