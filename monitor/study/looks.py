"""Simulated walls judged as a company judges them: after each visit, by the readings there are then.

Every look at a wall enters the assessment as a wall of its own, its readings and events cut off at that look's day, so
that all looks at all walls go through the engine together.
"""

from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd
import pyarrow as pa
from msgspec import structs

from monitor import schema
from monitor.config import Rules, Settings, Variances
from monitor.pipeline.frames import frame
from monitor.records import dataclass
from monitor.simulate.portfolio import Portfolio
from monitor.simulate.recipe import DAYS_PER_MONTH
from monitor.terms import EventKind
from monitor.trend.assess import assess

Progress = Callable[[int], None]

LEAST_VISITS = 3
"""A look at fewer counting visits is left out: no rule can say anything but too early then."""
_ROWS = 60_000
"""Readings in one call of the assessment, about."""
_NEVER_OVERDUE = 10**6
"""Days of grace: every visit of a study was made, and a look comes right after it."""


@dataclass(frozen=True)
class Looks:
    """Looks at simulated walls; `house` is the simulated wall's name in both tables.

    walls: wall_results of the newest period, one row per look, with look (its number), day, months since the period
    began (its reinforcement, else the zero reading), next_months to the next look, is_last; marks: mark_results of the
    last looks.
    """

    walls: pd.DataFrame
    marks: pd.DataFrame


def looked(portfolio: Portfolio, rules: Rules, variances: Variances, progress: Progress | None = None) -> Looks:
    """Judge every wall after each of its visits in its newest period; progress is told the looks done."""
    readings, walls, marks, events = (
        frame(getattr(portfolio, name)) for name in ("readings", "walls", "marks", "events")
    )
    looks = _days(readings, events, rules)
    settings = Settings(rules=structs.replace(rules, grace_days=_NEVER_OVERDUE), variances=variances)
    found, found_marks = [], []
    for part in _parts(looks, readings):
        seen = _each(part, readings, "visit_date")
        seen = seen.assign(reading_id=seen["reading_id"] + " " + seen["house"])
        facts = (seen, _each(part, walls), _each(part, marks), _each(part, events, "event_date"))
        tables = {
            name: pa.Table.from_pandas(rows[schema.find(name).names], schema.find(name), preserve_index=False)
            for name, rows in zip(("readings", "walls", "marks", "events"), facts, strict=True)
        }
        results = assess(**tables, settings=settings, judged_on=part["day"].max().date(), ahead=False)
        judged = frame(results["wall_results"])
        found.append(_named(judged[judged["is_current"]], part))
        of_marks = _named(frame(results["mark_results"]), part)
        found_marks.append(of_marks[of_marks["is_last"] & (of_marks["period"] == of_marks["newest"])])
        if progress:
            progress(len(part))
    return Looks(pd.concat(found, ignore_index=True), pd.concat(found_marks, ignore_index=True))


def _days(readings: pd.DataFrame, events: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """One row per look: house, look, day, key, newest (period), months, next_months, is_last."""
    straps = events[events["kind"] == EventKind.REINFORCEMENT]
    start = straps.groupby("house", as_index=False).agg(start=("event_date", "max"), newest=("event_id", "size"))
    days = readings[["house", "visit_date"]].drop_duplicates().rename(columns={"visit_date": "day"})
    days = days.merge(start, on="house", how="left").sort_values(["house", "day"], ignore_index=True)
    in_take_up = (days["day"] - days["start"]).dt.days < rules.take_up_days
    days = days[~in_take_up].assign(newest=days["newest"].fillna(0).astype(int))
    house = days.groupby("house")
    days = days.assign(
        months=(days["day"] - days["start"].fillna(house["day"].transform("min"))).dt.days / DAYS_PER_MONTH,
        next_months=((house["day"].shift(-1) - days["day"]).dt.days / DAYS_PER_MONTH).fillna(1.0),
        is_last=~days.duplicated("house", keep="last"),
        look=house.cumcount() + 1,
    )
    days = days[(days["look"] >= LEAST_VISITS) | days["is_last"]].reset_index(drop=True)
    return days.assign(key=days["house"] + "@" + days["look"].astype("str"))


def _parts(looks: pd.DataFrame, readings: pd.DataFrame) -> Iterator[pd.DataFrame]:
    """The looks in parts of about as many readings."""
    count = readings.groupby("house").size()
    load = looks["house"].map(count).cumsum() // _ROWS
    for _, part in looks.groupby(load.to_numpy(np.int64)):
        yield part.reset_index(drop=True)


def _each(looks: pd.DataFrame, rows: pd.DataFrame, date_column: str = "") -> pd.DataFrame:
    """The rows of each look's wall, up to the look's day where a date column is named, under the look's own key."""
    own = looks[["house", "key", "day"]].merge(rows, on="house")
    if date_column:
        own = own[own[date_column] <= own["day"]]
    return own.drop(columns=["house", "day"]).rename(columns={"key": "house"})


def _named(results: pd.DataFrame, looks: pd.DataFrame) -> pd.DataFrame:
    """Results under the simulated wall's own name again, with its look."""
    renamed = results.rename(columns={"house": "key"})
    return renamed.merge(looks[["house", "key", "look", "day", "newest", "months", "next_months", "is_last"]], on="key")
