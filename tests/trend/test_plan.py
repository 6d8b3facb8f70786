"""What planned visits would show: against the dense fit of the extended readings, by laws, and by simulation."""

from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import invented
import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from by_frames import assess, build, table_of, tables
from result_rows import table
from scipy import stats

from monitor import schema
from monitor.config import Settings, Variances
from monitor.pipeline.frames import frame
from monitor.terms import Method, Movement
from monitor.trend import chances, designs, outlook, plan, planned, reference
from monitor.trend.blocks import Packer
from monitor.trend.cases import Cases, cases_of
from monitor.trend.coded import Coded, coded
from monitor.trend.portfolio import parts

SETTINGS = Settings()
ROW = [(f"M{n}", x, 1220.0) for n, x in enumerate((2250.0, 4500.0, 6750.0), start=1)]
NINE = [
    (f"{row}{n}", x, z)
    for row, z in (("B", 300.0), ("M", 1250.0), ("T", 2100.0))
    for n, x in enumerate((1500.0, 4400.0, 7000.0), start=1)
]
DAY = date(2024, 2, 1)
Facts = tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]


def facts(
    places: list[tuple[str, float, float]] = ROW,
    method: Method = Method.STRING,
    *,
    months: tuple[float, ...] = (0, 6, 12),
    count: int = 2,
    seed: int = 3,
    rate: tuple[float, float, float] = (0, 0, 0),
    straps: bool = True,
) -> Facts:
    """Walls reinforced in September 2022 and read from January 2023 on."""
    names = [f"H{number:03d}" for number in range(count)]
    when = invented.dates(date(2023, 1, 10), months)
    table, _ = invented.grid(np.random.default_rng(seed), names, places, when, method, rate=rate, local_share=0.0)
    work = [{"house": name, "event_date": "2022-09-01", "kind": "reinforcement"} for name in names if straps]
    return table, invented.walls(names), invented.marks(names, places), invented.events(work)


@dataclass(frozen=True)
class Looked:
    """Facts of a day by number, their cases, what is known of them, and the days of the visits to come."""

    facts: Coded
    cases: Cases
    known: planned.Known
    ahead: pa.Table

    def futures(self, settings: Settings = SETTINGS) -> list[planned.Future]:
        """The cases with their planned visits, block by block."""
        return list(planned.futures(self.cases, self.known, self.facts, self.ahead, settings))


def looked(given: Facts, day: date = DAY, settings: Settings = SETTINGS, *, fit: bool = True) -> Looked:
    """fit: whether anything is known of the residual scale of the walls."""
    facts = coded(*tables(*given), day)
    cases = cases_of(facts, settings.rules)
    known = planned.Known.nothing(cases, settings.variances)
    for part in parts(cases, settings.variances) if fit else ():
        known.learn(part, np.ones(len(part.cases), dtype=bool))
    walls = tables(*given)[1]
    return Looked(facts, cases, known, planned.planned_days(pa.table(cases.told()), walls, day, settings.rules))


def seen_ahead(given: Facts, settings: Settings = SETTINGS) -> planned.Future:
    """The (single) block of planned visits of the walls."""
    (future,) = looked(given, settings=settings).futures(settings)
    return future


def told(given: Facts, day: date = DAY, settings: Settings = SETTINGS) -> pd.DataFrame:
    """The outlook of the walls."""
    seen = looked(given, day, settings)
    return frame(outlook.outlook(seen.cases, seen.known, seen.facts, seen.ahead, settings))


def with_visits(readings: pd.DataFrame, days: list[date], *, setups: int = 1) -> pd.DataFrame:
    """The readings with the last visit's repeated on more days, the first of them with so many set-ups, all of 7 mm."""
    last = readings[readings["visit_date"] == readings["visit_date"].max()]
    more = [
        last.assign(visit_date=pd.Timestamp(day), deflection_mm=7.0, setup=setup + 1)
        for number, day in enumerate(days)
        for setup in range(setups if number == 0 else 1)
    ]
    whole = pd.concat([readings, *more], ignore_index=True)
    return whole.assign(reading_id=[f"{number:016x}" for number in range(len(whole))])


