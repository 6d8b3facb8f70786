"""The mark that speaks for a wall: not a held corner, not one that is no longer read, and by its own method."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import assess

from monitor.config import Settings
from monitor.terms import Method

MONTHS = (0, 6, 12, 18, 24)
PLACES = [("C1", 80.0, 1220.0), ("M1", 1500.0, 1220.0), ("M2", 4500.0, 1220.0), ("C2", 8920.0, 1220.0)]
LAST = date(2023, 1, 1)


def told(mm_per_year: dict[str, float], *, lost: tuple[str, ...] = (), method: Method = Method.STRING) -> pd.DataFrame:
    """Noiseless readings of marks that move at these rates; the lost ones are not read at the last visit."""
    when = invented.dates(date(2021, 1, 1), MONTHS)
    table = invented.grid(np.random.default_rng(1), ["H1"], PLACES, when, method)[0]
    years = (table["visit_date"] - table["visit_date"].min()).dt.days / 365.25
    table = table.assign(deflection_mm=20.0 + years * table["mark"].map(mm_per_year))
    return table[~(table["mark"].isin(lost) & (table["visit_date"] == table["visit_date"].max()))]


def wall(table: pd.DataFrame, **ends: str) -> tuple[pd.Series, pd.DataFrame]:
    results = assess(
        table, invented.walls(["H1"]).assign(**ends), invented.marks(["H1"], PLACES), invented.events(), Settings(),
        date(2023, 3, 1), ahead=False,
    )  # fmt: skip
    return results["wall_results"].iloc[0], results["mark_results"].set_index("mark")


STILL = {"C1": 0.6, "M1": 0.0, "M2": 0.5, "C2": 0.6}


def test_a_held_corner_does_not_speak_for_a_still_wall_but_its_bound_counts_for_the_pair() -> None:
    found, marks = wall(told(STILL))
    assert marks["rate_mm_per_year"].idxmax() in ("C1", "C2")
    assert found["governing_mark"] == "M2"
    assert found["rate_mm_per_year"] == marks.loc["M2", "rate_mm_per_year"]
    assert found["rate_upper"] == pytest.approx(marks["rate_upper"].max(), rel=1e-12)


def test_a_corner_that_nothing_holds_may_speak() -> None:
    assert wall(told(STILL), right_end="free")[0]["governing_mark"] == "C2"


def test_a_mark_that_is_no_longer_read_does_not_speak_and_a_read_corner_comes_last() -> None:
    moving = {"C1": 0.0, "M1": 0.4, "M2": 0.9, "C2": 0.0}
    assert wall(told(moving))[0]["governing_mark"] == "M2"
    assert wall(told(moving, lost=("M2",)))[0]["governing_mark"] == "M1"
    assert wall(told(moving, lost=("M1", "M2")))[0]["governing_mark"] == "M2"


@pytest.mark.parametrize("more", [1, 4])
def test_the_method_is_that_of_the_mark_that_speaks(more: int) -> None:
    """A plumb line at the corners has most readings of the newest visit; the wall's rate comes from the string."""
    string = told({"C1": 0.0, "M1": 0.4, "M2": 0.9, "C2": 0.0})
    string = string[string["mark"].isin(["M1", "M2"])]
    plumb = told(dict.fromkeys(STILL, 0.0), method=Method.PLUMB)
    plumb = pd.concat([plumb[plumb["mark"].isin(["C1", "C2"])].assign(setup=n) for n in range(1, more + 1)])
    both = pd.concat([string, plumb], ignore_index=True)
    both["reading_id"] = [f"r{number}" for number in range(len(both))]
    found, _ = wall(both)
    assert (found["governing_mark"], found["method"]) == ("M2", "string")
