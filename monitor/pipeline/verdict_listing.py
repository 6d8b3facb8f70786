"""What walls are judged to be with what just came in or was ruled on, as lines for a terminal."""

from collections.abc import Collection, Iterator
from datetime import date, datetime

from monitor.errors import StoreError
from monitor.pipeline.new_verdicts import Wall, new_verdicts
from monitor.report.counting import count_text
from monitor.store import Store

AT_ONCE = 500
"""Of so many walls at most each is judged again at once; of more it is all walls that somebody wants."""
_SHOWN = 8


def judged_again(store: Store, walls: Collection[Wall], *, judged_on: date, known_on: datetime) -> Iterator[str]:
    """A line for each of those walls, on which what came in has a bearing; none where no wall was ever assessed."""
    if not walls or not store.assessments():
        return
    if len(walls) > AT_ONCE:
        yield f"{count_text(len(walls), 'wall')} with new rows are not judged again yet: wallbow assess"
        return
    try:
        found = new_verdicts(store, walls, judged_on=judged_on, known_on=known_on)
    except StoreError as error:  # what came in is in: a damaged assessment is no matter of it
        yield f"The walls are not judged again: {error}"
        return
    for answer in found[:_SHOWN]:
        before = f", before {answer.before}" if answer.before and answer.before != answer.verdict else ""
        yield f"{answer.wall}: {answer.verdict or 'not judged'}{before}. {answer.reason}"
        yield from (f"  {alarm}" for alarm in answer.alarms)
    if len(found) > _SHOWN:
        yield f"{len(found) - _SHOWN} more walls were judged again: wallbow flagged"
