"""The study's rows as text and as CSV columns, and which targets each of them meets."""

from collections.abc import Sequence
from math import isinf, isnan

from monitor.records import astuple, dataclass, fields
from monitor.study.measures import HOLDING_MONTHS, Cover
from monitor.study.run import Row
from monitor.study.shares import Months, Share

BOUNDS = ("cell", "walls", "marks' bounds: lower / upper", "components': lower / upper", "wall's pair: lower / upper")
LISTS = (
    "cell",
    "false list-months",
    "false of ever listed",
    "months to find 2 x",
    "same, true variances",
    f"still walls holding at {' / '.join(map(str, HOLDING_MONTHS))} months",
    "1.3 x called holding: ever / at the last look",
)
"""Headers of the two halves of the table."""

DELAY_RATIO = 1.25
FALSE_MONTHS, FALSE_EVER = 0.02, 0.04


@dataclass(frozen=True)
class Miss:
    """A target that a row misses beyond its binomial error: the number's name, the number, and what was wanted."""

    name: str
    found: float
    wanted: str


def misses(row: Row) -> list[Miss]:
    """Targets missed beyond their error.

    Mark and component bounds hold in 93-97 % (92-98 % with misreads), the wall's pair in at least 93 %; false are at
    most 2 % of list-months and 4 % of walls ever listed; a wall is found within 1.25 x the delay at true variances.
    """
    low, high = (0.92, 0.98) if row.cell.misread_share else (0.93, 0.97)
    found = []
    for field in fields(Cover):
        value: Share = getattr(row.cover, field.name)
        top = 1.0 if field.name.startswith("wall") else high
        bottom = 0.93 if field.name.startswith("wall") else low
        if value.low > top or value.high < bottom:
            found.append(Miss(field.name.replace("_", " "), value.value, f"{bottom} to {top}"))
    for name, value, most in (
        ("false list-months", row.false_months, FALSE_MONTHS),
        ("false of ever listed", row.false_ever, FALSE_EVER),
    ):
        if value.low > most:
            found.append(Miss(name, value.value, f"at most {most}"))
    if row.delay.low > DELAY_RATIO * row.true_delay.value:
        found.append(Miss("delay", row.delay.value, f"at most {DELAY_RATIO} x {row.true_delay.value:.0f} months"))
    return found


def bounds_texts(row: Row) -> list[str]:
    """One line of how often bounds hold, in the order of BOUNDS."""
    cover = row.cover
    return [
        row.cell.name,
        str(row.walls),
        _pair(cover.mark_lower, cover.mark_upper),
        _pair(cover.component_lower, cover.component_upper),
        _pair(cover.wall_lower, cover.wall_upper),
    ]


def lists_texts(row: Row) -> list[str]:
    """One line of what the verdicts come to, in the order of LISTS."""
    return [
        row.cell.name,
        _ranged(row.false_months),
        f"{_ranged(row.false_ever)} of {row.false_ever.of}",
        _delay(row.delay),
        _delay(row.true_delay),
        " / ".join(_error(value) for value in row.holding),
        f"{_error(row.wrongly_ever)} / {_error(row.wrongly_at_last)}",
    ]


def miss_text(row: Row) -> str:
    """The row's misses in one line, '' where it has none."""
    told = "; ".join(f"{miss.name} {miss.found:.3g}, wanted {miss.wanted}" for miss in misses(row))
    return f"{row.cell.name}: {told}" if told else ""


def columns() -> list[str]:
    """Names of the CSV columns: of each share and median its value, what it is of, and both ends of its interval."""
    names = ["cell", "visits", "marks", "season_mm", "noise_spread", "reinforced", "misread_share", "lost_share",
             "change_share", "walls", "looks"]  # fmt: skip
    for name in _NUMBERS:
        names += [name, f"{name}_of", f"{name}_low", f"{name}_high"]
    return [*names, "misses"]


def values(row: Row) -> list[str]:
    """One line of CSV, in the order of `columns`."""
    cell = row.cell
    line = [cell.name, cell.visits, cell.marks, cell.season_mm, cell.spread, cell.strapped, cell.misread_share,
            cell.lost_share, cell.change_share, row.walls, row.looks]  # fmt: skip
    numbers: Sequence[Share | Months] = (
        *(getattr(row.cover, field.name) for field in fields(Cover)),
        row.false_months,
        row.false_ever,
        row.delay,
        row.true_delay,
        *row.holding,
        row.wrongly_ever,
        row.wrongly_at_last,
    )
    for number in numbers:
        line += [_digits(part) for part in astuple(number)]
    return [*map(str, line), "; ".join(miss.name for miss in misses(row))]


_NUMBERS = (
    *(field.name for field in fields(Cover)),
    "false_list_months",
    "false_of_ever_listed",
    "delay_months",
    "true_variances_delay_months",
    *(f"holding_{month}_months" for month in HOLDING_MONTHS),
    "wrongly_holding_ever",
    "wrongly_holding_at_last",
)


def _digits(number: float) -> str:
    return "" if isnan(number) else f"{number:.4g}"


def _pair(lower: Share, upper: Share) -> str:
    """Both shares, each with half of its interval."""
    return f"{_error(lower)} / {_error(upper)}" if lower.of else "not measured"


def _error(value: Share) -> str:
    return f"{value.value:.3f} ±{(value.high - value.low) / 2:.3f}" if value.of else "-"


def _ranged(value: Share) -> str:
    return f"{value.value:.3f} ({value.low:.3f}-{value.high:.3f})" if value.of else "-"


def _delay(value: Months) -> str:
    return f"{_month(value.value)} ({_month(value.low)}-{_month(value.high)})"


def _month(value: float) -> str:
    return "not in time" if isinf(value) else f"{value:.1f}"