@pytest.mark.parametrize(
    ("places", "method"), [(ROW, Method.STRING), (NINE, Method.STRING), (NINE, Method.PLUMB), (ROW, Method.LASER)]
)
@pytest.mark.parametrize(("visits", "setups"), [(1, 1), (1, 2), (3, 1)])
def test_the_standard_error_with_planned_visits_is_that_of_the_dense_fit_of_the_extended_readings(
    places: list[tuple[str, float, float]], method: Method, visits: int, setups: int
) -> None:
    given = facts(places, method, months=(0, 5, 9, 12))
    seen = looked(given)
    (future,) = seen.futures()
    local = planned.local_variance(SETTINGS.variances, np.zeros(2))
    fit = future.fit(np.full(2, visits), local, twice=setups == 2)
    days = frame(seen.ahead)
    own = days.loc[days["house"] == "H000", "visit_on"].dt.date.tolist()[:visits]
    longer = with_visits(given[0], own, setups=setups)
    extended = build(longer, *given[1:], SETTINGS.rules, own[-1])
    names = table_of(extended)
    case = int(names.index[names["house"] == "H000"][0])

    components = [Movement.BOW, Movement.TIP] if method == Method.PLUMB else list(Movement)
    dense = reference.dense(extended, [case], SETTINGS.variances, {case: float(local[0])}, components)
    assert fit.mark_measured[0, : len(places)].all()
    np.testing.assert_allclose(fit.mark_se[0, : len(places)], dense.mark_se, rtol=1e-8)


