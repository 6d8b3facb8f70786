"""What the judged looks at walls of known truth amount to."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor.records import dataclass
from monitor.study.looks import Looks
from monitor.study.shares import Months, Share, clustered_share, months, share
from monitor.terms import Movement, Verdict

Flags = npt.NDArray[np.bool_]

HOLDING_MONTHS = (12, 24, 36)
_LATE = 1.0
"""A visit up to a month late still shows what can be said by a month."""


@dataclass(frozen=True)
class Cover:
    """How often each one-sided 95 % bound holds: of the marks, of the components, of the wall's pair."""

    mark_lower: Share
    mark_upper: Share
    component_lower: Share
    component_upper: Share
    wall_lower: Share
    wall_upper: Share


def cover(looks: Looks, truth: pd.DataFrame) -> Cover:
    """Cover at the last look. truth: columns of simulate's MARK_TRUTH."""
    true = _newest(truth)
    rates = true[["house", "mark", "seen_rate_mm_per_year"]].rename(columns={"seen_rate_mm_per_year": "true"})
    marks = looks.marks[looks.marks["measured"]].merge(rates, on=["house", "mark"], how="left")
    largest = marks.groupby("house", as_index=False)["true"].max()
    walls = looks.walls[looks.walls["is_last"]].merge(largest, on="house")
    walls = walls[walls["rate_mm_per_year"].notna()]
    parts = _components(looks.walls[looks.walls["is_last"]], true)
    return Cover(*(_held(rows, side) for rows in (marks, parts, walls) for side in ("lower", "upper")))


def _components(walls: pd.DataFrame, true: pd.DataFrame) -> pd.DataFrame:
    """One row per wall and measured component: house, true, rate_lower, rate_upper."""
    rates = true.drop_duplicates("house")[["house", *(f"{c}_mm_per_year" for c in Movement)]]
    both = walls.merge(rates, on="house", suffixes=("", "_true"))
    parts = [
        pd.DataFrame(
            {
                "house": both["house"],
                "true": both[f"{c}_mm_per_year_true"],
                "rate_lower": both[f"{c}_lower"],
                "rate_upper": both[f"{c}_upper"],
            }
        )
        for c in Movement
    ]
    found = pd.concat(parts, ignore_index=True)
    return found[found["rate_lower"].notna()]


def _held(rows: pd.DataFrame, side: str) -> Share:
    bound, true = rows[f"rate_{side}"].to_numpy(), rows["true"].to_numpy()
    held = bound <= true if side == "lower" else bound >= true
    by_wall = pd.Series(held).groupby(rows["house"].to_numpy()).agg(["sum", "size"])
    return clustered_share(by_wall["sum"], by_wall["size"])


def _newest(truth: pd.DataFrame) -> pd.DataFrame:
    return truth[truth["period"] == truth.groupby("house")["period"].transform("max")]


def truly_above(truth: pd.DataFrame, threshold: float) -> pd.Series:
    """Whether the largest rate of a wall's marks is above the threshold in its newest period, by house."""
    return _newest(truth).groupby("house")["seen_rate_mm_per_year"].max() > threshold


def false_share(walls: pd.DataFrame, above: pd.Series) -> tuple[Share, Share]:
    """False share of the moving list: of its list-months, and of all walls ever listed. above: `truly_above`.

    A verdict stands until the next look, the last one for a month.
    """
    listed = walls[walls["verdict"] == Verdict.MOVING]
    time = listed.groupby("house")["next_months"].sum()
    false = ~above.reindex(time.index).to_numpy(dtype=bool)
    return clustered_share(np.where(false, time, 0.0), time), share(false)


def delay(walls: pd.DataFrame, part: float = 0.5) -> Months:
    """Months from the period's beginning to the first look that says moving: median, or another part."""
    return months(found_after(walls), part)


def found_after(walls: pd.DataFrame) -> Sequence[float]:
    """Months to the first look that says moving, one per wall; inf where none does."""
    moving = walls["months"].where(walls["verdict"] == Verdict.MOVING, np.inf)
    return moving.groupby(walls["house"]).min().tolist()


def holding_by(walls: pd.DataFrame, month: float) -> Share:
    """Share of walls whose verdict is holding that many months after their period began.

    Unknown where no wall is visited that long.
    """
    if walls["months"].max() < month - _LATE:
        return share([])
    last = walls[walls["months"] <= month + _LATE].sort_values(["house", "look"]).drop_duplicates("house", keep="last")
    holding = (last["verdict"] == Verdict.HOLDING).to_numpy().sum()
    houses = walls["house"].nunique()
    return share(np.arange(houses) < holding)


def holding_at_last(walls: pd.DataFrame) -> Share:
    """Share of walls that are called holding at their last look."""
    return share(walls.loc[walls["is_last"], "verdict"] == Verdict.HOLDING)


def ever_holding(walls: pd.DataFrame) -> Share:
    """Share of walls that are called holding at one look or more."""
    return share((walls["verdict"] == Verdict.HOLDING).groupby(walls["house"]).any())
