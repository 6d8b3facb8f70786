"""Do the wall's ends hold still? A string stands on them: what they do, it does not see.

An end column of a plumb line is judged by itself: each mark less the lowest of its column, set-up by set-up, so that
the line's unknown offset drops out, and a straight line in time through these differences. The model of the whole wall
takes return walls as still and would take such a movement for the mark's own deviation.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor.config import Variances
from monitor.terms import LengthUnit, Method
from monitor.trend import bounds, cracks
from monitor.trend import variances as sds
from monitor.trend.cases import CASE, WALL, Cases
from monitor.trend.rows import Row, plain
from monitor.trend.shapes import Array
from monitor.trend.variances import METHODS
from monitor.units import DAYS_PER_YEAR, length_text, rate_text

REACH_MM = 500.0
REACH_SHARE = 0.06
"""A column within half a metre or 6 % of the length of a return wall speaks for that end (our choice)."""
STILL_MM_PER_YEAR = 0.5
"""Less than this, beyond what the wall's bow carries to the column, is no movement of the end (our choice)."""
LEAST_VISITS = 3
OPENED_MM = 0.5
"""A crack at an end must be shown to have opened by more than this (our choice)."""

_NEEDED = [*CASE, "governing_mark", "rate_mm_per_year", "rate_upper"]


@dataclass(frozen=True)
class End:
    """Movement of one mark of an end column against its base, mm/yr, with one-sided 95 % bounds."""

    side: str
    mark: str
    z_mm: float
    base_z_mm: float
    rate: float
    lower: float
    upper: float


def notes(cases: Cases, wall_results: pd.DataFrame, readings: pd.DataFrame, walls: pd.DataFrame, variances: Variances
          ) -> pd.DataFrame:  # fmt: skip
    """CASE, ends_note (a sentence) and ends_doubt (a clause) for each current period with an end that is not still.

    wall_results: with the rate of the governing mark; readings, walls: as the assessment takes them.
    """
    rows = _at_ends(cases.rows[cases.rows["counts"]])
    plumb = rows[rows["method_code"] == METHODS.index(Method.PLUMB)]
    columns = {int(group["case"].iloc[0]): group for _, group in plumb.groupby("case")}
    opened = _opened(cases, readings)
    units = {(row["house"], row["wall"]): row["unit"] or LengthUnit.INCH for row in plain(walls[[*WALL, "unit"]])}
    of_case = {(row["house"], row["wall"], row["period"]): row["case"] for row in plain(cases.table[[*CASE, "case"]])}
    made = []
    for row in plain(wall_results.loc[wall_results["is_current"], _NEEDED]):
        case, unit = of_case[(row["house"], row["wall"], row["period"])], units.get((row["house"], row["wall"]), "in")
        ends = _moving(columns[case], row, variances) if case in columns else []
        sentences = [_sentence(end, unit) for end in ends]
        if ends and (told := _corrected(cases, case, columns[case], row, ends, variances, unit)):
            sentences[-1] = f"{sentences[-1].removesuffix('.')}, so that {told}."
        doubts = [f"its {end.side} end is not still ({rate_text(end.rate, unit)} by its plumb line)" for end in ends]
        for crack in opened.get(case, []):
            sentences.append(_cracked(crack, unit))
            doubts.append(f"the crack at its {crack['side']} end opens")
        if sentences:
            key = {name: row[name] for name in CASE}
            made.append(key | {"ends_note": " ".join(sentences), "ends_doubt": " and ".join(doubts)})
    return pd.DataFrame(made, columns=[*CASE, "ends_note", "ends_doubt"])


def doubted(wall_results: pd.DataFrame) -> pd.DataFrame:
    """The wall results with what is said of the ends joined to the doubt that asks for another look at the wall."""
    doubt, of_ends = (wall_results[name].fillna("").astype("str") for name in ("doubt", "ends_doubt"))
    between = np.where((doubt != "") & (of_ends != ""), " and ", "")
    joined = doubt + between + of_ends
    return wall_results.assign(doubt=joined.where(joined != "", None)).drop(columns="ends_doubt")


