"""What a chart shows: movement less its level, the trend and its band."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import assess

from monitor.config import Settings
from monitor.terms import Method

SETTINGS = Settings()
PLACES = [
    (f"{r}{c}", x, z) for r, z in (("B", 300.0), ("M", 1220.0), ("T", 2100.0)) for c, x in enumerate((2000.0, 4500))
]
MONTHS = (0, 6, 12, 19, 24)
PHI = {mark: np.sin(np.pi * x / 9000) * (1 - abs(2 * z / 2440 - 1)) for mark, x, z in PLACES}


def shown(
    table: pd.DataFrame, events: list[dict[str, object]] = (), day: date = date(2024, 1, 1)
) -> tuple[pd.DataFrame, pd.DataFrame]:
    results = assess(
        table,
        invented.walls(["H1"]),
        invented.marks(["H1"], PLACES),
        invented.events([{"house": "H1"} | event for event in events]),
        SETTINGS,
        day,
    )
    return results["movement"], results["mark_results"]


def straight(method: Method, rate: float = 4.0) -> pd.DataFrame:
    """Readings without any error of a wall that bows at a steady rate, each visit's reference somewhere else."""
    when = invented.dates(date(2021, 1, 1), MONTHS)
    rows = []
    for visit, day in enumerate(when):
        years = (day - when[0]).days / 365.25
        for mark, x, _ in PLACES:
            stand = 0.0 if method == Method.STRING else 13.0 * visit + 0.003 * x * visit * (method == Method.PLUMB)
            rows.append({"house": "H1", "mark": mark, "visit_date": day, "method": str(method),
                         "deflection_mm": 20 + x / 1000 + PHI[mark] * rate * years + stand})  # fmt: skip
    return invented.readings(pd.DataFrame(rows))


@pytest.mark.parametrize("method", [Method.STRING, Method.PLUMB, Method.LASER])
def test_readings_without_error_lie_on_their_trend(method: Method) -> None:
    movement, marks = shown(straight(method))
    assert len(movement) == len(PLACES) * len(MONTHS)
    if method == Method.STRING:
        want = marks.set_index("mark")["rate_mm_per_year"]
        assert want.to_numpy() == pytest.approx([4 * PHI[mark] for mark in want.index], rel=0.2)
    assert (movement["deflection_mm"] - movement["trend_mm"]).abs().max() < 0.6
    first = movement[movement["visit_date"] == movement["visit_date"].min()]
    assert first[["trend_mm", "band_lower_mm", "band_upper_mm"]].abs().to_numpy().max() == 0


def test_trend_and_band_open_with_the_rate_and_its_bounds() -> None:
    table, _ = invented.grid(
        np.random.default_rng(4), ["H1"], PLACES, invented.dates(date(2021, 1, 1), MONTHS), rate=(4, 0, 0)
    )
    movement, marks = shown(table)
    both = movement.merge(marks, on=["house", "wall", "period", "mark"])
    years = (both["visit_date"] - both["visit_date"].min()).dt.days / 365.25
    for column, rate in (
        ("trend_mm", "rate_mm_per_year"),
        ("band_lower_mm", "rate_lower"),
        ("band_upper_mm", "rate_upper"),
    ):
        assert both[column].to_numpy() == pytest.approx((both[rate] * years).to_numpy(), rel=1e-9, abs=1e-12)


def test_deflections_differ_as_the_readings_of_a_string_do() -> None:
    table, _ = invented.grid(np.random.default_rng(4), ["H1"], PLACES, invented.dates(date(2021, 1, 1), MONTHS))
    twice = pd.concat([table, table.assign(deflection_mm=table["deflection_mm"] + 1, setup=2)], ignore_index=True)
    twice["reading_id"] = [f"{n:016x}" for n in range(len(twice))]
    movement, _ = shown(twice)
    mark = movement[movement["mark"] == "M1"].sort_values("visit_date")
    raw = table[table["mark"] == "M1"].sort_values("visit_date")["deflection_mm"].to_numpy() + 0.5
    assert np.diff(mark["deflection_mm"]) == pytest.approx(np.diff(raw))
    assert mark["readings"].tolist() == [2] * 5


def test_visits_in_the_take_up_window_are_shown_and_have_no_trend() -> None:
    table, _ = invented.grid(np.random.default_rng(4), ["H1"], PLACES, invented.dates(date(2021, 1, 1), MONTHS))
    movement, _ = shown(table, [{"event_date": "2021-06-20", "kind": "reinforcement"}])
    window = movement[~movement["counts"]]
    assert window["visit_date"].dt.strftime("%Y-%m-%d").unique().tolist() == ["2021-07-03"]
    assert window[["trend_mm", "band_lower_mm"]].isna().all(axis=None)
    assert window["deflection_mm"].notna().all()
    assert movement["period"].tolist() == sorted(movement["period"])


def test_without_a_line_movement_counts_from_the_first_value() -> None:
    table, _ = invented.grid(np.random.default_rng(4), ["H1"], PLACES, invented.dates(date(2021, 1, 1), (0, 1)))
    movement, _ = shown(table, [{"event_date": "2020-12-20", "kind": "reinforcement"}])
    assert not movement["counts"].any()
    m1, raw = movement[movement["mark"] == "M1"], table[table["mark"] == "M1"]["deflection_mm"].to_numpy()
    assert m1["deflection_mm"].to_numpy() == pytest.approx(raw - raw[0])


def test_held_readings_are_not_in_it() -> None:
    table, _ = invented.grid(np.random.default_rng(4), ["H1"], PLACES, invented.dates(date(2021, 1, 1), MONTHS))
    table.loc[table["mark"] == "M1", "state"] = "held"
    movement, _ = shown(table)
    assert "M1" not in set(movement["mark"])


def test_a_lost_mark_set_again_has_two_stretches_each_from_its_own_zero() -> None:
    table = straight(Method.STRING)
    later = (table["mark"] == "M1") & (table["visit_date"] > "2022-01-15")
    table.loc[later, "deflection_mm"] += 30
    movement, marks = shown(table, [{"event_date": "2022-01-15", "kind": "lost mark", "marks": "M1"}])
    m1 = movement[movement["mark"] == "M1"]
    assert m1["stretch"].tolist() == [0, 0, 0, 1, 1]
    assert (m1["deflection_mm"] - m1["trend_mm"]).abs().max() < 0.6
    assert marks.set_index("mark")["rate_mm_per_year"]["M1"] == pytest.approx(4 * PHI["M1"], rel=0.2)
