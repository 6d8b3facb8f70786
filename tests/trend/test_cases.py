"""What becomes a period, a stretch, a set-up, a visit, and what counts."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from by_frames import build, rows_of, table_of

from monitor.config import Rules
from monitor.errors import TrendError
from monitor.trend.cases import Cases
from monitor.trend.columns import dates, days

MARKS = [("M1", 3000.0, 1220.0), ("M2", 6000.0, 1220.0), ("T1", 3000.0, 2130.0)]


def cases(rows: list[dict[str, object]], events: list[dict[str, object]] = (), rules: Rules | None = None) -> Cases:
    given = pd.DataFrame([{"house": "H1", "mark": "M1", "deflection_mm": 10.0} | row for row in rows])
    return build(
        invented.readings(given),
        invented.walls(["H1"]),
        invented.marks(["H1"], MARKS),
        invented.events([{"house": "H1"} | event for event in events]),
        rules or Rules(),
        date(2024, 1, 1),
    )


def column(found: Cases, name: str) -> list[object]:
    return rows_of(found)[name].tolist()


def on(*when: str, **more: object) -> list[dict[str, object]]:
    return [{"visit_date": day} | more for day in when]


def test_days_and_dates_are_each_others_inverse() -> None:
    when = pa.array([date(1969, 12, 31), date(2024, 2, 29), None])
    assert days(when).tolist()[:2] == [-1, 19782]
    assert dates(days(when)).equals(when)


def test_reinforcement_starts_a_period_and_the_visits_word_outranks_its_date() -> None:
    work = {"event_date": "2022-06-01", "kind": "reinforcement"}
    rows = on("2022-05-31") + on("2022-06-01", part="before") + on("2022-06-01", part="after") + on("2022-12-01")
    found = cases(rows, [work])
    assert column(found, "period") == [0, 0, 1, 1]
    assert column(found, "stretch") == [0, 0, 1, 1]
    assert table_of(found)["is_current"].tolist() == [False, True]
    assert table_of(found)["started_on"].dt.strftime("%Y-%m-%d").tolist() == ["2022-05-31", "2022-06-01"]


def test_without_the_word_a_reading_of_the_day_counts_as_after_the_work_and_so_for_no_rate() -> None:
    found = cases(on("2022-01-01", "2022-06-01"), [{"event_date": "2022-06-01", "kind": "reinforcement"}])
    assert column(found, "period") == [0, 1]
    assert column(found, "counts") == [True, False]


def test_the_take_up_window_lasts_the_days_of_the_rules() -> None:
    work = {"event_date": "2022-06-01", "kind": "reinforcement"}
    rows = on("2022-05-01") + on("2022-06-01", part="after") + on("2022-08-29", "2022-08-30")
    assert column(cases(rows, [work]), "counts") == [True, False, False, True]
    assert column(cases(rows, [work], Rules(take_up_days=0)), "counts") == [True] * 4
    found = cases(rows, [work])
    assert table_of(found)["visits"].tolist() == [1, 1]
    assert table_of(found)["visits_all"].tolist() == [1, 3]


def test_two_reinforcements_make_three_periods_and_two_of_one_day_make_one() -> None:
    work = [{"event_date": day, "kind": "reinforcement"} for day in ("2021-01-01", "2022-01-01", "2022-01-01")]
    assert column(cases(on("2020-01-01", "2021-06-01", "2022-06-01"), work), "period") == [0, 1, 2]


@pytest.mark.parametrize("kind", ["surface work", "reference change", "lost mark"])
def test_work_on_named_marks_starts_a_stretch_of_those_alone(kind: str) -> None:
    rows = on("2022-01-01", "2022-12-01") + on("2022-01-01", "2022-12-01", mark="M2")
    named = cases(rows, [{"event_date": "2022-06-01", "kind": kind, "marks": "M2 T1"}])
    by_mark = rows_of(named).groupby("mark")["stretch"].apply(list).to_dict()
    assert by_mark == {"M1": [0, 0], "M2": [0, 1]}
    everywhere = cases(rows, [{"event_date": "2022-06-01", "kind": kind}])
    assert rows_of(everywhere).groupby("mark")["stretch"].apply(list).to_dict() == {"M1": [0, 1], "M2": [0, 1]}


@pytest.mark.parametrize(("kind", "stretches"), [("straightening", [0, 1]), ("digging", [0, 0]), ("drainage", [0, 0])])
def test_straightening_breaks_all_levels_and_digging_none(kind: str, stretches: list[int]) -> None:
    found = cases(on("2022-01-01", "2022-12-01"), [{"event_date": "2022-06-01", "kind": kind, "marks": "M2"}])
    assert column(found, "stretch") == stretches
    assert column(found, "period") == [0, 0]


def test_methods_have_levels_of_their_own_and_may_share_a_day() -> None:
    rows = on("2022-01-01", "2022-07-01") + on("2022-07-01", "2023-01-01", method="laser")
    found = cases(rows, [{"event_date": "2022-07-01", "kind": "method change", "method": "laser"}])
    assert column(found, "stretch") == [0, 0, 1, 1]
    assert column(found, "period") == [0] * 4
    assert table_of(found)["visits"].tolist() == [3]
    assert table_of(found)["method"].tolist() == ["laser"]


def test_a_change_to_the_same_method_breaks_its_level() -> None:
    event = {"event_date": "2022-06-01", "kind": "method change", "method": "string"}
    assert column(cases(on("2022-01-01", "2022-12-01"), [event]), "stretch") == [0, 1]


def test_a_set_up_is_a_row_of_a_string_a_column_of_a_plumb_line_else_the_typed_one() -> None:
    def setups(method: str, setup: int = 1) -> int:
        rows = [{"visit_date": "2022-01-01", "mark": mark, "method": method, "setup": setup} for mark, _, _ in MARKS]
        return rows_of(cases(rows))["setup"].nunique()

    assert {method: setups(method) for method in ("string", "plumb", "laser", "meter")} == {
        "string": 2,
        "plumb": 2,
        "laser": 1,
        "meter": 1,
    }


def test_named_rows_outrank_heights() -> None:
    marks = invented.marks(["H1"], MARKS).assign(row=["upper", "lower", "upper"])
    rows = pd.DataFrame(
        [{"house": "H1", "mark": m, "visit_date": "2022-01-01", "deflection_mm": 1.0} for m, _, _ in MARKS]
    )
    found = rows_of(
        build(invented.readings(rows), invented.walls(["H1"]), marks, invented.events(), Rules(), date(2024, 1, 1))
    ).set_index("mark")
    assert found.loc["M1", "setup"] == found.loc["T1", "setup"] != found.loc["M2", "setup"]


def test_two_typed_set_ups_of_a_visit_are_one_visit() -> None:
    found = cases(on("2022-01-01", setup=1) + on("2022-01-01", setup=2))
    assert rows_of(found)["setup"].nunique() == 2
    assert rows_of(found)["visit"].nunique() == 1


def test_only_used_readings_up_to_the_day_enter_and_held_ones_are_counted() -> None:
    rows = on("2022-01-01") + on("2022-02-01", state="held") + on("2022-03-01", state="rejected") + on("2025-01-01")
    found = cases(rows)
    assert len(rows_of(found)) == 1
    assert table_of(found)[["readings_used", "readings_held", "visits_all"]].iloc[0].tolist() == [1, 1, 1]


def test_a_held_reading_without_a_date_is_counted_in_the_newest_period() -> None:
    work = {"event_date": "2022-06-01", "kind": "reinforcement"}
    found = cases(on("2022-01-01") + on(None, state="held"), [work])
    assert table_of(found)["readings_held"].tolist() == [0, 1]


def test_a_registered_wall_without_readings_has_a_case() -> None:
    found = cases(on("2022-01-01", state="rejected"))
    assert table_of(found)[["period", "visits", "is_current"]].iloc[0].tolist() == [0, 0, True]


@pytest.mark.parametrize("wrong", [{"deflection_mm": np.nan}, {"method": "sonar"}, {"visit_date": None}])
def test_a_used_reading_that_cannot_enter_is_named_with_its_mend(wrong: dict[str, object]) -> None:
    with pytest.raises(TrendError, match=r"H1-N.*mark M1.*Reject or correct the reading 0000000000000001"):
        cases([{"visit_date": "2022-01-01"}, {"visit_date": "2022-02-01"} | wrong])