def _at_ends(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows that stand at an end held by a return wall, with that side."""
    reach = np.maximum(REACH_MM, REACH_SHARE * rows["length_mm"])
    left = (rows["x_mm"] <= reach) & ~rows["left_free"]
    right = (rows["x_mm"] >= rows["length_mm"] - reach) & ~rows["right_free"]
    side = np.where(left, "left", np.where(right, "right", ""))
    placed: pd.DataFrame = rows.assign(side=side)[side != ""]
    return placed


def _moving(rows: pd.DataFrame, row: Row, variances: Variances) -> list[End]:
    """The ends that are shown to move, each by its mark that is shown to move most."""
    found = []
    for _, column in rows.groupby(["side", "setup_part"], sort=True):
        for end in _measured(column, variances):
            carried = np.sin(np.pi * float(column["x_mm"].iloc[0]) / float(column["length_mm"].iloc[0]))
            still = STILL_MM_PER_YEAR + carried * max(row["rate_upper"] or 0.0, 0.0)
            if end.lower > still or end.upper < -STILL_MM_PER_YEAR:
                found.append(end)
    worst: dict[str, End] = {}
    for end in sorted(found, key=lambda one: (-max(one.lower, -one.upper), one.mark)):
        worst.setdefault(end.side, end)
    return [worst[side] for side in sorted(worst)]


def _measured(column: pd.DataFrame, variances: Variances) -> Iterator[End]:
    """Each mark of an end column against the lowest one, where enough visits read both."""
    base = column["mark"].iloc[int(column["z_mm"].argmin())]
    low = column[column["mark"] == base]
    for mark, high in column[column["mark"] != base].groupby("mark", sort=True):
        pairs = high.merge(low, on="setup", suffixes=("", "_base"))
        if pairs["visit"].nunique() < LEAST_VISITS:
            continue
        rate, se, dof = _line(pairs, variances)
        reach = float(bounds.quantile(bounds.LEVEL, np.asarray(dof))) * se
        places = float(pairs["z_mm"].iloc[0]), float(low["z_mm"].iloc[0])
        yield End(str(column["side"].iloc[0]), str(mark), *places, rate, rate - reach, rate + reach)


def _line(pairs: pd.DataFrame, variances: Variances) -> tuple[float, float, float]:
    """Rate, its standard error after moderation, degrees of freedom: a weighted line with a level per stretch."""
    variance = sum(
        sds.reading_variance(
            variances,
            pairs["method_code"].to_numpy(np.intp),
            pairs[f"step_mm{end}"].to_numpy(np.float64),
            pairs[f"error_factor{end}"].to_numpy(np.float64),
        )
        for end in ("", "_base")
    )
    weight = 1 / np.asarray(variance)
    years = pairs["day"].to_numpy(np.float64) / DAYS_PER_YEAR
    apart = (pairs["deflection_mm"] - pairs["deflection_mm_base"]).to_numpy(np.float64)
    level = np.asarray(pairs.groupby(["stretch", "stretch_base"]).ngroup(), dtype=np.intp)
    t, y = (_less_means(values, weight, level) for values in (years, apart))
    spread = float(weight @ t**2)
    if not spread > 0:
        return 0.0, float("inf"), variances.scale_dof
    rate = float(weight @ (t * y)) / spread
    q, d = float(weight @ (y - rate * t) ** 2), float(len(pairs) - (level.max() + 1) - 1)
    scale = bounds.moderated(np.asarray(q), np.asarray(d), variances)
    return rate, float(np.sqrt(scale.variance / spread)), float(scale.dof)


def _less_means(values: Array, weight: Array, level: npt.NDArray[np.intp]) -> Array:
    """Values less the weighted mean of their level."""
    mean = np.bincount(level, weight * values) / np.bincount(level, weight)
    return np.asarray(values - mean[level])


def _sentence(end: End, unit: str) -> str:
    low, high = (rate_text(rate, unit) for rate in (end.lower, end.upper))
    return (
        f"The {end.side} end is not still: its plumb line shows {end.mark} moving {rate_text(end.rate, unit)} inward "
        f"against its base (between {low.split(' ')[0]} and {high}, 9 times in 10)."
    )


def _corrected(
    cases: Cases, case: int, columns: pd.DataFrame, row: Row, ends: list[End], variances: Variances, unit: str
) -> str:
    """What the string tells too little or too much; '' where nothing is read by string.

    Of the governing mark where the string tells it, else of the string's mark next to the middle of the wall.
    """
    strung = cases.rows[(cases.rows["case"] == case) & (cases.rows["method_code"] == METHODS.index(Method.STRING))]
    if strung.empty:
        return ""
    from_middle = (strung["x_mm"] / strung["length_mm"] - 0.5).abs()
    governs = strung["mark"] == row["governing_mark"]
    place = strung[governs].iloc[-1] if governs.any() else strung.iloc[int(from_middle.argmin())]
    share = float(place["x_mm"]) / float(place["length_mm"])
    hidden = 0.0
    for end in ends:
        column = columns[columns["side"] == end.side]
        column = column[column["setup_part"] == column["setup_part"][column["mark"] == end.mark].iloc[0]]
        at = _at_height(float(place["z_mm"]), list(_measured(column, variances)))
        hidden += at * (1 - share if end.side == "left" else share)
    if not np.isfinite(hidden) or abs(hidden) < 1e-9:
        return ""
    stands_on, way = "them" if len(ends) > 1 else "it", "low" if hidden > 0 else "high"
    told = (
        f"the string, which stands on {stands_on}, tells the rate of mark {place['mark']} about "
        f"{rate_text(abs(hidden), unit)} too {way}"
    )
    rate = row["rate_mm_per_year"]
    if not governs.any() or rate is None:
        return told
    return f"{told}: rather {rate_text(rate + hidden, unit)} than {rate_text(rate, unit)}"


def _at_height(z_mm: float, column: list[End]) -> float:
    """The end's rate at a height, on straight lines between its marks and its base, level beyond them."""
    places = sorted([(column[0].base_z_mm, 0.0), *((end.z_mm, end.rate) for end in column)])
    return float(np.interp(z_mm, [place[0] for place in places], [place[1] for place in places]))


def _opened(cases: Cases, readings: pd.DataFrame) -> dict[int, list[Row]]:
    """Cracks at the ends that are shown to have opened, by case: side, mark, opened_mm, since, until."""
    read = cracks.widths(cases, readings)
    if read.empty:
        return {}
    places = _at_ends(cases.rows)[["case", *CASE, "mark", "side"]].drop_duplicates([*CASE, "mark"])
    read = read.merge(places, on=[*CASE, "mark"])
    read = read.sort_values(["case", "mark", "visit_date"], kind="stable")
    change = read.groupby(["case", "side", "mark"], as_index=False, sort=True).agg(
        opened_mm=("width_mm", lambda width: width.iloc[-1] - width.iloc[0]),
        since=("visit_date", "first"),
        until=("visit_date", "last"),
    )
    reach = float(bounds.quantile(bounds.LEVEL, np.asarray(np.inf))) * 2**0.5 * cracks.WIDTH_SD_MM
    change = change[change["opened_mm"] - reach > OPENED_MM]
    found: dict[int, list[Row]] = {}
    for row in plain(change.sort_values("opened_mm", ascending=False).drop_duplicates(["case", "side"])):
        found.setdefault(row["case"], []).append(row)
    return found


def _cracked(crack: Row, unit: str) -> str:
    return (
        f"The {crack['side']} end is not still: the crack at {crack['mark']} opened by "
        f"{length_text(crack['opened_mm'], unit, denominator=32)} from {crack['since'].isoformat()} to "
        f"{crack['until'].isoformat()}."
    )
