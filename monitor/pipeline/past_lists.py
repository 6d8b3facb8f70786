"""The lists before an assessment's own, as known then: from them is told what is new, and how old the rest."""

from collections.abc import Sequence

from monitor.pipeline import list_rows, runs
from monitor.pipeline.assessing import made_again
from monitor.pipeline.runs import Run
from monitor.report.context import PastList
from monitor.report.day_states import COLUMNS, DayStates, day_states
from monitor.report.placing import open_places
from monitor.results import Assessment
from monitor.store import Store


def last_list(store: Store, assessment: Assessment, earlier: Sequence[Run] | None = None) -> Run | None:
    """Whose list to compare with: the last one of an earlier month; where there is none, the last one before.

    earlier: the lists before as they were known then, newest first; those on record where it is left out. One made
    again later with what became known later is no list that anybody had seen by then.
    """
    lists = _earlier(store, assessment, earlier)
    month = (assessment.judged_on.year, assessment.judged_on.month)
    of_months = [run for run in lists if (run.judged_on.year, run.judged_on.month) < month]
    return (of_months or lists)[0] if lists else None


def past_lists(store: Store, assessment: Assessment, earlier: Sequence[Run] | None = None) -> list[PastList]:
    """Earlier lists, newest first, back to the first on which no wall stands that asks for somebody now."""
    going = set(open_places(assessment))
    lists = []
    for run in _earlier(store, assessment, earlier):
        if not going:
            break
        places = open_places(list_rows.places(store, run), going)
        lists.append(PastList(run.judged_on, places))
        going &= places.keys()
    return lists


def past_states(store: Store, earlier: Sequence[Run]) -> list[DayStates]:
    """Walls by state on the days of earlier assessments, as they were known then."""
    columns = {"wall_results": COLUMNS}
    return [day_states(made_again(store, run, ("wall_results",), columns=columns)) for run in earlier]


def _earlier(store: Store, assessment: Assessment, given: Sequence[Run] | None) -> Sequence[Run]:
    return runs.before(store, assessment.judged_on, assessment.known_until) if given is None else given