@pytest.mark.parametrize("method", [Method.STRING, Method.METER])
@pytest.mark.parametrize(("places", "months"), [(ROW, (0,)), (ROW, (0, 6, 12)), (NINE, (0, 2, 9, 11))])
def test_complete_walls_tell_by_the_short_way_what_they_tell_as_any_others(
    places: list[tuple[str, float, float]],
    months: tuple[float, ...],
    method: Method,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    given = facts(places, method, months=months)
    assert [type(future.design) for future in looked(given).futures()] == [designs.Short]
    short = told(given)
    monkeypatch.setattr(Packer, "complete", property(lambda self: np.zeros(len(self.sizes), dtype=bool)))
    assert [type(future.design) for future in looked(given).futures()] == [designs.Laid]
    pd.testing.assert_frame_equal(short, told(given), rtol=1e-8)


def test_what_planned_visits_show_does_not_depend_on_the_readings_values() -> None:
    """At a residual scale that is known (its prior outweighs the readings), other readings give the same outlook."""
    sure = Settings(variances=Variances(scale_dof=1e9))
    one, other = (
        told(facts(NINE, seed=seed, rate=rate), settings=sure) for seed, rate in ((3, (0, 0, 0)), (8, (5, 2, 0)))
    )
    pd.testing.assert_frame_equal(one, other, rtol=1e-6)


def test_more_visits_never_widen_and_a_second_set_up_does_not_either() -> None:
    future = seen_ahead(facts(NINE, Method.PLUMB))
    local = planned.local_variance(SETTINGS.variances, np.zeros(2))
    ses = [future.fit(np.full(2, visits), local).mark_se for visits in range(1, planned.HORIZON + 1)]
    assert all((later < before).all() for before, later in pairwise(ses))
    assert (future.fit(np.ones(2, dtype=np.intp), local, twice=True).mark_se < ses[0]).all()


def test_a_second_set_up_takes_away_what_the_set_ups_share_of_the_error_leaves_it_to() -> None:
    """Nothing but set-up errors: two set-ups at the last visit are half its variance.

    One mark, visits at t and weights 1, 1, 1, 2 against 1, 1, 1, 1: the exact errors of weighted least squares.
    """
    quiet = Variances(season_mm=0.0, wobble_mm=0.0, local_mm_per_year=0.0, local_share=0.0)
    settings = Settings(variances=quiet)
    given = facts([("M1", 4500.0, 1220.0)], straps=False)
    future = seen_ahead(given, settings=settings)
    years = future.day[0, :4] / 365.25

    def error(last: float) -> float:
        weight = np.array([1, 1, 1, last])
        mean = (weight * years).sum() / weight.sum()
        return float((weight * (years - mean) ** 2).sum() ** -0.5)

    assert told(given, settings=settings)["second_setup_gain"].iloc[0] == pytest.approx(
        1 - error(2) / error(1), rel=1e-6
    )


def test_the_layout_is_that_of_the_latest_full_visit_with_each_mark_once() -> None:
    readings, *others = facts(months=(0, 6, 12), count=1)
    partial = readings.drop(
        readings.index[(readings["visit_date"] == readings["visit_date"].max()) & (readings["mark"] != "M1")]
    )
    again = partial[partial["visit_date"] == partial["visit_date"].unique()[1]].assign(setup=2)
    readings = pd.concat(
        [partial, again.assign(reading_id=[f"again{n}" for n in range(len(again))])], ignore_index=True
    )
    future = seen_ahead((readings, *others))
    assert isinstance(future.design, designs.Laid)
    first = future.design.block.weight[0, future.now[0]]
    assert (first > 0).sum() == 3
    assert future.planned[0] == planned.HORIZON


def test_a_mark_that_is_given_up_is_not_planned_and_its_heir_is() -> None:
    readings, walls, marks, events = facts(count=1)
    marks.loc[marks["mark"] == "M2", "retired_on"] = pd.Timestamp("2024-01-20")
    heir = marks[marks["mark"] == "M2"].assign(mark="M2b", replaces="M2", retired_on=pd.NaT)
    for register, expected in ((marks, {"M1", "M3"}), (pd.concat([marks, heir]), {"M1", "M2b", "M3"})):
        cases = build(readings, walls, register, events, SETTINGS.rules, DAY)
        full = planned._full_visit(cases, np.ones(len(cases.rows), dtype=bool))
        assert set(cases.marks.name.take(pa.array(planned._standing(cases, full)[1])).to_pylist()) == expected


def test_a_visit_in_the_take_up_window_shows_nothing_and_later_ones_count() -> None:
    names = ["H000"]
    readings = facts(count=1)[0].assign(visit_date=lambda t: t["visit_date"] + pd.Timedelta(days=0))
    readings = readings[readings["visit_date"] == readings["visit_date"].min()].copy()
    readings["visit_date"] = pd.Timestamp("2023-01-10")
    walls = invented.walls(names).assign(visit_months="1 5 6 6")
    work = invented.events([{"house": "H000", "event_date": "2023-01-01", "kind": "reinforcement"}])
    found = told((readings, walls, invented.marks(names, ROW), work), date(2023, 1, 15)).iloc[0]
    assert not found["next_counts"]
    assert np.isnan(found["smallest_rate_mm_per_year"])
    assert found["holding_chance"] == 0
    assert found["holding_from"] > pd.Timestamp("2024-06-01")


COUNT = 300
ONE = np.ones(COUNT, dtype=np.intp)


def at_first_sight(count: int = COUNT) -> planned.Future:
    """Walls with three visits and planned ones, whose residual scale nothing is known of yet."""
    (future,) = looked(facts(NINE, count=count), fit=False).futures()
    return future


def after(future: planned.Future, visits: int, rate: float, seed: int) -> dict[str, pd.DataFrame]:
    """The walls drawn anew and judged after so many planned visits, their leading mark moving at that rate."""
    when = pd.to_datetime(future.day[0, : future.now[0] + visits], unit="D").tolist()
    names = [f"H{number:03d}" for number in range(COUNT)]
    seen = (1 - abs(2 * 1250 / 2440 - 1)) * np.sin(np.pi * 4400 / 9000)
    drawn, _ = invented.grid(
        np.random.default_rng(seed), names, NINE, when, rate=(rate / seen, 0, 0), local_mm_per_year=0.0, local_share=0.0
    )
    return assess(drawn, *facts(NINE, count=COUNT)[1:], SETTINGS, when[-1].date(), ahead=False)


def within(hits: int, share: float) -> bool:
    """Whether so many of the walls are what a share of them would bring, 1 in 1000 left out on either side."""
    return bool(stats.binom.ppf(0.001, COUNT, share) <= hits <= stats.binom.ppf(0.999, COUNT, share))


def test_still_walls_are_called_holding_after_planned_visits_in_the_promised_share() -> None:
    future = at_first_sight()
    shown = outlook._shown(future, 3 * ONE, planned.local_variance(SETTINGS.variances, np.zeros(COUNT)), SETTINGS)
    promised = float(chances.holding(shown, future.threshold, shown.measured)[0])
    assert 0.6 < promised < 0.9
    held = after(future, 3, 0.0, seed=5)["wall_results"]["verdict"] == "holding"
    assert within(int(held.sum()), promised)


def test_walls_at_the_smallest_rate_pass_the_threshold_in_four_of_five() -> None:
    future = at_first_sight()
    fast = planned.local_variance(SETTINGS.variances, 2 * future.threshold)
    rate = float(outlook._smallest(future, 3 * ONE, outlook._shown(future, 3 * ONE, fast, SETTINGS), SETTINGS)[0])
    marks = after(future, 3, rate, seed=7)["mark_results"]
    leading = marks[marks["mark"] == "M2"]
    assert within(int((leading["rate_lower"] > future.threshold[0]).sum()), 0.8)


def test_walls_at_twice_the_threshold_are_called_moving_at_least_as_often_as_promised_and_not_much_oftener() -> None:
    future = at_first_sight()
    fast = 2 * future.threshold
    local = planned.local_variance(SETTINGS.variances, fast)
    shown, starting = outlook._shown(future, 4 * ONE, local, SETTINGS), future.fits_from_each_start(4 * ONE, local)
    promised = float(chances.moving(shown, starting, fast, future.threshold, SETTINGS.rules, SETTINGS.variances)[0])
    assert 0.4 < promised < 0.9
    found = int((after(future, 4, float(fast[0]), seed=6)["wall_results"]["verdict"] == "moving").sum())
    assert stats.binom.ppf(0.001, COUNT, promised) <= found <= stats.binom.ppf(0.999, COUNT, promised + 0.1)


@pytest.mark.parametrize(("dof", "ratio"), [(4, 3.0), (10, 2.67358471), (30, 2.5), (30, 1.0)])
def test_the_chance_of_holding_with_one_mark_is_that_of_the_non_central_t(dof: float, ratio: float) -> None:
    """The published non-centrality on 10 degrees of freedom, 2.67358471, gives 80 %."""
    future = seen_ahead(facts([("M1", 4500.0, 1220.0)], count=1))
    fit = future.fit(np.array([2]), planned.local_variance(SETTINGS.variances, np.zeros(1)))
    shown = chances.Shown(fit, future.design.phi, np.ones(1), np.full(1, 1e-9), np.full(1, dof))
    exact = stats.nct.sf(stats.t.ppf(0.95, dof), dof, ratio)
    assert chances.holding(shown, ratio * shown.se, shown.measured)[0] == pytest.approx(exact, abs=0.012)
    if dof == 10:
        assert exact == pytest.approx(0.8, abs=1e-6)


def test_walls_where_nothing_is_or_can_be_measured_get_no_numbers() -> None:
    """A single planned visit after the first one, and marks at held ends alone."""
    given = facts([("E1", 0.0, 1220.0), ("E2", 9000.0, 1220.0)])
    found = told(given)
    assert found["smallest_rate_mm_per_year"].isna().all()
    assert (found[["holding_chance", "moving_chance"]] == 0).all(axis=None)
    assert found["holding_from"].isna().all()
    assert told(tuple(table.iloc[:0] for table in given)).empty


# The company's plan -----------------------------------------------------------------------------------------------


def ranks(*rows: dict[str, object]) -> list[str]:
    """Houses in the order of the plan of the walls that each row names, one per house."""
    usual = {"wall": "N", "period": 0, "is_current": True, "verdict": "too early", "total_mm": 10.0, "overdue_days": 0,
             "total_limit_mm": 50.0, "rate_upper": 1.0, "threshold_mm_per_year": 3.0, "chance": None,
             "visit_on": date(2024, 6, 1), "rule": "jump since the last visit", "outcome": "no"}  # fmt: skip
    whole = [usual | row for row in rows]

    def of(name: str) -> pa.Table:
        return table(name, [{key: row[key] for key in schema.find(name).names if key in row} for row in whole])

    found = plan.ranked(of("plan"), of("wall_results"), of("findings")).to_pylist()
    assert sorted(row["rank"] for row in found) == list(range(1, len(rows) + 1))
    return [row["house"] for row in sorted(found, key=lambda row: row["rank"])]


def test_overdue_walls_come_first_by_jump_verdict_limit_used_and_rate() -> None:
    late = {"overdue_days": 10}
    order = [
        {"house": "jump", "outcome": "yes"} | late,
        {"house": "moving", "verdict": "moving"} | late,
        {"house": "again", "verdict": "look again"} | late,
        {"house": "near", "total_mm": 40.0} | late,
        {"house": "fast", "rate_upper": 2.9} | late,
        {"house": "late"} | late,
        {"house": "confirm", "verdict": "look again"},
        {"house": "settles", "chance": 0.9},
        {"house": "sooner", "chance": 0.5, "visit_on": date(2024, 5, 1)},
        {"house": "later", "chance": 0.5},
        {"house": "nothing"},
        {"house": "unread", "visit_on": None},
    ]
    names = [row["house"] for row in order]
    assert ranks(*order) == names
    assert ranks(*reversed(order)) == names


def judged(given: Facts, day: date = DAY, **more: object) -> pd.Series:
    """The plan's row of the first wall."""
    found = assess(*given, SETTINGS, day, **more)["plan"]
    assert list(found) == schema.PLAN.names
    return found.iloc[0]


def test_the_plan_says_in_one_sentence_what_the_next_visit_would_settle() -> None:
    given = facts(count=1)
    row, twice = judged(given), told(given)["holding_chance_twice"].iloc[0]
    assert row["settles"] == "holding"
    more = f", with two set-ups with {100 * twice:.0f} %" if twice - row["chance"] >= 0.05 else ""
    assert row["why"] == (
        f"A visit in July 2024 would let a still wall be called holding with {100 * row['chance']:.0f} % chance{more}."
    )
    assert row["visit_on"] == pd.Timestamp("2024-07-10")


def test_a_wall_never_read_and_one_not_read_since_the_work_are_in_the_plan() -> None:
    readings, walls, marks, events = facts(count=1)
    unread = judged((readings.iloc[:0], walls, marks, events.iloc[:0]))
    assert unread["why"] == "No visit is on record, so none is planned: make the zero reading."
    assert pd.isna(unread["visit_on"])
    fresh = events.assign(event_date=pd.Timestamp("2024-01-20"))
    assert judged((readings, walls, marks, fresh))["why"].startswith("A visit in July 2024 would be the first")


def test_an_overdue_wall_is_planned_for_the_day_of_judging_before_the_frost_where_it_is_cold() -> None:
    given = facts(count=1)
    row = judged(given, date(2024, 10, 1), cold={"H000"})
    assert row["visit_on"] == pd.Timestamp("2024-10-01")
    assert row["overdue_days"] == 53
    assert row["why"].startswith("The visit is 53 days past its grace; made now it would ")
    assert row["before_frost"]
    assert not judged(given, date(2024, 10, 1))["before_frost"]
    assert not judged(given, date(2024, 12, 1), cold={"H000"})["before_frost"]


def test_what_is_missing_names_the_planned_visit_from_which_a_still_wall_is_likely_called_holding() -> None:
    results = assess(*facts(count=1), SETTINGS, DAY)
    day = results["plan"]["holding_from"].iloc[0].date()
    assert (
        results["wall_results"]["missing"]
        .iloc[0]
        .endswith(
            f"; if it does not move, it is likely (4 times in 5) to be called so after the visit of {day.isoformat()}."
        )
    )
    assert day == told(facts(count=1))["holding_from"].iloc[0].date()


def test_an_assessment_that_does_not_look_ahead_has_an_empty_plan() -> None:
    found = assess(*facts(count=1), SETTINGS, DAY, ahead=False)
    assert found["plan"].empty
    assert list(found["plan"]) == schema.PLAN.names
