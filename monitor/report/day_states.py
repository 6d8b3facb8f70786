"""How many walls stood where on the day of one assessment: what the overview tells of the past."""

from collections import Counter
from collections.abc import Mapping
from datetime import date

from monitor.records import dataclass
from monitor.results import Assessment
from monitor.terms import Verdict

NOT_READ = "not read yet"
STATES = (Verdict.MOVING, Verdict.LOOK_AGAIN, Verdict.TOO_EARLY, Verdict.HOLDING, NOT_READ)
"""Every wall is in one of them; in the order of the chart, from below."""
COLUMNS = ("is_current", "verdict", "visits_all", "overdue_days")
"""Of the wall results; they tell in which."""


@dataclass(frozen=True)
class DayStates:
    """Walls by the verdict of their newest period on the day judged for, and of them those overdue."""

    judged_on: date
    walls: Mapping[str, int]
    overdue: int

    @property
    def total(self) -> int:
        """Walls registered by then."""
        return sum(self.walls.values())


def day_states(assessment: Assessment) -> DayStates:
    """Counts of one assessment; only its wall results are looked at."""
    rows = assessment.wall_results.select(COLUMNS).to_pylist()
    current = [row for row in rows if row["is_current"]]
    number = Counter(row["verdict"] if row["visits_all"] else NOT_READ for row in current)
    return DayStates(
        assessment.judged_on,
        {str(state): number[state] for state in STATES},
        sum(bool(row["overdue_days"]) for row in current),
    )
