"""What the office ruled on single readings of the demo, with who, why and when."""

from datetime import UTC, date, datetime, time, timedelta

from monitor.demo.faults import date_of
from monitor.demo.register import CLERK
from monitor.demo.scenario import STORIES
from monitor.demo.tables import Cell, Table
from monitor.demo.walls import simulate_story
from monitor.simulate import Row
from monitor.terms import Act


def table() -> Table:
    """A copied visit rejected, deflections released that were rightly so called, a misread value corrected.

    The last comes between the last two lists, so that its wall leaves the list.
    """
    copied = _visit("DH-13-N", 6)
    called = _visit("DH-12-S", 6)
    [misread] = [row for row in _visit("DH-05-N", 30) if row.mark == "M4"]
    [dated] = [row for row in _visit("DH-04-W", 12) if row.mark == "M5"]
    return [
        *(_ruling(row, Act.REJECT, 4, "T2: not read, filled in from the sheet of July") for row in copied),
        *(_ruling(row, Act.RELEASE, 2, "T1: deflections, as the column says") for row in called),
        _ruling(misread, Act.CORRECT, 20, "the photo of the rule shows it 1/8 in shorter", misread.value),
        _ruling(dated, Act.REJECT, 557, "T4: the paper is gone, and nobody knows what the date had been"),
    ]


def _visit(wall: str, month: float) -> list[Row]:
    """Rows of a visit before anything was planted in them."""
    story = next(story for story in STORIES if story.name == wall)
    return [row for row in simulate_story(story).rows if row.visit_date == date_of(wall, month)]


def _ruling(row: Row, act: Act, days: int, why: str, value: str = "") -> dict[str, Cell]:
    ruled = datetime.combine(date.fromisoformat(row.visit_date) + timedelta(days=days), time(9, 40), tzinfo=UTC)
    return {
        "house": row.house,
        "wall": row.wall,
        "visit date": row.visit_date,
        "part": row.part,
        "set-up": row.setup,
        "mark": row.mark,
        "act": act.value,
        "value": value,
        "unit": row.unit if value else "",
        "who": CLERK,
        "why": why,
        "ruled at": ruled.strftime("%Y-%m-%dT%H:%M:%SZ"),
    }
